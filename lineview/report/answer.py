"""An answer: one object a question, the same on board, sheets, command line and in JSON."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Literal

import polars as pl

from lineview.core.figure import Figure, Period
from lineview.core.language import mark, tr
from lineview.plant import Plant
from lineview.plant.periods import shifts_between

Question = Literal["rope", "weight", "shift", "wrap", "order", "week"]


@dataclass(frozen=True)
class Scope:
    """What a question is asked of.

    Parameters
    ----------
    line : str
        Id of the line; "" for all lines.
    machine : str
        Id of the machine: a sizer for rope, a cut-and-wrap machine for the others; "" for all of the line.
    period : Period
        From when to when [UTC].
    now : datetime
        The latest moment known [UTC]; an answer never looks at a clock.
    label : str
        How a person names the period ("Tue 9 June, early").
    """

    line: str
    machine: str
    period: Period
    now: datetime
    label: str = ""


ALL_LINES = mark("all lines")


def scope_name(scope: Scope, plant: Plant) -> str:
    """What a scope is of, as a person names it: a machine, a line, or all lines.

    Parameters
    ----------
    scope : Scope
        Of an answer.
    plant : Plant
        Its lines and machines have the names.
    """
    machine = plant.machine(scope.machine)
    if machine is not None:
        return machine.label
    line = next((line for line in plant.lines if line.id == scope.line), None)
    return scope.machine or scope.line or tr(ALL_LINES) if line is None else line.label


#: What the order is of, whatever line is asked for.
WHOLE_WORKS = mark("the whole works")


@dataclass(frozen=True)
class Span:
    """A run of a sentence; `call` marks what needs a person, and nothing else."""

    text: str
    call: bool = False


#: A column of a table: its key, its heading, and its unit ("" for none).
Column = tuple[str, str, str]
#: As a column's unit: each of its numbers is in the unit that its row holds as "unit", and is written with it.
OF_ROW = "of the row"


def columns_of(text: str, **units: str) -> tuple[Column, ...]:
    """Columns as one line of text: ``key: heading [unit]``, with semicolons between.

    Parameters
    ----------
    text : str
        A column without a heading of its own is headed by its key, one without a unit has none.
    **units : str
        What units that the plant decides stand for ("currency").

    Examples
    --------
    >>> columns_of("pieces; low: lower limit [mm]; why:")
    (('pieces', 'pieces', ''), ('low', 'lower limit', 'mm'), ('why', '', ''))
    """
    columns = []
    for column in text.split(";"):
        words, _, unit = column.strip().partition(" [")
        key, colon, heading = words.partition(":")
        unit = unit.removesuffix("]")
        columns.append((key, tr(heading.strip() if colon else key), units.get(unit, unit)))
    return tuple(columns)


@dataclass(frozen=True)
class Table:
    """A table of an answer; cells are text, numbers, moments or None for "not known".

    `columns` are (key, heading, unit); `rows` hold one mapping a row by those keys. `to_hundredths` are the keys of
    numbers with two places where any has parts: money that is charged, metres whose differences count.
    """

    name: str
    title: str
    columns: Sequence[Column]
    rows: Sequence[Mapping[str, Any]]
    to_hundredths: tuple[str, ...] = ()


@dataclass(frozen=True)
class Answer:
    """The answer to one question.

    Parameters
    ----------
    question : str
        "rope", "weight", "shift", "wrap", "order" or "week".
    scope : Scope
        The question's scope.
    sentence : tuple of Span
        The one plain sentence with numbers in it.
    soft : str
        The line below: intervals, period, what was taken out.
    figures : tuple of Figure
        Every figure, by name.
    tables : tuple of Table
        What stands below the picture.
    series : mapping of str to polars.DataFrame
        Frames for the picture.
    notes : tuple of str
        What is not known, and which exports would add it.
    cautions : tuple of str
        Safety cautions that the page shows.
    points : tuple of str
        A short list below the soft line, each entry a thing to do; the order has a web in each.
    """

    question: Question
    scope: Scope
    sentence: tuple[Span, ...]
    soft: str = ""
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    series: Mapping[str, pl.DataFrame] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    points: tuple[str, ...] = ()

    def figure(self, name: str) -> Figure | None:
        """The figure of this name, or None."""
        return next((f for f in self.figures if f.name == name), None)

    def about(self, plant: Plant) -> str:
        """What it is of, as a person names it; stock and orders are the whole works'."""
        return tr(WHOLE_WORKS) if self.question == "order" else scope_name(self.scope, plant)

    @property
    def text(self) -> str:
        """The sentence as plain text."""
        return "".join(span.text for span in self.sentence)


