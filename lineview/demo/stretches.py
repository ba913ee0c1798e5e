"""The shifts of a simulated period, and what each leaves behind: stretches, feeds, every wrap cycle."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

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
    """The plant's shifts that start within these days, in order."""
    shifts = []
    for offset in range(days):
        day = start + timedelta(days=offset)
        for shift in plant.shifts:
            if WEEK[day.weekday()] in shift.days:
                shifts.append(_window(shift, day, plant.tz))
    return sorted(shifts, key=lambda w: w.start_s)


def _window(shift: Shift, day: date, zone: ZoneInfo) -> Window:
    def moment(at: time) -> float:
        # A wall time before the shift's start is one of the next day.
        on = day if at >= shift.start else day + timedelta(days=1)
        return datetime.combine(on, at, zone).timestamp()

    end = moment(shift.end) if shift.end != shift.start else moment(shift.start) + 86400.0
    breaks = tuple((moment(b.start), moment(b.end)) for b in shift.breaks)
    return Window(shift.id, day, moment(shift.start), end, breaks)


Floats = NDArray[np.float64]
GOOD, REJECT, BLANK = 0, 1, 2
MOVING = ("running", "slow")


@dataclass
class Stretch:
    """A stretch of a wrap machine's clock in one state; `cycles` from `first` are those it made."""

    t0: float
    t1: float
    state: str
    reason: str = ""
    batch: str = ""
    first: int = 0
    cycles: int = 0
    blanks: int = 0
    rope_m: float = 0.0
    diameter_mm: Floats | None = None
    temperature_c: Floats | None = None

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.t1 - self.t0


@dataclass(frozen=True)
class Feed:
    """Web fed without cycles: from `t0` for `seconds`, `metres` of it, and why."""

    t0: float
    seconds: float
    kind: str
    metres: float
    cause: str
    web: str = ""


@dataclass
class ShiftTruth:
    """One shift of one line, whole: where the minutes went and what every cycle gave."""

    window: Window
    stretches: list[Stretch] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)
    kinds: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))
    masses_g: Floats = field(default_factory=lambda: np.empty(0))

    def count(self, kind: int) -> int:
        """How many cycles were of this kind."""
        return int(np.count_nonzero(self.kinds == kind))

    def seconds(self, state: str) -> float:
        """The seconds in this state."""
        return float(sum(s.seconds for s in self.stretches if s.state == state))
