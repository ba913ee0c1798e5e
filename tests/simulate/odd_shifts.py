"""Weeks of shifts off the textbook, written apart from the estimators: breakdowns, clumps, wear, slow hours."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.figure import Period
from lineview.plant import Counter, Line, Machine, Plant, Shift
from lineview.report.answer import Answer, Scope
from tests import factories
from tests.from_frames import Frames, answered

Floats = NDArray[np.float64]
FIRST = datetime(2026, 5, 4, 6, tzinfo=UTC)
SHIFT_S = 8 * 3600.0
FULL_PER_S = 350.0 / 60.0


@dataclass(frozen=True)
class OddShifts:
    """How a line stops and slows.

    `run_min` is the mean run, `sigma` the logarithm's standard deviation of usual stops, `breakdowns` the
    share of stops of half an hour to an hour, `clumped` the chance that a stop comes back within a minute or
    two, `crew` the spread of the logarithm of a shift's own stop rate, `worsened` by how much more often this
    last shift stops, `last_hour` the speed of each shift's last hour.
    """

    run_min: float = 14.0
    sigma: float = 0.5
    breakdowns: float = 0.0
    clumped: float = 0.0
    crew: float = 0.0
    worsened: float = 1.0
    last_hour: float = 1.0


CONDITIONS = {
    "plain": OddShifts(),
    "breakdowns in 4 % of stops": OddShifts(breakdowns=0.04),
    "heavy stops": OddShifts(sigma=0.9),
    "clumped stops": OddShifts(clumped=0.5),
    "crews differ": OddShifts(crew=0.3),
    "worsened this shift": OddShifts(worsened=2.0),
    "better this shift": OddShifts(worsened=0.5),
    "slow last hours": OddShifts(last_hour=0.65),
}


@dataclass(frozen=True)
class Stretches:
    """Stretches one after the other from a shift's start: until when [s], and pieces a second."""

    until_s: Floats
    per_s: Floats

    def pieces(self, at_s: Floats) -> Floats:
        """Pieces made up to moments."""
        edges = np.concatenate(([0.0], self.until_s))
        made = np.concatenate(([0.0], np.cumsum(np.diff(edges) * self.per_s)))
        return np.interp(at_s, edges, made)


def _stop_s(rng: np.random.Generator, odd: OddShifts) -> float:
    if rng.random() < odd.breakdowns:
        return float(rng.uniform(1800.0, 3600.0))
    return float(80.0 + 60.0 * min(rng.weibull(2.0), 4.0) * np.exp(odd.sigma * rng.laplace(0.0, 0.5)))


def mean_stop_min(odd: OddShifts) -> float:
    """The true mean of a stop [min], by a great many of them."""
    rng = np.random.default_rng(99)
    return float(np.mean([_stop_s(rng, odd) for _ in range(200_000)])) / 60.0


def mean_run_min(odd: OddShifts) -> float:
    """The true mean running time from stop to stop in the last shift [min]."""
    usual = 70.0 / 60.0 + odd.run_min / odd.worsened * float(np.exp(odd.crew**2 / 2.0))
    back = 110.0 / 60.0
    return (1.0 - odd.clumped) * usual + odd.clumped * back


def one_shift(rng: np.random.Generator, odd: OddShifts, *, last: bool = False) -> Stretches:
    """Draw a shift without breaks."""
    rate = np.exp(odd.crew * rng.standard_normal()) * (odd.worsened if last else 1.0)
    until: list[float] = []
    per_s: list[float] = []
    at = 0.0
    while at < SHIFT_S:
        again = bool(until) and rng.random() < odd.clumped
        run = rng.uniform(70.0, 150.0) if again else 70.0 + rng.exponential(60.0 * odd.run_min) / rate
        speed = FULL_PER_S * float(rng.uniform(0.97, 1.03))
        slow_from = SHIFT_S - 3600.0
        if at < slow_from < at + run:
            until.append(slow_from)
            per_s.append(speed)
        late = at + run > slow_from
        at += run
        until.append(at)
        per_s.append(speed * (odd.last_hour if late else 1.0))
        at += _stop_s(rng, odd)
        until.append(at)
        per_s.append(0.0)
    kept = np.minimum(np.array(until), SHIFT_S)
    return Stretches(kept, np.array(per_s))


@dataclass(frozen=True)
class OddWeeks:
    """Shifts of one line on days one after the other; the last is under way."""

    shifts: tuple[Stretches, ...]

    @property
    def start(self) -> datetime:
        """When the last shift starts."""
        return FIRST + timedelta(days=len(self.shifts) - 1)

    def made(self, hours: float) -> float:
        """Pieces of the last shift up to an hour of it."""
        return float(self.shifts[-1].pieces(np.array([hours * 3600.0]))[0])

    def readings(self, hours: float, every_s: float = 20.0) -> pl.DataFrame:
        """Readings of the piece counter up to an hour of the last shift."""
        at, count, before = [], [], 0.0
        for day, shift in enumerate(self.shifts):
            last = day == len(self.shifts) - 1
            at_s = np.arange(0.0, hours * 3600.0 + 1 if last else SHIFT_S + 1, every_s)
            at.append(FIRST.timestamp() + day * 86400.0 + at_s)
            count.append(before + shift.pieces(at_s))
            before = float(count[-1][-1])
        moments = factories.moments(np.concatenate(at))
        return factories.readings("w1", "pieces", moments, np.floor(np.concatenate(count)))

    def answer(self, hours: float) -> Answer:
        """The shift's answer at an hour of the last shift."""
        now = self.start + timedelta(hours=hours)
        scope = Scope("1", "w1", Period(self.start, self.start + timedelta(hours=8)), now, "this shift")
        return answered("shift", plant(), scope, Frames({"w1": self.readings(hours)}))


def odd_weeks(seed: int, odd: OddShifts, days: int = 26) -> OddWeeks:
    """Draw some weeks of shifts, one a day."""
    rng = np.random.default_rng([seed, 815])
    return OddWeeks(tuple(one_shift(rng, odd, last=day == days - 1) for day in range(days)))


def plant() -> Plant:
    """One wrapping machine and one shift a day without breaks."""
    counter = Counter(id="pieces", counts="pieces", modulus=100_000_000, fastest_per_min=450)
    machine = Machine(
        id="w1", kind="cut-and-wrap machine", line="1", nominal_per_min=(200.0, 400.0), counters=(counter,)
    )
    return Plant(
        shop="Invented Sweets",
        shifts=(Shift(id="early", start="06:00", end="14:00"),),
        lines=(Line(id="1"),),
        machines=(machine,),
        products=(factories.product("mint"),),
    )
