"""What one counter added between its readings, and how much of that lies between any two moments."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.machine.activity import Activity
from lineview.machine.increments import known_modulus, reported_steps, steps_between, usual_interval_us
from lineview.machine.likeliest import LONG_S, OpenIntervals, PlannedTime, likeliest
from lineview.machine.speed import sums
from lineview.machine.steps import Steps
from lineview.plant import Counter

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Without a reading for so many usual intervals at a period's edge its count is not known.
_USUAL = 1.5
NO_PLAN = PlannedTime(np.empty(0), np.empty(0))


@dataclass(frozen=True)
class CounterIncrements:
    """What one counter added between successive readings.

    Parameters
    ----------
    start_us, end_us : arrays of int
        The intervals [µs since 1970], in order, each starting where the one before ends.
    value, low, high : arrays of float
        Pieces or metres [m]; `value` is the likeliest where the readings leave it open, `high` inf where
        nothing bounds it.
    known : array of bool
        Whether the readings decide it.
    readings : array of int
        How many intervals between readings each one holds.
    usual_us : float
        Usual time between two readings [µs].
    fastest_per_us : float
        The fastest it can count.
    step : float
        By how much its readings move [pieces or m]; they hide up to so much. 0 for a counter of single pieces.
    planned : PlannedTime
        When the works meant to run: in a long unread gap all is made then, as far as the fastest rate allows.
    """

    start_us: Ints
    end_us: Ints
    value: Floats
    low: Floats
    high: Floats
    known: npt.NDArray[np.bool_]
    readings: Ints
    usual_us: float
    fastest_per_us: float
    step: float = 0.0
    planned: PlannedTime = NO_PLAN

    def count(self, begins: Ints, ends: Ints, profile: Activity | None = None) -> Counted:
        """Count from each begin up to its end [µs]; `profile` says how an interval's count lies along it."""
        long = (ends - begins).astype(np.float64)
        if not len(self.end_us):
            nothing = np.where(long > 0, np.nan, 0.0)
            return Counted(nothing, 0.0 * long, long * self.fastest_per_us, long / 1e6, np.zeros(len(long), int))
        so_far = self._so_far
        span, low, high = so_far.span, so_far.low, so_far.high
        if np.array_equal(begins[1:], ends[:-1]):  # one after the other: each moment is looked up once
            places = _Place.of(span, np.append(begins[:1], ends))
            a, b = places.part(slice(-1)), places.part(slice(1, None))
            upto = self._upto(places, profile)
            inside = upto[1:] - upto[:-1]
        else:
            a, b = _Place.of(span, begins), _Place.of(span, ends)
            inside = self._upto(b, profile) - self._upto(a, profile)
        has_whole = b.floor > a.ceil
        inner = np.minimum(a.ceil, b.floor)
        outside = (np.clip(span[0] - begins, 0, ends - begins) + np.clip(ends - span[-1], 0, ends - begins)).astype(
            float
        )
        least = np.where(has_whole, low[b.floor] - low[inner], 0.0)
        most = high[b.ceil] - high[a.floor] + outside * self.fastest_per_us
        for edge, opposite, starts in ((a, b, True), (b, a, False)):
            spare_low, spare_high = self._long_edge(edge, opposite, starts=starts)
            least, most = least + spare_low, most - spare_high
        most = np.where(so_far.unbounded[b.ceil] > so_far.unbounded[a.floor], np.inf, most)
        estimate = np.where(outside <= _USUAL * self.usual_us, np.round(inside, 6), np.nan)
        return Counted(
            np.where(long > 0, estimate, 0.0),
            np.clip(least - self.step, 0.0, None),
            most + self.step,
            so_far.missing_s[b.ceil] - so_far.missing_s[a.floor] + outside / 1e6,
            _readings(so_far.readings, a, b),
        )

    def _upto(self, place: _Place, profile: Activity | None) -> Floats:
        """Counts up to moments; within an interval shared by the machine's pieces, else by time."""
        share = (place.at - place.start) / np.maximum(place.end - place.start, 1)
        if profile is not None and len(profile.at):
            span = self._so_far.span
            if len(span) < len(place.at):  # of fewer edges than moments each is looked up once
                at_edges = profile.pieces_until(span)
                first, last = at_edges[place.floor], at_edges[place.ceil]
            else:
                first, last = profile.pieces_until(place.start), profile.pieces_until(place.end)
            run = first, profile.pieces_until(place.at), last
            run_total = run[2] - run[0]
            share = np.where(run_total > 0, (run[1] - run[0]) / np.where(run_total > 0, run_total, 1.0), share)
        share = self._by_plan(place, share)
        inner = self.value[np.minimum(place.floor, len(self.value) - 1)]
        return np.asarray(self._so_far.value[place.floor] + np.where(place.between, share * inner, 0.0))

    def _by_plan(self, place: _Place, share: Floats) -> Floats:
        """Shares with those of long unread gaps by planned time: nothing is made while nobody means to."""
        rows = np.minimum(place.floor, len(self.value) - 1)
        long = place.between & ~self.known[rows] & (place.end - place.start > LONG_S * 1e6)
        if not long.any():
            return share
        planned_s = [self.planned.before(moment / 1e6) for moment in (place.start, place.at, place.end)]
        planned = planned_s[2] - planned_s[0]
        long &= (planned > 0) & (self.value[rows] <= planned * 1e6 * self.fastest_per_us)
        return np.where(long, (planned_s[1] - planned_s[0]) / np.where(planned > 0, planned, 1.0), share)

    def _long_edge(self, edge: _Place, other: _Place, *, starts: bool) -> tuple[Floats, Floats]:
        """What a long or open interval over an edge must and cannot have added inside, by the fastest rate.

        Of an interval much longer than usual, or whose count is open, the part on one side of a moment holds at most
        what fits into it at the fastest rate, and at least what does not fit into the other part.
        """
        place = np.minimum(edge.floor, len(self.value) - 1)
        long = (edge.end - edge.start > _USUAL * self.usual_us) | ~self.known[place]
        long &= edge.between & (self.usual_us > 0)
        long &= (other.floor != edge.floor) | (not starts)  # one interval over both edges is looked at once
        if not long.any():
            return np.zeros(len(long)), np.zeros(len(long))
        inner_end = np.minimum(edge.end, other.at) if starts else edge.at
        inner_start = edge.at if starts else np.maximum(edge.start, other.at)
        inside = np.clip(inner_end - inner_start, 0, None) * self.fastest_per_us
        outside = (edge.end - edge.start) * self.fastest_per_us - inside
        high = np.where(np.isinf(self.high[place]), 0.0, self.high[place])
        must = np.clip(self.low[place] - outside, 0.0, None)
        cannot = np.clip(high - inside, 0.0, None)
        return np.where(long, must, 0.0), np.where(long, cannot, 0.0)

    @cached_property
    def _so_far(self) -> _SoFar:
        """Sums up to each edge."""
        span = np.concatenate((self.start_us, self.end_us[-1:]))
        value, readings = sums(self.value), np.concatenate(([0], np.cumsum(self.readings)))
        if self.high is self.value and self.low is self.value and self.known.all():
            nothing = np.zeros(len(span))
            return _SoFar(span, value, value, value, nothing, nothing, readings)
        open_ended = np.isinf(self.high)
        return _SoFar(
            span,
            value,
            sums(self.low),
            sums(np.where(open_ended, 0.0, self.high)),
            sums(open_ended.astype(float)),
            sums(np.where(self.known, 0.0, (self.end_us - self.start_us) / 1e6)),
            readings,
        )

    def open_intervals(self) -> list[tuple[int, int]]:
        """The intervals [µs] whose count the readings leave open."""
        return list(zip(self.start_us[~self.known].tolist(), self.end_us[~self.known].tolist(), strict=True))


