"""The shifts of a simulated period as moments: seconds since 1970, UTC."""

from __future__ import annotations

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


def _window(shift: Shift, day: date, zone: ZoneInfo) -> Window:
    def moment(at: time) -> float:
        # A wall time before the shift's start is one of the next day.
        on = day if at >= shift.start else day + timedelta(days=1)
        return datetime.combine(on, at, zone).timestamp()

    end = moment(shift.end) if shift.end != shift.start else moment(shift.start) + 86400.0
    breaks = tuple((moment(b.start), moment(b.end)) for b in shift.breaks)
    return Window(shift.id, day, moment(shift.start), end, breaks)
