"""The shifts of a simulated period as moments: seconds since 1970, UTC."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from lineview.plant import WEEK, Plant, Shift


@dataclass(frozen=True)
class Window:
    """One shift: its id, its date, its edges and those of its breaks [s since 1970, UTC]."""

    shift: str
    date: date
    start_s: float
    end_s: float
    breaks: tuple[tuple[float, float], ...] = ()


def windows(plant: Plant, start: date, days: int) -> list[Window]:
    """Give the plant's shifts that start within these days, in order.

    Parameters
    ----------
    plant : Plant
        With its zone and shifts.
    start : datetime.date
        The first day.
    days : int
        How many days.

    Returns
    -------
    list of Window
    """
    found = []
    for offset in range(days):
        day = start + timedelta(days=offset)
        for shift in plant.shifts:
            if WEEK[day.weekday()] in shift.days:
                found.append(_window(shift, day, plant.tz))
    return sorted(found, key=lambda w: w.start_s)


def plain_windows(hours: float, shift_h: float = 8.0, start_s: float = 1_780_000_000.0) -> list[Window]:
    """Give shifts without breaks, one after the other, for a bare line.

    Parameters
    ----------
    hours : float
        Length of the whole period [h], rounded to whole shifts.
    shift_h : float
        Length of a shift [h].
    start_s : float
        When the first shift starts [s], since 1970, UTC.

    Returns
    -------
    list of Window
        In order, all under one date, without breaks.

    Examples
    --------
    >>> [w.end_s - w.start_s for w in plain_windows(16.0)]
    [28800.0, 28800.0]
    """
    day = date(2026, 6, 8)
    edges: Iterator[float] = (start_s + i * shift_h * 3600.0 for i in range(round(hours / shift_h)))
    return [Window(f"shift{i + 1}", day, at, at + shift_h * 3600.0) for i, at in enumerate(edges)]


def _window(shift: Shift, day: date, zone: ZoneInfo) -> Window:
    def moment(at: time) -> float:
        # A wall time before the shift's start is one of the next day.
        on = day if at >= shift.start else day + timedelta(days=1)
        return datetime.combine(on, at, zone).timestamp()

    end = moment(shift.end) if shift.end != shift.start else moment(shift.start) + 86400.0
    breaks = tuple((moment(b.start), moment(b.end)) for b in shift.breaks)
    return Window(shift.id, day, moment(shift.start), end, breaks)