@dataclass(frozen=True)
class _SoFar:
    """Edges of a counter's intervals [µs], and sums up to each of them."""

    span: Ints
    value: Floats
    low: Floats
    high: Floats
    unbounded: Floats
    missing_s: Floats
    readings: Ints


class _Place(NamedTuple):
    """Where moments lie among the edges of the intervals between readings."""

    at: Ints
    floor: Ints
    ceil: Ints
    start: Ints
    end: Ints
    between: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, span: Ints, at: Ints) -> _Place:
        """Look moments up, those outside at the ends."""
        at = np.minimum(np.maximum(at, span[0]), span[-1])
        floor = np.searchsorted(span, at, side="right") - 1
        ceil = np.minimum(np.searchsorted(span, at), len(span) - 1)
        return cls(at, floor, ceil, span[floor], span[ceil], ceil > floor)

    def part(self, rows: slice) -> _Place:
        """Some of the moments."""
        at, floor, ceil = self.at[rows], self.floor[rows], self.ceil[rows]
        return _Place(at, floor, ceil, self.start[rows], self.end[rows], self.between[rows])


def _readings(until: Ints, a: _Place, b: _Place) -> Ints:
    """How many readings each stretch rests on: the intervals that it touches, and one more."""
    intervals = until[b.ceil] - until[a.floor]
    return np.asarray(np.where(intervals > 0, intervals + 1, 0))


