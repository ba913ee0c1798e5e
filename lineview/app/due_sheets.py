"""Which sheets are due: those of the shifts, days and weeks that ended by the last reading, named by date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from lineview.app.question import QUESTIONS, QuestionScope, machines_asked, read_question
from lineview.core.errors import AskError, Fault
from lineview.core.figure import Period
from lineview.core.language import tr
from lineview.plant import Plant
from lineview.plant.periods import shifts_between
from lineview.report.answer import Question
from lineview.store.files import write_file

#: Sheets of shifts that ended longer ago than this are not written any more.
SHIFTS_BACK = timedelta(days=1)


@dataclass(frozen=True)
class DueSheet:
    """A sheet to write: what it asks, and its file's name without the ending."""

    question: QuestionScope
    name: str


def read_sheet_choice(names: list[str]) -> tuple[Question, ...]:
    """Read which sheets are wanted.

    Parameters
    ----------
    names : list of str
        Questions.

    Raises
    ------
    AskError
        With every unknown one.
    """
    faults = [
        Fault(tr("unknown question '{name}'", name=name), "--sheet", tr("one of {names}", names=", ".join(QUESTIONS)))
        for name in names
        if name not in QUESTIONS
    ]
    if faults:
        raise AskError(faults)
    return tuple(question for question in QUESTIONS if question in names)


def due_sheets(plant: Plant, span: Period, questions: tuple[Question, ...]) -> list[DueSheet]:
    """The sheets of what has ended: each shift's of the last day, the last day's, the last week's.

    Parameters
    ----------
    plant : Plant
        The works.
    span : Period
        From the first to the last reading.
    questions : tuple of str
        Which sheets are wanted: "shift" at a shift's end, "week" at a week's, the others at a day's.

    Returns
    -------
    list of DueSheet
        One a machine, of the order and the week one for the works.
    """
    listed = shifts_between(plant.shifts, plant.tz, span)
    late = timedelta(seconds=plant.gap_s)
    ended = [(token, period) for token, _, period in listed if period.end <= span.end + late]
    due: list[DueSheet] = []
    for question in questions:
        if question == "shift":
            recent = [token for token, period in ended if period.end > span.end - SHIFTS_BACK]
            due += [sheet for token in recent for sheet in _each_machine(plant, question, token, token)]
        elif question == "week":
            due += _week(plant, span, [period for _, _, period in listed], late)
        else:
            day = _last_day(plant, span, listed, late)
            due += [] if day is None else _each_machine(plant, question, day, day)
    return due


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
        Its folder is made where it is missing.
    content : bytes
        What it is to hold.
    """
    write_file(path, lambda part: part.write_bytes(content))


def _each_machine(plant: Plant, question: Question, period: str, date: str) -> list[DueSheet]:
    if question == "order":
        return [DueSheet(read_question(question), f"{date}-order")]
    return [
        DueSheet(read_question(question, machine=m.id, period=period), f"{date}-{question}-{m.id}")
        for m in machines_asked(plant, question)
    ]


def _last_day(plant: Plant, span: Period, listed: list[tuple[str, str, Period]], late: timedelta) -> str | None:
    """The last day all of whose shifts are over; without shifts, the last whole one."""
    if not plant.shifts:
        yesterday = span.end.astimezone(plant.tz).date() - timedelta(days=1)
        return yesterday.isoformat()
    by_day: dict[str, datetime] = {}
    for token, _, period in listed:
        day = token.partition(".")[0]
        by_day[day] = max(period.end, by_day.get(day, period.end))
    over = [day for day, end in by_day.items() if end <= span.end + late]
    return max(over, default=None)


def _week(plant: Plant, span: Period, periods: list[Period], late: timedelta) -> list[DueSheet]:
    """The sheet of the last week that has no shift left."""
    local = span.end.astimezone(plant.tz)
    monday = local.date() - timedelta(days=local.weekday())
    sunday = datetime.combine(monday + timedelta(days=7), datetime.min.time(), tzinfo=plant.tz)
    ahead = shifts_between(plant.shifts, plant.tz, Period(span.end, sunday))
    if any(period.start < sunday and period.end > span.end + late for _, _, period in ahead) or not periods:
        monday -= timedelta(days=7)
    if monday + timedelta(days=7) <= span.start.astimezone(plant.tz).date():
        return []
    days = f"{monday.isoformat()}..{(monday + timedelta(days=6)).isoformat()}"
    year, number, _ = monday.isocalendar()
    return [DueSheet(read_question("week", period=days), f"{year}-W{number:02}-week")]
