"""What the machine's shifts of the last weeks show about this one: how its rest may go, how its stops may scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.machine.stops import RUNS, StopCount, stop_spells
from lineview.stats.events import mean_between_limits
from lineview.stats.means import coverage_factor

Floats = NDArray[np.float64]

#: Past shifts that an interval needs, and from how many on their own order says what is rare.
LEAST_SHIFTS, ORDERED_FROM = 8, 19
#: Stops that the limits of their mean length need.
LEAST_STOPS = 60
#: Numbers of stops vary at least so many times as much as by chance: after a stop comes a run, so fewer than by chance.
MOST_EVEN = 0.3
#: From so many standard deviations off the usual the pace of a shift may be one that lasts.
MAY_LAST = 0.5
#: Minutes not seen that a past shift may have, as a share of its planned minutes.
_UNSEEN = 0.02
_DRAWS, _BLOCK, _DRAWN_TOGETHER = 2000, 4, 50


@dataclass(frozen=True)
class PastShift:
    """One shift: pieces made and minutes run up to planned minutes [min] from its start, and its stops.

    `stop_starts_min` are the running minutes at which stops began, `stop_lengths_min` the lengths of those that ended.
    """

    at_min: Floats
    pieces_up_to: Floats
    run_up_to: Floats
    stop_starts_min: Floats
    stop_lengths_min: Floats

    @property
    def planned_min(self) -> float:
        """Planned minutes [min]."""
        return float(self.at_min[-1])

    @property
    def run_min(self) -> float:
        """Minutes run [min]."""
        return float(self.run_up_to[-1])

    def rate(self, start_min: float, end_min: float) -> float:
        """Pieces a planned minute between two of its planned minutes."""
        first, last = np.interp([start_min, end_min], self.at_min, self.pieces_up_to)
        return float(last - first) / (end_min - start_min)

    def stops_per_min(self, until_min: float) -> float:
        """Stops a running minute up to a planned minute, half a stop being the least."""
        run_min = float(np.interp(until_min, self.at_min, self.run_up_to))
        return max(float(np.sum(self.stop_starts_min <= run_min)), 0.5) / max(run_min, 1e-9)

    def pace(self, until_min: float, stop_min: float) -> float:
        """The rate by its stops' number up to a planned minute, each at a usual length [min].

        One long breakdown does not move it, more frequent stops and slower running do.
        """
        run_min = float(np.interp(until_min, self.at_min, self.run_up_to))
        if run_min <= 0:
            return 0.0
        speed = float(np.interp(until_min, self.at_min, self.pieces_up_to)) / run_min
        return speed / (1.0 + self.stops_per_min(until_min) * stop_min)


def shift_of(timeline: pl.DataFrame) -> PastShift | None:
    """Sum up the timeline of one shift; None where it has no planned minute, or too many were not seen."""
    shifts = _sum_up(timeline.with_columns(_shift=pl.lit(0)))
    return shifts[0] if shifts else None


def shifts_of(timeline: pl.DataFrame, windows: pl.DataFrame) -> tuple[PastShift, ...]:
    """Each shift of a timeline that can be summed up, by time."""
    begins = windows["start"].dt.epoch("us").to_numpy()
    row = np.searchsorted(begins, timeline["start"].dt.epoch("us").to_numpy(), side="right") - 1
    return _sum_up(timeline.with_columns(_shift=pl.Series(row)))


def _sum_up(timeline: pl.DataFrame) -> tuple[PastShift, ...]:
    """Sum up a timeline by its column _shift, which rises."""
    on = timeline.filter(pl.col("state") != "break").select(
        "_shift", "state", "start", "end",
        minutes=(pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7,
        pieces=pl.col("pieces").fill_null(0.0),
        runs=pl.col("state").is_in(RUNS),
    )  # fmt: skip
    spells = stop_spells(on, "_shift")
    minutes, pieces = on["minutes"].to_numpy(), on["pieces"].to_numpy()
    run_min = np.where(on["runs"].to_numpy(), minutes, 0.0)
    unseen = np.where((on["state"] == "unseen").to_numpy(), minutes, 0.0)
    began, lengths_min, complete = (spells[name].to_numpy() for name in ("run_before", "minutes", "whole"))
    shifts = np.unique(on["_shift"].to_numpy())
    past_shifts = []
    for rows, stops in zip(_slices(on["_shift"], shifts), _slices(spells["window"], shifts), strict=True):
        planned_min = float(minutes[rows].sum())
        if planned_min <= 0 or float(unseen[rows].sum()) > _UNSEEN * planned_min:
            continue
        at, so_far, up_to = (np.concatenate(([0.0], np.cumsum(part[rows]))) for part in (minutes, pieces, run_min))
        past_shifts.append(PastShift(at, so_far, up_to, began[stops], lengths_min[stops][complete[stops]]))
    return tuple(past_shifts)


def _slices(numbers: pl.Series, shifts: NDArray[np.int64]) -> list[slice]:
    """The rows of each shift, in a column that rises."""
    rows = numbers.to_numpy()
    ends = zip(np.searchsorted(rows, shifts), np.searchsorted(rows, shifts, side="right"), strict=True)
    return [slice(int(first), int(end)) for first, end in ends]


@dataclass(frozen=True)
class PastShifts:
    """The shifts of the last weeks before a period, by time."""

    shifts: Sequence[PastShift] = field(default_factory=tuple)

    @property
    def count(self) -> int:
        """How many."""
        return len(self.shifts)

    @property
    def stop_lengths_min(self) -> Floats:
        """Lengths of their stops, one shift after the other [min]."""
        return np.concatenate([np.empty(0), *(shift.stop_lengths_min for shift in self.shifts)])


def mean_restore(stops: StopCount, own_min: Floats, past: PastShifts) -> Estimate:
    """The mean length of stops, with limits from how means of as many stops scatter about the mean of all.

    Takes `own_min` [min], the lengths behind `stops`. Gives [min].

    A few stops mostly miss the rare long one that makes up much of the mean, so their own spread says too
    little: as many are drawn from all of the last weeks, neighbours together, and the ratio of their mean to
    the mean of all is what this mean may be off by.
    Source: derived-past-shifts
    """
    value, n = stops.mean_to_restore_min, stops.restored
    if value is None:
        return Estimate.unknown(tr("too few: needs {needs}, has {has}", needs=1, has=0))
    lengths = np.concatenate((past.stop_lengths_min, own_min))
    if lengths.size < LEAST_STOPS:
        why = tr(
            "no interval: needs {needs} stops of this period and the four weeks before, has {has}",
            needs=LEAST_STOPS,
            has=lengths.size,
        )
        return Estimate(value, n=n, interval=why)
    rng = np.random.default_rng(20260609)
    first = rng.integers(0, lengths.size, (_DRAWS, -(-n // _BLOCK)))
    middle = float(lengths.mean())
    all_sd = float(lengths.std(ddof=1)) / (middle * lengths.size**0.5)
    ratio = _means_drawn(lengths, first, n) / middle / np.exp(all_sd * rng.standard_normal(_DRAWS))
    low, high = (value / float(q) for q in np.quantile(ratio, [0.975, 0.025]))
    stops_counted = int(lengths.size)
    interval = tr("95 % confidence, from {stops:,} stops of this period and the four weeks before", stops=stops_counted)
    return Estimate(value, low, high, n, interval=interval)


def _means_drawn(lengths: Floats, first: NDArray[np.int64], n: int) -> Floats:
    """Means of the first n lengths of each row of blocks, which begin at some places and go round at the end."""
    blocks = np.ascontiguousarray(sliding_window_view(np.append(lengths, lengths[: _BLOCK - 1]), _BLOCK))
    # a few draws at a time stay in the processor's cache
    parts = np.array_split(first, _DRAWS // _DRAWN_TOGETHER)
    return np.concatenate([blocks.take(rows, axis=0).reshape(len(rows), -1)[:, :n].mean(axis=1) for rows in parts])


def mean_between(stops: StopCount, shifts: Sequence[PastShift]) -> Estimate:
    """Running time from stop to stop, with limits that know how unevenly stops come. Gives [min].

    `shifts` are past shifts and the period's own; the variance of their numbers of stops over the mean, in
    as much running time as the period has or a whole shift, divides events and time.
    Source: nist-handbook, derived-past-shifts
    """
    usual_run = float(np.median([shift.run_min for shift in shifts])) if shifts else 0.0
    none = tr("no stop began") if stops.mean_between_min is None else ""
    stops_and_reach = [
        (int(np.sum(shift.stop_starts_min <= reach)), reach)
        for shift in shifts
        if (reach := min(stops.run_min, shift.run_min)) > 0.5 * min(stops.run_min, usual_run)
    ]
    if len(stops_and_reach) < LEAST_SHIFTS:
        why = tr(
            "no interval: needs {needs} whole shifts of this period and the four weeks before, has {has}",
            needs=LEAST_SHIFTS,
            has=len(stops_and_reach),
        )
        return Estimate(stops.mean_between_min, n=stops.events, interval=why, why_none=none)
    events, reach = np.array(stops_and_reach, dtype=np.float64).T
    mean_events = reach * events.sum() / reach.sum()
    df = len(stops_and_reach) - 1
    uneven = float(np.sum((events - mean_events) ** 2 / np.maximum(mean_events, 1e-9))) / df
    # The dispersion itself is known with so many degrees of freedom only.
    over = max(MOST_EVEN, uneven * (coverage_factor(df) / coverage_factor(1e6)) ** 2)
    # So many events in so much time are worth fewer, or more, that come by chance.
    low, high = mean_between_limits(stops.events / over, stops.run_min / over)
    interval = tr(
        "95 % confidence; stops of {shifts} shifts come {times:.1f} times as unevenly as by chance",
        shifts=len(stops_and_reach),
        times=over,
    )
    most = high if np.isfinite(high) else None
    return Estimate(stops.mean_between_min, low, most, stops.events, interval=interval, why_none=none)


@dataclass(frozen=True)
class Projection:
    """Pieces of the rest of a shift with a prediction interval, or why there is none."""

    pieces: float
    low: float | None
    high: float | None
    confidence: float
    from_what: str


@dataclass(frozen=True)
class RestOfShift:
    """How the rest of a shift may go, by how past shifts went on from the same minute of theirs."""

    past: PastShifts
    this_shift: PastShift
    confidence: float = 0.9

    @cached_property
    def _stop_min(self) -> float:
        """The usual length of a stop [min]."""
        lengths_min = self.past.stop_lengths_min
        return float(lengths_min.mean()) if lengths_min.size else 0.0

    @cached_property
    def _paces(self) -> Floats:
        past_min = self.this_shift.planned_min
        return np.array([shift.pace(past_min, self._stop_min) for shift in self.past.shifts])

    @cached_property
    def _often(self) -> float:
        """How much more often it stops than past shifts did up to the same minute; at least as often."""
        past_min = self.this_shift.planned_min
        usual = float(np.mean([shift.stops_per_min(past_min) for shift in self.past.shifts]))
        return max(1.0, self.this_shift.stops_per_min(past_min) / usual)

    def project(self, left_min: float) -> Projection:
        """Project the pieces of the planned minutes left [min].

        The rest of a past shift went at some rate; its own pace up to this minute of the shift told part of
        it, by regression over the past shifts. What the regression leaves is how far a rest may be off. A
        pace that no past shift explains is taken to last: it weighs at least 1 − variance / deviation². From
        MAY_LAST on the limits hold both this and that all of it lasts, which a few hours cannot separate.
        Source: derived-past-shifts
        """
        past_min, confidence = self.this_shift.planned_min, self.confidence
        so_far = self.this_shift.rate(0.0, past_min)
        lasting = [shift.planned_min for shift in self.past.shifts]
        long = np.array(
            [whole_min > past_min and whole_min >= past_min + left_min - 1.0 for whole_min in lasting], dtype=bool
        )
        if long.sum() < LEAST_SHIFTS:
            why = tr(
                "no interval: needs {needs} whole shifts of the four weeks before, has {has}",
                needs=LEAST_SHIFTS,
                has=int(long.sum()),
            )
            return Projection(so_far * left_min, None, None, confidence, why)
        like = [shift for shift, enough in zip(self.past.shifts, long, strict=True) if enough]
        pace = self._paces[long]
        later_rate = np.array([shift.rate(past_min, min(past_min + left_min, shift.planned_min)) for shift in like])
        weight, away = _weight(pace, later_rate, self.this_shift.pace(past_min, self._stop_min))
        rate, low, high = self._rates(pace, later_rate, weight, away)
        words = {"confidence": confidence, "shifts": len(like)}
        from_what = tr("{confidence:.0%} prediction from {shifts} shifts of the four weeks before", **words)
        off_usual = float(np.clip(away / max(float(pace.std(ddof=1)), 1e-12), -99.0, 99.0))
        if abs(off_usual) > MAY_LAST:
            _, lasts_low, lasts_high = self._rates(pace, later_rate, 1.0, away)
            low, high = (min(low, lasts_low), high) if away < 0 else (low, max(high, lasts_high))
            from_what = tr(
                "at least {prediction}, whether or not its pace lasts ({off:+.1f} sd off theirs)",
                prediction=from_what,
                off=off_usual,
            )
        # No rest is faster than any past one, or than machines run between stops.
        speeds = (float(shift.pieces_up_to[-1]) / max(shift.run_min, 1e-9) for shift in (*like, self.this_shift))
        most = max(float(later_rate.max()), *speeds)
        return Projection(
            max(0.0, rate) * left_min,
            max(0.0, low) * left_min,
            max(min(high, most), rate, 0.0) * left_min,
            confidence,
            from_what,
        )

    def _rates(self, pace: Floats, later_rate: Floats, weight: float, away: float) -> tuple[float, float, float]:
        """The rate of the rest where so much of a pace's distance from the usual lasts, and its limits."""
        off = pace - pace.mean()
        residual = later_rate - later_rate.mean() - weight * off
        leverage = 1.0 / pace.size + off**2 / max(float(off @ off), 1e-12)
        residual = residual / np.sqrt(np.maximum(1.0 - leverage, 0.2))
        # Stops that come more often add up to more scatter.
        residual = residual * np.sqrt(1.0 + weight * (self._often - 1.0))
        rate = float(later_rate.mean()) + weight * away
        low, high = _limits(residual, self.confidence)
        return rate, rate + low, rate + high


def _weight(pace: Floats, later_rate: Floats, this_pace: float) -> tuple[float, float]:
    """How much of a pace's distance from the usual lasts, and this pace's distance."""
    off = pace - pace.mean()
    variance = float(off @ off) / max(pace.size - 1, 1)
    away = this_pace - float(pace.mean())
    slope = float(off @ (later_rate - later_rate.mean())) / max(float(off @ off), 1e-12)
    share = min(max(slope, 0.0), 1.0)
    new = 1.0 - variance / away**2 if away**2 > 0 else 0.0
    return max(share, new), away


def _limits(off: Floats, confidence: float) -> tuple[float, float]:
    """Limits of one more such deviation."""
    n, tail = off.size, (1.0 - confidence) / 2.0
    if n < ORDERED_FROM:
        half = coverage_factor(n - 2, confidence) * float(np.sqrt(off @ off / (n - 2) * (1.0 + 1.0 / n)))
        return -half, half
    sorted_off = np.sort(off)
    places = np.array([tail * (n + 1) - 1.0, (1.0 - tail) * (n + 1) - 1.0])
    low, high = np.interp(places, np.arange(n), sorted_off)
    return float(low), float(high)