@dataclass(frozen=True)
class Counted:
    """Counts of stretches, one an entry.

    `value` is nan where nothing was read, `high` inf where nothing bounds it; `missing_s` are the seconds [s]
    whose count the readings leave open, `readings` how many stand behind it.
    """

    value: Floats
    low: Floats
    high: Floats
    missing_s: Floats
    readings: Ints

    def at(self, k: int) -> Estimate:
        """One stretch's count."""
        value, high = float(self.value[k]), float(self.high[k])
        return Estimate(
            None if np.isnan(value) else value,
            float(self.low[k]),
            high if np.isfinite(high) else None,
            int(self.readings[k]),
            why_none=tr("no readings") if np.isnan(value) else "",
        )

    def plus(self, other: Counted) -> Counted:
        """Add what another counter counted of different pieces."""
        return Counted(
            self.value + other.value,
            self.low + other.low,
            self.high + other.high,
            np.maximum(self.missing_s, other.missing_s),
            np.maximum(self.readings, other.readings),
        )

    def or_else(self, other: Counted | None) -> Counted:
        """Take the other's count where only that is known."""
        if other is None:
            return self
        take = np.isnan(self.value) & ~np.isnan(other.value)
        names = [part.name for part in fields(self)]
        return Counted(*(np.where(take, getattr(other, name), getattr(self, name)) for name in names))


def counter_steps(at_us: Ints, value: Floats, counter: Counter, gap_s: float) -> Steps:
    """What a counter added between readings, in pieces or metres; `gap_s` [s] is the longest read one."""
    if counter.counting == "since last row":
        usual_us = usual_interval_us(at_us[:-1], at_us[1:])
        steps = reported_steps(at_us[:-1], at_us[1:], value[1:], counter.fastest_per_min, usual_us)
    else:
        steps = steps_between(
            at_us,
            -value if counter.counting == "down" else value,
            modulus=known_modulus(counter),
            fastest_per_min=counter.fastest_per_min,
            gap_s=gap_s,
            turns=counter.counting == "total",
        )
    return steps.times(counter.unit_value)


def counter_increments(steps: Steps, counter: Counter, planned: PlannedTime = NO_PLAN) -> CounterIncrements:
    """Fill in the likeliest count where the steps of a counter leave it open."""
    start, end = steps.start_us, steps.end_us
    single = np.ones(len(steps), dtype=np.int64)
    usual_us = usual_interval_us(start, end)
    filled = _fill_in(steps, counter, planned)
    return CounterIncrements(start, end, *filled, single, usual_us, fastest_per_us(counter), counter.step, planned)


def _fill_in(
    steps: Steps, counter: Counter, planned: PlannedTime
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    """Likeliest, least and most counts of each step, and whether the readings decide it."""
    n, low = steps.n, steps.low
    is_known = ~np.isnan(n)
    if is_known.all():
        return n, n, n, is_known
    high = np.where(np.isnan(steps.high), np.inf, steps.high)
    turn = (known_modulus(counter) or np.nan) * counter.unit_value
    seconds = steps.start_us / 1e6, steps.end_us / 1e6
    estimates = likeliest(OpenIntervals(*seconds, n, low, high, turn, counter.unit_value, steps.turned), planned)
    return estimates.value, estimates.low, estimates.high, estimates.known


def fastest_per_us(counter: Counter) -> float:
    """The fastest that a counter can count, a twentieth allowed on top [units/µs]."""
    return counter.fastest_per_min * counter.unit_value * 1.05 / 6e7
