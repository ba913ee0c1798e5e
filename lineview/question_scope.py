"""What somebody asks: read once from the texts of an address or a command, and checked there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar, get_args

from lineview.answers.answer import Question
from lineview.errors import AskError, Fault
from lineview.plant.periods import DEFAULTS, PeriodName, read_period, read_wall_time

T = TypeVar("T")
QUESTIONS: tuple[Question, ...] = get_args(Question)


@dataclass(frozen=True)
class QuestionScope:
    """A question as it is asked; what is left open is chosen by what was read.

    Parameters
    ----------
    question : str
        Which of the five.
    line, machine : str, optional
        Ids; by default the first line's machine that the question is about.
    period : str, ShiftOfDay or Days, optional
        The name of a period; by default the one that suits the question.
    start, end : datetime.datetime, optional
        Moments in the plant's wall time or with an offset; either takes the place of `period`.
    """

    question: Question
    line: str | None = None
    machine: str | None = None
    period: PeriodName | None = None
    start: datetime | None = None
    end: datetime | None = None

    @property
    def named_period(self) -> PeriodName:
        """The period asked for, or the one that suits the question."""
        return DEFAULTS[self.question] if self.period is None else self.period


def read_question(
    question: str,
    line: str | None = None,
    machine: str | None = None,
    period: str | None = None,
    start: str | None = None,
    end: str | None = None,
) -> QuestionScope:
    """Read what is asked; an empty text is as good as none.

    Parameters
    ----------
    question : str
        "rope", "weight", "shift", "wrap" or "order".
    line, machine : str, optional
        Ids.
    period : str, optional
        As in lineview.plant.periods.read_period.
    start, end : str, optional
        Moments, as in lineview.plant.periods.read_wall_time.

    Returns
    -------
    QuestionScope
        Whether line, machine and shift are in the plant is checked when it is answered.

    Raises
    ------
    AskError
        With all that cannot be read, at once.

    Examples
    --------
    >>> read_question("shift", line="1", period="2026-06-09.early").period
    ShiftOfDay(day=datetime.date(2026, 6, 9), shift='early')
    """
    faults: list[Fault] = []
    known = next((q for q in QUESTIONS if q == question), None)
    if known is None:
        faults.append(Fault(f"unknown question '{question}'", "question", f"one of {', '.join(QUESTIONS)}"))
    name = _read(read_period, period, faults)
    first = _read(lambda text: read_wall_time(text, "--from"), start, faults)
    last = _read(lambda text: read_wall_time(text, "--to"), end, faults)
    if known is None or faults:
        raise AskError(faults)
    return QuestionScope(known, line or None, machine or None, name, first, last)


def _read(read: Callable[[str], T], text: str | None, faults: list[Fault]) -> T | None:
    """Read a text, or add what is wrong with it."""
    if not text:
        return None
    try:
        return read(text)
    except AskError as error:
        faults += error.faults
        return None
