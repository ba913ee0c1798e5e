"""A machine's clock split by its piece counter alone: running, slow, standing, unseen."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.measures.holes import Holes, edge_holes, short_holes
from lineview.measures.rate import (
    Bools,
    Floats,
    Ints,
    Legs,
    edge_rates,
    runs,
    slow_intervals,
    stamp_spread_s,
    sums,
)
from lineview.measures.steps import Steps

RUNNING, SLOW, STANDING, UNSEEN = range(4)
_NONE = np.empty((0, 2), dtype=np.int64)
#: No piece for at least so long is standing, even where readings come every second [s].
STANDS_S = 4.0
#: A burst between two standing stretches that is worth less than so long of running is a jog [min].
JOG_MIN = 0.1


@dataclass(frozen=True)
class Clock:
    """A machine's clock between its first and last reading, as stretches, and its pieces along it.

    Parameters
    ----------
    edge : array of int
        Edges of the stretches [µs since 1970], one more than `code`.
    code : array of int
        RUNNING, SLOW, STANDING or UNSEEN, one a stretch.
    at, pieces : arrays
        Moments [µs] and pieces made up to them; straight between; unseen stretches add nothing.
    span : array of int
        Edges of the intervals between readings [µs].
    low, high, unbounded : array of float
        Least and most pieces of unseen intervals up to each edge of `span`; `unbounded` counts the
        intervals whose most is not known.
    coded : array of int
        Start and end [µs] of the stretches that the machine's own states tell, not its counter.
    """

    edge: Ints
    code: Ints
    at: Ints
    pieces: Floats
    span: Ints
    low: Floats
    high: Floats
    unbounded: Floats
    coded: Ints = field(default_factory=lambda: _NONE)


def clock(
    increments: pl.DataFrame, *, band_low_per_min: float, gap_s: float, made: pl.Series | None = None
) -> Clock:
    """Split the clock by the increments of the piece counter.

    Parameters
    ----------
    increments : polars.DataFrame
        INCREMENTS, by time, each starting where the one before ends.
    band_low_per_min : float
        Low end of the nominal band [pieces/min].
    gap_s : float
        Longest interval between readings that still tells what happened in it [s].
    made : polars.Series, optional
        Pieces of each interval, where the increments count blank wraps too; by default the increments.

    Returns
    -------
    Clock
        Empty arrays where there is no increment.

    Notes
    -----
    Standing is an interval without a piece. The interval at either edge of a standing stretch is partial:
    it ran for its count over the leg's own rate there. An interval or two that fall short of their
    neighbours by more than the stamps explain hold a stop shorter than the interval; where in it cannot be
    told, so it is set in the middle. Slow is what stays below the band for a minute and longer.
    Source: derived-tape
    """
    pieces = None if made is None else made.cast(pl.Float64).to_numpy()  # a null is nan
    return clock_of(Steps.of(increments), band_low_per_min=band_low_per_min, gap_s=gap_s, made=pieces)


def clock_of(steps: Steps, *, band_low_per_min: float, gap_s: float, made: Floats | None = None) -> Clock:
    """Give what `clock` gives, from arrays.

    Parameters
    ----------
    steps : Steps
        Of the piece counter.
    band_low_per_min, gap_s
        As of `clock`.
    made : array of float, optional
        As of `clock`; nan where the readings leave it open.
    """
    start, end, n = steps.start_us, steps.end_us, steps.n
    seconds = (end - start) / 1e6
    seen = np.isfinite(n) & (seconds <= gap_s)
    cycles = n if seen.all() else np.where(seen, n, 0.0)
    stands = _standing(cycles, seconds, seen, band_low_per_min)
    works = seen & ~stands
    legs = runs(works)
    holes = _holes(cycles, seconds, works, stands, legs, band_low_per_min)
    slow = slow_intervals(cycles, holes.run_seconds(seconds), legs, band_low_per_min)
    code = np.full(len(cycles), RUNNING, dtype=np.uint8)
    code[slow], code[stands], code[~seen] = SLOW, STANDING, UNSEEN
    bounds = _unseen_bounds(steps, seen)
    span = np.concatenate((start, end[-1:]))
    edge, codes = _stretches(span, code, holes)
    counted = cycles if made is None else np.where(seen, _or_nothing(made), 0.0)
    at, pieces = holes.breakpoints(span, counted)
    return Clock(edge, codes, at, pieces, span, *bounds)


def moving(steps: Steps, gap_s: float) -> Clock:
    """Split the clock by a counter of metres: running wherever it counted.

    Parameters
    ----------
    steps : Steps
        Of a sizer's rope counter [m].
    gap_s : float
        Longest interval between readings that still tells what happened in it [s].
    """
    start, end = steps.start_us, steps.end_us
    if not len(start):
        none = np.empty(0)
        return Clock(start, start, start, none, start, none, none, none)
    n = np.where(np.isnan(steps.n), steps.low, steps.n)
    code = np.where(n > 0, RUNNING, STANDING)
    code[(end - start) / 1e6 > gap_s] = UNSEEN
    turn = np.flatnonzero(np.concatenate(([True], code[1:] != code[:-1])))
    span = np.concatenate((start, end[-1:]))
    edge = np.append(start[turn], end[-1])
    nothing = np.zeros(len(span))
    return Clock(edge, code[turn], span, sums(n), span, nothing, nothing, nothing)


def _standing(made: Floats, seconds: Floats, seen: Bools, band_low: float) -> Bools:
    """Tell which intervals the machine stood through, jogs between them included."""
    stands = seen & (made <= 0)
    zero = runs(stands)
    until = sums(seconds)
    moves = np.concatenate(([False], seen & ~stands, [False]))
    # Between two intervals with pieces a moment without one is the reading's own jitter.
    between = moves[zero.first] & moves[zero.last + 1]
    brief = between & (until[zero.last] - until[zero.first] < max(STANDS_S, 240.0 / band_low))
    for a, b in zip(zero.first[brief], zero.last[brief], strict=True):
        stands[a:b] = False
    legs = runs(seen & ~stands)
    if not len(legs.first):
        return stands
    # Nothing is made between legs, so sums by leg need no second pass over the year.
    sum_n = np.add.reduceat(made, legs.first)
    sum_s = until[legs.last] - until[legs.first]
    before = np.concatenate(([False], stands))[legs.first]
    after = np.concatenate((stands, [False]))[legs.last]
    jog = before & after & ((sum_n <= JOG_MIN * band_low) | (sum_n < 0.1 * band_low * sum_s / 60))
    for a, b in zip(legs.first[jog], legs.last[jog], strict=True):
        stands[a:b] = True
    return stands


def _holes(made: Floats, seconds: Floats, works: Bools, stands: Bools, legs: Legs, band_low: float) -> Holes:
    """Find the standing parts of intervals in which the machine also ran."""
    at_start, at_end = edge_rates(made, seconds, legs, band_low)
    before = np.concatenate(([False], stands))[legs.first]
    after = np.concatenate((stands, [False]))[legs.last]
    edges = edge_holes(made, seconds, legs, (before, after), (at_start, at_end))
    spread = stamp_spread_s(made, seconds, works)
    return edges.joined(short_holes(made, seconds, legs, (before, after), spread))


def _or_nothing(counts: Floats) -> Floats:
    """Counts with 0 where they are not known."""
    return np.where(np.isnan(counts), 0.0, counts)


def _unseen_bounds(steps: Steps, seen: Bools) -> tuple[Floats, Floats, Floats]:
    if seen.all():
        nothing = np.zeros(len(seen) + 1)
        return nothing, nothing, nothing
    low, high = _or_nothing(steps.low), steps.high
    without = np.isnan(high)
    parts = (low, np.where(without, 0.0, high), without.astype(np.float64))
    least, most, unbounded = (sums(np.where(seen, 0.0, part)) for part in parts)
    return least, most, unbounded


def _stretches(span: Ints, code: NDArray[np.uint8], holes: Holes) -> tuple[Ints, Ints]:
    """Join intervals of one state and cut in the holes."""
    if not len(code):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    turn = np.flatnonzero(np.concatenate(([True], code[1:] != code[:-1])))
    edge, codes = span[turn], code[turn].astype(np.int64)
    if holes.count:
        opens, closes = holes.moments(span)
        after = code[holes.interval]
        edge = np.concatenate((edge, opens, closes))
        codes = np.concatenate((codes, np.full(holes.count, STANDING), after))
        # At one moment the last of closing, interval's edge and opening says what follows.
        rank = np.concatenate((np.full(len(turn), 1), np.full(holes.count, 2), np.full(holes.count, 0)))
        order = np.lexsort((rank, edge))
        edge, codes = edge[order], codes[order]
        last = np.concatenate((edge[1:] != edge[:-1], [True]))
        edge, codes = edge[last], codes[last]
        keep = np.concatenate(([True], codes[1:] != codes[:-1]))
        edge, codes = edge[keep], codes[keep]
    short = edge < span[-1]
    return np.concatenate((edge[short], span[-1:])), codes[short]
