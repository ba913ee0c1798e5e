"""What setting up and intake say of small exports: proposals, questions, refusals, readings."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

import polars as pl

from lineview.app.question import read_question
from lineview.app.setup import SetUp, set_up
from lineview.app.setup_layouts import survey_folder
from lineview.app.works import Works
from lineview.core.errors import LineviewError
from lineview.core.language import speak
from lineview.intake import pieces
from lineview.intake.exports import Export, NotInPieces, Proposal
from lineview.intake.layout.propose import settle
from lineview.intake.read import open_big, read_export
from lineview.intake.refusal_reasons import with_reasons_shown
from lineview.plant import Layout
from tests.intake.invented_works import WORKS
from tests.simulate.small_exports import BESIDE, Files, small_exports

FIGURES = ("pieces_made", "good_pieces", "running_min", "planned_min", "rejected_percent")
SHIFTS = "early 06:00-14:00 mon-sun; late 14:00-22:00 mon-sun"
NOW = datetime(2026, 11, 2, tzinfo=UTC)
#: So many times a form of questions is answered at most.
FORMS = 4
#: Questions of every works.
USUAL = ("zone", "band")
#: Of these the shifts are suggested by what was counted; of those the shifts of the first machine are counted.
DAYS = ("plain", "sixteen bits", "sums of hours", "sums of hours and days", "days of files", "the clock goes back")
COUNTED = (
    "plain", "what is left", "sixteen bits", "sums of hours, one lost", "since the shift's start",
    "rejects with blanks", "a turn", "a reset", "hundreds", "a number of 32 bits", "unplugged", "the clock goes back",
    "a reset at the change of shifts", "a turn while nothing is read", "unread at the change of shifts",
    "frozen at the change of shifts", "differences at the change of shifts", "another counter from the second shift on",
)  # fmt: skip


def said_of_exports(folder: Path) -> Iterator[tuple[str, Any]]:
    """What is said of each small export, written into folders of their own, by where it is said."""
    for name, files in small_exports().items():
        into = folder / re.sub(r"\W", "_", name)
        (into / "exports").mkdir(parents=True)
        for file, data in files.items():
            (into / "exports" / file).write_bytes(data)
        for place, value in _said(into, files, name):
            yield f"{name} {place}", value


def _said(into: Path, files: Files, name: str) -> Iterator[tuple[str, Any]]:
    for file in files:
        of_file = "" if len(files) == 1 else f"{file} "
        for place, value in _read(into / "exports" / file):
            yield f"{of_file}{place}", _apart_from(into, value)
    if name not in BESIDE:
        for place, value in _set_up(into, name):
            yield f"set up {place}", _apart_from(into, value)


def _apart_from(folder: Path, value: Any) -> Any:
    """The same without the folder's path in its texts."""
    if isinstance(value, list | tuple):
        return [_apart_from(folder, one) for one in value]
    return value.replace(str(folder), "") if isinstance(value, str) else value


def _read(path: Path) -> Iterator[tuple[str, Any]]:
    """A file as it is read with the layout proposed, its questions answered by their first and last options."""
    try:
        found = read_export(path, WORKS, now=NOW)
    except LineviewError as error:
        yield "declined", [str(fault) for fault in error.faults]
        return
    assert isinstance(found, Proposal)
    yield "layout", found.layout.model_dump(mode="json", exclude_defaults=True)
    yield "questions", [[q.about, q.text, *q.options] for q in found.questions]
    yield "notes", list(found.notes)
    yield "sample", [found.sample.columns, found.sample.height]
    for which in (0, -1) if any(question.about != "machine" for question in found.questions) else (0,):
        answers = {question.about: question.options[which][0] for question in found.questions if question.options}
        try:
            export = read_export(path, WORKS, layout=settle(found, answers), now=NOW)
        except LineviewError as error:
            yield f"{which} declined", [str(fault) for fault in error.faults]
        else:
            assert isinstance(export, Export)
            yield from ((f"{which} {place}", value) for place, value in _rows(export))
            yield from _in_pieces(path, settle(found, answers)) if which == 0 else ()


