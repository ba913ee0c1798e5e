"""Shifts, lines and bands as a person writes them in one line, read and shown."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import time

from lineview.core.errors import AskError, Fault
from lineview.core.language import tr, tr_in, two_ways, typed_number, weekday_name
from lineview.plant.checks import WEEK, Day
from lineview.plant.model import Break, Shift

_SPAN = re.compile(r"(\d{1,2})[:.](\d{2})\s*(?:-|–|to)\s*(\d{1,2})[:.](\d{2})")
_CLOCK = re.compile(r"\d{1,2}[:.]\d{2}")
_DAYS = re.compile(r"\b(mon|tue|wed|thu|fri|sat|sun)\s*(?:-|–|to)\s*(mon|tue|wed|thu|fri|sat|sun)\b")


def shift_text(shift: Shift) -> str:
    """A shift in one line, as `read_shifts` reads it.

    Parameters
    ----------
    shift : Shift
        Of the plant description.

    Returns
    -------
    str
        Name, span, days and breaks.

    Examples
    --------
    >>> shift_text(Shift(id="early", start=time(6), end=time(14)))
    'early 06:00-14:00 mon-fri'
    """
    breaks = ", ".join(f"{b.start:%H:%M}-{b.end:%H:%M}" for b in shift.breaks)
    text = f"{shift.id} {shift.start:%H:%M}-{shift.end:%H:%M} {days_text(shift.days)}"
    return text + (f" breaks {breaks}" if breaks else "")


def days_text(days: Iterable[Day]) -> str:
    """Days in a few words: a run of three and more as "mon-fri"."""
    places = sorted(WEEK.index(day) for day in days)
    if len(places) > 2 and places[-1] - places[0] == len(places) - 1:
        return f"{WEEK[places[0]]}-{WEEK[places[-1]]}"
    return " ".join(WEEK[place] for place in places)


def read_shifts(text: str, where: str = "shifts") -> tuple[Shift, ...]:
    """Read shifts as a person writes them, separated by semicolons or lines.

    Parameters
    ----------
    text : str
        For each shift a name, a span, days and, after the word "breaks", spans of its breaks.
    where : str
        For the message.

    Returns
    -------
    tuple of Shift
        In the order given.

    Raises
    ------
    AskError
        For every shift that cannot be read, all at once.

    Examples
    --------
    >>> read_shifts("early 06:00-14:00 mon-thu sat breaks 09:00-09:15")[0].days
    ('mon', 'tue', 'wed', 'thu', 'sat')
    """
    shifts, faults = [], []
    for part in filter(None, (p.strip() for p in re.split(r"[;\n]", text))):
        shift = _shift(part)
        if shift is None:
            example = tr("early 06:00-14:00 mon-fri breaks 09:00-09:15; late 14:00-22:00")
            faults.append(
                Fault(tr("'{text}' is not a shift", text=part), where, tr("such as: {example}", example=example))
            )
        else:
            shifts.append(shift)
    if not shifts and not faults:
        faults.append(Fault(tr("no shift is given"), where, tr("at least one shift")))
    if faults:
        raise AskError(faults)
    return tuple(shifts)


def _in_english(text: str) -> str:
    """What follows a shift's name, with weekdays and words of the works' language as English has them."""
    spoken: list[tuple[str, str]] = [(tr("breaks"), "breaks"), (tr_in("between two times of day", "to"), "to")]
    spoken += [(weekday_name(at, short=short), day) for short in (False, True) for at, day in enumerate(WEEK)]
    for word, english in spoken:
        text = re.sub(rf"\b{re.escape(word)}(?![^\W_])", english, text, flags=re.IGNORECASE)
    return text.casefold()


def _shift(part: str) -> Shift | None:
    clock = _CLOCK.search(part)
    name, rest = (part[: clock.start()].strip(" :"), _in_english(part[clock.start() :])) if clock else (part, "")
    main, _, pauses = rest.partition("breaks")
    span = _SPAN.match(main)
    clocks = [c for m in [span, *_SPAN.finditer(pauses)] if m for c in _clocks(m)]
    if span is None or None in clocks:
        return None
    at = [c for c in clocks if c is not None]
    day_words = main[span.end() :].strip(" ,:.")
    days = _days(day_words)
    further = set(re.findall(r"[^\W\d_]{2,}", _SPAN.sub("", pauses))) - {"and", "und", "et"}
    if (day_words and not days) or _CLOCK.search(day_words) or further:  # a second shift, behind a comma
        return None
    breaks = tuple(Break(start=a, end=b) for a, b in zip(at[2::2], at[3::2], strict=True))
    try:
        return Shift(id=name or f"{at[0]:%H%M}", start=at[0], end=at[1], days=days or WEEK[:5], breaks=breaks)
    except ValueError:  # a name that no id can be
        return None


def _clocks(match: re.Match[str]) -> tuple[time | None, time | None]:
    hours = [int(text) for text in match.groups()]
    pairs = [(0 if hour == 24 else hour, minute) for hour, minute in (hours[:2], hours[2:])]
    first, second = (time(h, m) if h < 24 and m < 60 else None for h, m in pairs)
    return first, second


def _days(text: str) -> tuple[Day, ...]:
    days = set()
    for first, last in _DAYS.findall(text):
        a, b = WEEK.index(first), WEEK.index(last)
        days |= {WEEK[k % 7] for k in range(a, b + 1 if b >= a else b + 8)}
    days |= {day for day in WEEK if re.search(rf"\b{day}", text)}
    return tuple(day for day in WEEK if day in days)


def lines_text(lines: Iterable[tuple[str, Iterable[str]]]) -> str:
    """Lines with the ids of their machines in one line, as `read_lines` reads it.

    Parameters
    ----------
    lines : iterable of (str, iterable of str)
        Name of each line and the ids of its machines.

    Returns
    -------
    str
        Such as "Line 1 = sizer1, wrap1; Line 2 = sizer2, wrap2".
    """
    return "; ".join(f"{name} = {', '.join(machines)}" for name, machines in lines)


def read_lines(text: str, machines: Iterable[str]) -> list[tuple[str, list[str]]]:
    """Read which machines stand on which line.

    Parameters
    ----------
    text : str
        As `lines_text` writes it.
    machines : iterable of str
        The ids that have to be there, each once.

    Returns
    -------
    list of (str, list of str)
        Name of each line and the ids of its machines.

    Raises
    ------
    AskError
        Where a machine is not known, missing or there twice.
    """
    machine_ids = list(machines)
    lines = []
    for part in filter(None, (p.strip() for p in re.split(r"[;\n]", text))):
        name, mark, listed = part.partition("=")
        members = [m.strip() for m in listed.split(",") if m.strip()]
        if mark and name.strip() and members:
            lines.append((name.strip(), members))
    assigned = [machine for _, listed in lines for machine in listed]
    expected = tr("such as: Line 1 = sizer1, wrap1")
    faults = [
        Fault(tr("'{machine}' is not a machine", machine=m), "lines", ", ".join(machine_ids))
        for m in assigned
        if m not in machine_ids
    ]
    faults += [
        Fault(tr("'{machine}' is on no line", machine=m), "lines", expected) for m in machine_ids if m not in assigned
    ]
    twice = sorted({m for m in assigned if assigned.count(m) > 1})
    faults += [Fault(tr("'{machine}' is on two lines", machine=m), "lines", expected) for m in twice]
    if faults:
        raise AskError(faults)
    return lines


def read_band(text: str, where: str = "band") -> tuple[float, float]:
    """Read a nominal band.

    Parameters
    ----------
    text : str
        Two numbers [pieces/min], such as "300-400".
    where : str
        For the message.

    Returns
    -------
    tuple of float
        Low end and high end [pieces/min].

    Raises
    ------
    AskError
        Where these are not two numbers, the low one first.
    """
    entries = re.findall(r"\d+(?:[.,]\d+)*", text)
    numbers = [typed_number(entry) for entry in entries]
    if len(numbers) != 2 or not 0 < numbers[0] <= numbers[1]:
        expected = next(filter(None, map(two_ways, entries)), tr("two numbers of pieces a minute: 300-400"))
        raise AskError(Fault(tr("'{text}' is not a band", text=text), where, expected))
    return numbers[0], numbers[1]
