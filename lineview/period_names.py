"""Names of periods and wall times, as the address bar and the command line write them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, get_args

from lineview.errors import AskError, Fault

PeriodWord = Literal["last-shift", "this-week", "last-7-days", "last-28-days", "all"]
WORDS: tuple[PeriodWord, ...] = get_args(PeriodWord)
#: The period that suits a question.
DEFAULTS: dict[str, PeriodWord] = {
    "rope": "last-7-days",
    "weight": "last-7-days",
    "shift": "last-shift",
    "wrap": "last-28-days",
    "order": "all",
}


@dataclass(frozen=True)
class ShiftOfDay:
    """A shift by the day it starts on and its id: "2026-06-09.early"."""

    day: date
    shift: str


@dataclass(frozen=True)
class Days:
    """Whole days, both included: "2026-06-08..2026-06-12", or one: "2026-06-09"."""

    first: date
    last: date


#: A period as a person names it; which moments it means depends on the plant and on what was read.
PeriodName = PeriodWord | ShiftOfDay | Days


def read_period(text: str) -> PeriodName:
    """Read the name of a period.

    Parameters
    ----------
    text : str
        One of WORDS, a shift ("2026-06-09.early"), a day ("2026-06-09") or days ("2026-06-08..2026-06-12").

    Returns
    -------
    str, ShiftOfDay or Days
        The word, or what the text names.

    Raises
    ------
    AskError
        Where it names no period, or one that ends before it starts.

    Examples
    --------
    >>> read_period("2026-06-09.early")
    ShiftOfDay(day=datetime.date(2026, 6, 9), shift='early')
    """
    for word in WORDS:
        if text == word:
            return word
    first_text, dots, last_text = text.partition("..")
    if not dots and "." in text:
        day_text, _, shift = text.partition(".")
        return ShiftOfDay(_day(day_text, text), shift)
    first = _day(first_text, text)
    last = _day(last_text, text) if last_text else first
    if last < first:
        raise AskError(Fault(f"'{text}' ends before it starts", "period", "the earlier day first"))
    return Days(first, last)


def read_wall_time(text: str, where: str) -> datetime:
    """Read a moment as a person types it.

    Parameters
    ----------
    text : str
        "2026-06-09", "2026-06-09 06:00" or with an offset.
    where : str
        The option's or field's name, for the message.

    Returns
    -------
    datetime.datetime
        Without a zone unless an offset was typed.

    Raises
    ------
    AskError
        Where it is not a date and time.
    """
    try:
        return datetime.fromisoformat(text.strip())
    except ValueError:
        expected = "for instance 2026-06-09 06:00"
        raise AskError(Fault(f"'{text}' is not a date and time", where, expected)) from None


def _day(text: str, whole: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        expected = f"one of {', '.join(WORDS)}, a day such as 2026-06-09, or a shift such as 2026-06-09.early"
        raise AskError(Fault(f"unknown period '{whole}'", "period", expected)) from None
