"""Bounds between two readings of one counter in different windows, and what fits into planned time between them."""

from __future__ import annotations

import math

import numpy as np
import polars as pl

from lineview.machine.counter_repair import Limits, possible
from lineview.machine.increments import pair_bounds, unread_longer_than
from lineview.machine.likeliest import PlannedTime
from lineview.machine.speed import Floats, Ints
from lineview.machine.state_codes import LATE_US, MEANINGS, RUNNING_CODE, StateIntervals
from lineview.machine.steps import Steps
from lineview.plant import Counter

#: A counter that shows one value while fewer counts than this were due at its pace most likely was right: waste
#: and blank wraps come in bursts.
DUE = 60.0


class CounterPairs:
    """Bounds between two readings of one counter, by its size and its usual interval."""

    def __init__(
        self, counter: Counter, windows: pl.DataFrame, gap_s: float, planned: PlannedTime, states: StateIntervals
    ) -> None:
        sizes = windows["modulus"].drop_nulls()
        usual = windows["usual_us"].filter(windows["usual_us"] > 0)
        usual_us = float(usual.median()) if len(usual) else 0.0  # type: ignore[arg-type]  # a float
        self._counter = counter
        self._sign = -1.0 if counter.counting == "down" else 1.0
        self._modulus = float(sizes[0]) if len(sizes) == windows.height and len(sizes) else None
        self._unread_us = unread_longer_than(gap_s, usual_us)
        self._usual_s = usual_us / 1e6
        self.limits = Limits(self._modulus, counter.fastest_per_min, 0.05)
        self.sized = self._modulus is not None and counter.counting == "total"
        self._planned = planned
        self._paces = [windows[name].to_numpy().astype(np.float64) for name in ("rest_pace", "first_pace")]
        self._rest_us = windows["rest_us"].to_numpy()
        self._stands = states.only(*(name for name in MEANINGS if name != MEANINGS[RUNNING_CODE]))

    def any_jump(self, windows: pl.DataFrame) -> bool:
        """Whether a window begins with what the one before cannot have counted to in the planned time between."""
        at_us = np.concatenate((windows["last_us"].to_numpy()[:-1], windows["first_us"].to_numpy()[1:]))
        value = np.concatenate((windows["last_count"].to_numpy()[:-1], windows["first_count"].to_numpy()[1:]))
        place = np.arange(windows.height - 1)
        follow = possible(at_us, value * self._sign, place, place + windows.height - 1, self.limits)
        if not follow.all() or not len(self._planned.start_s):
            return not bool(follow.all())
        between_us = at_us.reshape(2, -1)
        planned_s = self._planned.before(between_us[1] / 1e6) - self._planned.before(between_us[0] / 1e6)
        counts = self.limits.advance(*(value * self._sign).reshape(2, -1))
        return bool((counts > self.limits.most(planned_s)).any())

    def rise(self, before: float, after: float) -> float:
        """What a counter that did not turn counted from one value to another; below 0 where it fell."""
        return (after - before) * self._sign

    def is_top(self, value: float) -> bool:
        """Whether a value is the counter's last before it turns."""
        return self._modulus is not None and value == self._modulus - 1

    def _planned_s(self, start_us: int, end_us: int) -> float:
        """Planned seconds between two moments [µs]; all of them where no plan is known."""
        if not len(self._planned.start_s):
            return (end_us - start_us) / 1e6
        planned_s = self._planned.before(np.array([start_us, end_us]) / 1e6)
        return float(planned_s[1] - planned_s[0])

    def with_turns(self, rise: float, most: float) -> float:
        """Counts of a rise with as many turns as fit under a most, and with one that takes a fall above 0."""
        if not self.sized or self._modulus is None:
            return rise
        size = self._modulus
        return rise + size * max(math.floor((most - rise) / size), math.ceil(-rise / size), 0)

    def most_planned(self, start_us: int, end_us: int) -> float:
        """The most counts between two moments [µs], in planned time."""
        return float(self.limits.most(np.array([self._planned_s(start_us, end_us)]))[0])

    def may_stand(self, start_us: int, end_us: int, pace: float | None) -> bool:
        """Whether a counter at a pace [counts/s] that shows one value between two moments [µs] surely stood.

        Nobody meant to run, but for two readings, by its states it did not, or next to nothing was due.
        """
        stood_s = float(np.diff(self._stands.seconds_until(np.array([start_us, end_us])))[0])
        could_run_s = min(self._planned_s(start_us, end_us), (end_us - start_us) / 1e6 - stood_s)
        lag_s = LATE_US / 1e6 if stood_s > 0 else 2 * self._usual_s
        return end_us > start_us and (could_run_s <= lag_s or could_run_s * (pace or 0.0) < DUE)

    def steps(self, at0: Ints, at1: Ints, v0: Floats, v1: Floats, places: tuple[Ints, Ints]) -> Steps:
        """What was counted between pairs of readings, from one of the windows to one of them."""
        pace = np.maximum(self._paces[0][places[0]], self._paces[1][places[1]])
        parts = pair_bounds(
            at0,
            at1,
            v0 * self._sign,
            v1 * self._sign,
            self._modulus,
            self._counter.fastest_per_min,
            unread_us=self._unread_us,
            pace=pace,
            stood=self._rest_us[places[0]] < at0,
        )
        return Steps(at0, at1, *parts).times(self._counter.unit_value)

    def follows(self, before: tuple[int, float], after: tuple[int, float]) -> bool:
        """Whether a reading can have been counted to from another."""
        at_us = np.array([before[0], after[0]], dtype=np.int64)
        value = np.array([before[1], after[1]]) * self._sign
        return bool(possible(at_us, value, np.array([0]), np.array([1]), self.limits)[0])