#: By question: what it is called within a line of words.
QUESTION_NAMES: dict[Question, str] = {
    "rope": mark("rope"),
    "weight": mark("weight"),
    "shift": mark("shift"),
    "wrap": mark("wrap"),
    "order": mark("order"),
    "week": mark("week"),
}


def file_name(answer: Answer, plant: Plant) -> str:
    """Name a file after what an answer is of: its question, machine or line, and period.

    Parameters
    ----------
    answer : Answer
        Of any question.
    plant : Plant
        Its zone and shifts.

    Returns
    -------
    str
        Without an ending: "shift-wrap1-2026-06-09-late"; letters, digits and hyphens of any script.
    """
    scope = answer.scope
    line = f"line-{scope.line}" if scope.line else ""
    parts = (answer.question, scope.machine or line, _period_name(scope.period, plant))
    return "-".join(re.findall(r"\w+", " ".join(parts)))


def _period_name(period: Period, plant: Plant) -> str:
    """A shift as its day and name, whole days as dates, all else with its times of day."""
    listed = shifts_between(plant.shifts, plant.tz, period)
    shift = next((token for token, _, moments in listed if moments == period), None)
    if shift is not None:
        return shift
    start, end = period.start.astimezone(plant.tz), period.end.astimezone(plant.tz)
    if start.time() == end.time() == time(0):
        days = dict.fromkeys((start.date(), end.date() - timedelta(days=1)))
        return " to ".join(day.isoformat() for day in days)
    return " to ".join(f"{moment:%Y-%m-%d-%H%M}" for moment in (start, end))


#: Goes up when a key changes its meaning or goes; new keys may come without.
VERSION = "lineview.answer/1"


def to_json(answer: Answer, *, indent: int | None = 2) -> str:
    """Write an answer as JSON text.

    Parameters
    ----------
    answer : Answer
        Of any question.
    indent : int or None
        Spaces a level; None for one line.

    Returns
    -------
    str
        Strict JSON: moments in ISO 8601 UTC, what is not known as null with its reason.
    """
    return json.dumps(to_object(answer), indent=indent, ensure_ascii=False, allow_nan=False)


def reels_ending(answer: Answer) -> list[tuple[str, datetime]]:
    """Which reels end and when [UTC], the first first; none where the shift is over.

    Parameters
    ----------
    answer : Answer
        Of the shift.
    """
    if not next((table.rows for table in answer.tables if table.name == "next"), ()):
        return []
    reels = [figure for figure in answer.figures if figure.name.startswith("reel_end_")]
    return sorted(
        ((reel.label, reel.value) for reel in reels if isinstance(reel.value, datetime)), key=lambda end: end[1]
    )


def to_object(answer: Answer) -> dict[str, Any]:
    """An answer as plain dictionaries and lists."""
    return {
        "version": VERSION,
        "question": answer.question,
        "scope": _scope(answer.scope),
        "sentence": answer.text,
        "needs_a_person": [span.text.strip() for span in answer.sentence if span.call],
        "soft": answer.soft,
        "points": list(answer.points),
        "figures": {figure.name: _figure(figure) for figure in answer.figures},
        "tables": {table.name: _table(table) for table in answer.tables},
        "series": {name: [_row(row) for row in frame.iter_rows(named=True)] for name, frame in answer.series.items()},
        "notes": list(answer.notes),
        "cautions": list(answer.cautions),
    }


def _figure(figure: Figure) -> dict[str, Any]:
    return {
        "label": figure.label,
        "value": _plain(figure.value),
        "unit": figure.unit,
        "low": _plain(figure.low),
        "high": _plain(figure.high),
        "interval": figure.interval_kind,
        "n": figure.n,
        "period": _period(figure.period),
        "sources": list(figure.sources),
        "working": figure.working,
        "why_none": figure.why_none,
    }


def _table(table: Table) -> dict[str, Any]:
    columns = [{"key": key, "heading": heading, "unit": unit} for key, heading, unit in table.columns]
    return {"title": table.title, "columns": columns, "rows": [_row(row) for row in table.rows]}


def _scope(scope: Scope) -> dict[str, Any]:
    return {
        "line": scope.line,
        "machine": scope.machine,
        "period": _period(scope.period),
        "label": scope.label,
        "now": _plain(scope.now),
    }


def _period(period: Period | None) -> dict[str, Any] | None:
    return None if period is None else {"start": _plain(period.start), "end": _plain(period.end)}


def _row(row: Any) -> dict[str, Any]:
    return {key: _plain(value) for key, value in row.items()}


def _plain(value: Any) -> Any:
    if hasattr(value, "item"):  # a numpy scalar
        value = value.item()
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value if value is None or isinstance(value, str | int | float | bool) else str(value)
