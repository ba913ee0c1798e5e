"""An answer: one object a question, the same on board, sheets, command line and in JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

import polars as pl

from lineview.figure import Figure, Period

Question = Literal["rope", "weight", "shift", "wrap", "order"]


@dataclass(frozen=True)
class Scope:
    """What a question is asked of.

    Parameters
    ----------
    line : str
        Id of the line.
    machine : str
        Id of the machine: a sizer for rope, a cut-and-wrap machine for the others.
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


@dataclass(frozen=True)
class Span:
    """A run of a sentence; `call` marks what needs a person, and nothing else."""

    text: str
    call: bool = False


@dataclass(frozen=True)
class Table:
    """A table of an answer; cells are text, numbers, moments or None for "cannot be told".

    `columns` are (key, heading, unit); `rows` hold one mapping a row by those keys.
    """

    name: str
    title: str
    columns: Sequence[tuple[str, str, str]]
    rows: Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Answer:
    """The answer to one question.

    Parameters
    ----------
    question : str
        "rope", "weight", "shift", "wrap" or "order".
    scope : Scope
        What was asked.
    sentence : tuple of Span
        The one plain sentence with numbers in it.
    soft : str
        The line below: intervals, period, what was taken out.
    figures : tuple of Figure
        Every number told, by name.
    tables : tuple of Table
        What stands below the picture.
    series : mapping of str to polars.DataFrame
        Frames for the picture.
    notes : tuple of str
        What cannot be told and what other exports would add.
    cautions : tuple of str
        What the page shows so that nobody is hurt.
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

    def figure(self, name: str) -> Figure | None:
        """Give the figure of this name, or None."""
        return next((f for f in self.figures if f.name == name), None)

    @property
    def text(self) -> str:
        """The sentence as plain text."""
        return "".join(span.text for span in self.sentence)