def _in_pieces(path: Path, layout: Layout) -> Iterator[tuple[str, Any]]:
    """A text read as if it were too big for one piece."""
    with patch.multiple(pieces, BIG=1_000, _PIECE=900, _HEAD=700):
        opened = open_big(path, WORKS, layout=layout, now=NOW)
        if opened is None:
            return
        try:
            stretches = [(s.first_row, s.rows, s.rows_refused, pl.concat(s.frames)) for s in opened.stretches(path)]
        except (NotInPieces, LineviewError) as error:
            yield "in pieces", str(error)
        else:
            sums = [[*rows, frame.height, frame["value"].sum()] for *rows, frame in stretches]
            yield "in pieces", [*opened.notes, *sums]


def _rows(export: Export) -> Iterator[tuple[str, Any]]:
    yield "rows", [export.rows, export.rows_refused, export.uncertain, export.refusals.height]
    if export.notes:
        yield "notes of rows", list(export.notes)
    if export.refusals.height:
        yield "refused", _reasons(export)
    for number, part in enumerate(export.parts):
        yield f"part {number}", [part.kind, *([c, *_digest(part.tidy[c].to_list())] for c in part.tidy.columns)]


def _reasons(export: Export) -> list[Any]:
    """The first refusals, and how their reasons read in German."""
    speak("de")
    try:
        german = with_reasons_shown(export.refusals)["reason"].to_list()
    finally:
        speak("en")
    return [[*row, german[k]] for k, row in enumerate(export.refusals.select("row", "column", "reason").rows()[:4])]


def _digest(values: list[Any]) -> list[Any]:
    """How many there are, of numbers their sum and their sum by place, of all else the first, middle and last."""
    there = [value for value in values if value is not None]
    if there and all(isinstance(value, float | int) for value in there):
        return [len(there), sum(there), sum(k * value for k, value in enumerate(values) if value is not None)]
    return [len(there), *(str(there[k]) for k in {0, len(there) // 2, len(there) - 1} if 0 <= k < len(there))]


def _set_up(into: Path, name: str) -> Iterator[tuple[str, Any]]:
    """A works set up from the files, each open question answered by its first option."""
    surveyed = survey_folder([into / "exports"], "Invented", "Europe/Berlin")
    if name in DAYS:
        first = set_up(surveyed, {})
        yield "shifts", [[q.suggested, q.why, *q.options] for q in first.questions if q.key == "shifts"]
    answers: dict[str, str] = {"shifts": SHIFTS}
    for form in range(1, FORMS):
        came = set_up(surveyed, answers)
        yield from ((f"{form} {place}", value) for place, value in _shown(came))
        new = {q.key: q.options[0][0] for q in came.open if q.options and q.key not in answers}
        if not new:
            break
        answers |= new
    if came.text:
        yield "plant.toml", came.text.partition("[[lines]]")[2].splitlines()
    if came.text and name in COUNTED:
        (into / "plant.toml").write_text(came.text, encoding="utf-8")
        yield from _asked(into, name)


def _shown(came: SetUp) -> Iterator[tuple[str, Any]]:
    usual = [q.why for q in came.questions if q.key == "band"]
    more = [[q.key, q.text, q.suggested, q.why, *q.options] for q in came.questions if q.key not in (*USUAL, "shifts")]
    yield "questions", [*usual, *more]
    if came.faults:
        yield "faults", [str(fault) for fault in came.faults]
    yield "by day", [[str(cell) for cell in row] for row in came.by_day.rows()]
    yield "learned", [[c.machine, c.channel, c.holds, c.readings, c.example, c.count_m] for c in came.learned]


def _asked(into: Path, name: str) -> Iterator[tuple[str, Any]]:
    """What goes in, and the count of the first machine."""
    with Works(into) as works:
        for taken in works.take([into / "exports"]):
            kept = (
                [taken.receipt.rows, taken.receipt.kept, taken.receipt.refused] if taken.receipt else str(taken.error)
            )
            yield f"in {taken.path.name}", kept
        machine = works.plant.machines[0].id
        periods = ("all", "2026-06-08.early", "2026-06-08.late") if name.endswith("shifts") else ("all",)
        for period in periods:
            answer = works.ask(read_question("shift", machine=machine, period=period))
            yield f"{period} sentence", answer.text
            yield f"{period} notes", list(answer.notes)
            figures = [figure for figure in answer.figures if figure.name in FIGURES]
            yield f"{period} figures", [[f.name, f.value, f.low, f.high] for f in figures]
