"""A machine's clock split by its piece counter alone: running, slow, standing, unseen."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.machine.speed import (
    Bools,
    Floats,
    Ints,
    SpeedSegments,
    edge_rates,
    runs,
    slow_intervals,
    stamp_spread_s,
    sums,
)
from lineview.machine.steps import Steps

#: A count that falls short by less than so long of running is not separated from the jitter of the stamps [s].
LEAST_HOLE_S = 3.0
#: A hole briefer than this is none: at whole microseconds it could open and close at once [s].
BRIEF_S = 0.001
#: An interval at least so long [s] that ran for less than this share of its neighbours' rate holds a stop,
#: however many such intervals follow each other.
_LONG_S, _STOOD_SHARE = 30.0, 0.6
#: In so long an interval a smaller lack than this share may be a slow minute: a stop is made of it only
#: where the intervals before and after it lack no more than `_FULL_SHARE`.
_SLOW_SHARE, _FULL_SHARE = 0.3, 0.05
#: In so long an interval a lack below this share is never separated from a step of speed within it.
_STEP_SHARE = 0.15
#: Neighbours on each side from which an interval's own rate is taken.
_NEIGHBOURS = 6


@dataclass(frozen=True)
class HiddenStops:
    """Standing parts of intervals, by time: in `interval`, from `opens_s` to `closes_s` after its start."""

    interval: Ints
    opens_s: Floats
    closes_s: Floats

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.interval)

    def join(self, other: HiddenStops) -> HiddenStops:
        """Give both together, by time."""
        interval = np.concatenate((self.interval, other.interval))
        opens = np.concatenate((self.opens_s, other.opens_s))
        closes = np.concatenate((self.closes_s, other.closes_s))
        order = np.lexsort((opens, interval))
        return HiddenStops(interval[order], opens[order], closes[order])

    def run_seconds(self, seconds: Floats) -> Floats:
        """The seconds of each interval that are in no hole."""
        if not self.count:
            return seconds
        run_s = seconds.copy()
        np.subtract.at(run_s, self.interval, self.closes_s - self.opens_s)
        return run_s

    def moments(self, span: Ints) -> tuple[Ints, Ints]:
        """When each opens and closes [µs], within its interval."""
        start, end = span[self.interval], span[self.interval + 1]
        opens = np.clip(start + np.rint(self.opens_s * 1e6).astype(np.int64), start, end)
        closes = np.clip(start + np.rint(self.closes_s * 1e6).astype(np.int64), opens, end)
        return opens, closes

    def breakpoints(self, span: Ints, pieces_of: Floats) -> tuple[Ints, Floats]:
        """Give moments [µs] and the pieces made up to them: none in a hole, evenly beside it."""
        pieces = sums(pieces_of)
        if not self.count:
            return span, pieces
        opens, closes = self.moments(span)
        hole_us = (closes - opens).astype(np.float64)
        first = np.concatenate(([True], self.interval[1:] != self.interval[:-1]))
        group = np.cumsum(first) - 1
        runs_us = span[self.interval + 1] - span[self.interval] - np.bincount(group, hole_us)[group]
        so_far = np.cumsum(hole_us) - hole_us
        base = so_far[np.flatnonzero(first)][group]
        ran_us = (opens - span[self.interval]) - (so_far - base)
        share = np.clip(ran_us / np.maximum(runs_us, 1.0), 0, 1)
        value = pieces[self.interval] + pieces_of[self.interval] * share
        # One pass for both: np.insert would work out the places twice over a year.
        places = np.repeat(self.interval + 1, 2) + np.arange(2 * self.count)
        old = np.ones(len(span) + len(places), dtype=bool)
        old[places] = False
        at, until = np.empty(len(old), dtype=span.dtype), np.empty(len(old))
        at[old], until[old] = span, pieces
        at[places], until[places] = np.stack((opens, closes), axis=1).ravel(), np.repeat(value, 2)
        return at, until


def edge_holes(
    cycles: Floats, seconds: Floats, legs: SpeedSegments, bounded: tuple[Bools, Bools], rates: tuple[Floats, Floats]
) -> HiddenStops:
    """The standing parts of the first and last intervals of legs next to standing stretches.

    Takes `cycles`, `seconds` [s], `rates` [counts/s].
    """
    alone = (legs.length == 1) & bounded[0] & bounded[1]
    has_stop = [bounded[0] & ~alone, bounded[1] & ~alone]
    first, last = legs.first, legs.last - 1
    rest_first = np.clip(seconds[first] - cycles[first] / rates[0], 0, None)
    rest_last = np.clip(seconds[last] - cycles[last] / rates[1], 0, None)
    rest_alone = np.clip(seconds[first] - cycles[first] / rates[0], 0, None) / 2
    zero = np.zeros(len(first))
    parts = [
        (first[has_stop[0]], zero[has_stop[0]], rest_first[has_stop[0]]),
        (last[has_stop[1]], (seconds[last] - rest_last)[has_stop[1]], seconds[last][has_stop[1]]),
        (first[alone], zero[alone], rest_alone[alone]),
        (first[alone], (seconds[first] - rest_alone)[alone], seconds[first][alone]),
    ]
    interval, opens, closes = (np.concatenate([part[k] for part in parts]) for k in range(3))
    open_ones = closes - opens > BRIEF_S
    order = np.lexsort((opens[open_ones], interval[open_ones]))
    return HiddenStops(interval[open_ones][order], opens[open_ones][order], closes[open_ones][order])


def short_holes(
    cycles: Floats, seconds: Floats, legs: SpeedSegments, bounded: tuple[Bools, Bools], spread_s: float
) -> HiddenStops:
    """The stops that are shorter than an interval, inside legs.

    Takes `cycles`, `seconds` [s].
    """
    least = max(LEAST_HOLE_S, 5.0 * spread_s)
    inner = SpeedSegments(legs.first + bounded[0], legs.last - bounded[1])
    lacks = _lacking(cycles, seconds, inner)
    short = lacks > least
    faint = lacks > max(1.0, 2.0 * spread_s)
    hit = np.flatnonzero(short)
    if not len(hit):
        return HiddenStops(hit, np.empty(0), np.empty(0))
    index = np.concatenate(([False, False], faint, [False, False]))
    run = index[hit + 1].astype(int) + index[hit + 3]
    run += (index[hit + 1] & index[hit]).astype(int) + (index[hit + 3] & index[hit + 4])
    share, long = lacks[hit] / seconds[hit], seconds[hit] >= _LONG_S
    mostly_still = long & (share > 1.0 - _STOOD_SHARE)
    maybe_slow = long & (share < _SLOW_SHARE) & ~_between_full(hit, lacks, seconds, inner)
    maybe_slow |= long & (share < _STEP_SHARE)
    hit = hit[((run <= 1) & ~maybe_slow) | mostly_still]
    before = faint[np.maximum(hit - 1, 0)] & (hit > 0)
    after = faint[np.minimum(hit + 1, len(faint) - 1)] & (hit < len(faint) - 1)
    parts = {}
    for i, is_before, is_after in zip(hit.tolist(), before.tolist(), after.tolist(), strict=True):
        length_s, missing_s = float(seconds[i]), float(lacks[i])
        if is_after and not (is_before and lacks[i - 1] > lacks[i + 1]):
            parts[i] = (length_s - missing_s, length_s)
            parts.setdefault(i + 1, (0.0, float(lacks[i + 1])))
        elif is_before:
            parts[i] = (0.0, missing_s)
            parts.setdefault(i - 1, (float(seconds[i - 1] - lacks[i - 1]), float(seconds[i - 1])))
        else:
            parts[i] = ((length_s - missing_s) / 2, (length_s + missing_s) / 2)
    rows = sorted(i for i in parts if parts[i][1] - parts[i][0] > BRIEF_S)
    opens, closes = (np.array([parts[i][k] for i in rows]) for k in range(2))
    return HiddenStops(np.array(rows, dtype=np.int64), opens, closes)


def _between_full(rows: Ints, lacks: Floats, seconds: Floats, inner: SpeedSegments) -> Bools:
    """Which intervals lie between two of their leg that ran in full."""
    owner = np.searchsorted(inner.first, rows, side="right") - 1
    inside = (rows - 1 >= inner.first[owner]) & (rows + 1 < inner.last[owner])
    full = lacks <= _FULL_SHARE * seconds
    return np.asarray(inside & full[rows - 1] & full[np.minimum(rows + 1, len(full) - 1)])


def _lacking(cycles: Floats, seconds: Floats, inner: SpeedSegments) -> Floats:
    """The seconds by which intervals fall short of the median rate around them, 0 where they do not."""
    lacks = np.zeros(len(cycles))
    wide = inner.last - inner.first >= 3
    if not wide.any():
        return lacks
    pace = cycles / np.maximum(seconds, 1e-9)
    first, last = inner.first[wide], inner.last[wide]
    beside = np.empty_like(pace)
    np.maximum(pace[:-2], pace[2:], out=beside[1:-1])
    beside[0], beside[-1] = pace[1], pace[-2]
    behind = np.flatnonzero(cycles < (seconds - 1.0) * np.maximum(beside, 1e-9))
    likely = behind[_segment_of(behind, first, last)[1]]
    # Two neighbours on either side separate a stop from a slow run, whose middle is like its own neighbours.
    likely = np.unique(likely[:, None] + np.arange(-2, 3)[None, :])
    owner, inside = _segment_of(likely, first, last)
    likely, owner = likely[inside], owner[inside]
    if not len(likely):
        return lacks
    pace_near = _median_around(pace, likely, first[owner], last[owner])
    lacks[likely] = np.clip(seconds[likely] - cycles[likely] / np.maximum(pace_near, 1e-9), 0, None)
    return lacks


def _segment_of(places: Ints, first: Ints, last: Ints) -> tuple[Ints, Bools]:
    """Which leg each place may lie in, and whether it does."""
    owner = np.maximum(np.searchsorted(first, places, side="right") - 1, 0)
    return owner, np.asarray((places >= first[owner]) & (places < last[owner]))


def _median_around(pace: Floats, places: Ints, first: Ints, last: Ints) -> Floats:
    """The median rate of each place and its neighbours within its leg."""
    window = places[:, None] + np.arange(-_NEIGHBOURS, _NEIGHBOURS + 1)[None, :]
    inside = (window >= first[:, None]) & (window < last[:, None])
    around = np.where(inside, pace[np.clip(window, 0, len(pace) - 1)], np.inf)
    around.sort(axis=1)
    count, row = inside.sum(axis=1), np.arange(len(places))
    return np.asarray((around[row, (count - 1) // 2] + around[row, count // 2]) / 2)


RUNNING, SLOW, STANDING, UNSEEN = range(4)
_NONE = np.empty((0, 2), dtype=np.int64)
#: No piece for at least so long is standing, even where readings come every second [s].
STANDS_S = 4.0
#: A burst between two standing stretches that is worth less than so long of running is a jog [min].
JOG_MIN = 0.1


@dataclass(frozen=True)
class Activity:
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
        Start and end [µs] of the stretches known from the machine's own states, not its counter.
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

    def pieces_until(self, moments: Ints) -> Floats:
        """Pieces made up to each moment [µs]."""
        return np.asarray(np.interp(moments, self._at_us, self.pieces), dtype=np.float64)

    @cached_property
    def _at_us(self) -> Floats:
        return self.at.astype(np.float64)  # once, and not at each look


def activity_from_counter(
    steps: Steps, *, band_low_per_min: float, gap_s: float, pieces_made: Floats | None = None
) -> Activity:
    """Split the clock by the increments of the piece counter; `band_low_per_min` in [pieces/min].

    Standing is an interval without a piece. The interval at either edge of a standing stretch is partial:
    it ran for its count over the leg's own rate there. An interval or two that fall short of their
    neighbours by more than the stamps explain hold a stop shorter than the interval; where in it is not
    known, so it is set in the middle. Slow is what stays below the band for a minute and longer.
    Source: derived-timeline
    """
    start, end, n = steps.start_us, steps.end_us, steps.n
    seconds = (end - start) / 1e6
    readable = np.isfinite(n) & (seconds <= gap_s)
    cycles = n if readable.all() else np.where(readable, n, 0.0)
    standing = _standing(cycles, seconds, readable, band_low_per_min)
    works = readable & ~standing
    legs = runs(works)
    holes = _hidden_stops(cycles, seconds, works, standing, legs, band_low_per_min)
    slow = slow_intervals(cycles, holes.run_seconds(seconds), legs, band_low_per_min)
    code = np.full(len(cycles), RUNNING, dtype=np.uint8)
    code[slow], code[standing], code[~readable] = SLOW, STANDING, UNSEEN
    bounds = _unseen_bounds(steps, readable)
    span = np.concatenate((start, end[-1:]))
    edge, codes = _stretches(span, code, holes)
    pieces_in = cycles if pieces_made is None else np.where(readable, _or_nothing(pieces_made), 0.0)
    at, pieces = holes.breakpoints(span, pieces_in)
    return Activity(edge, codes, at, pieces, span, *bounds)


def moving(steps: Steps, gap_s: float) -> Activity:
    """Split the clock by a counter of metres: running wherever it counted.

    Takes `steps` [m].
    """
    start, end = steps.start_us, steps.end_us
    if not len(start):
        none = np.empty(0)
        return Activity(start, start, start, none, start, none, none, none)
    n = np.where(np.isnan(steps.n), steps.low, steps.n)
    code = np.where(n > 0, RUNNING, STANDING)
    code[(end - start) / 1e6 > gap_s] = UNSEEN
    turn = np.flatnonzero(np.concatenate(([True], code[1:] != code[:-1])))
    span = np.concatenate((start, end[-1:]))
    edge = np.append(start[turn], end[-1])
    nothing = np.zeros(len(span))
    return Activity(edge, code[turn], span, sums(n), span, nothing, nothing, nothing)


def _standing(cycles: Floats, seconds: Floats, readable: Bools, band_low: float) -> Bools:
    """Which intervals the machine stood through, jogs between them included."""
    standing = readable & (cycles <= 0)
    zero = runs(standing)
    until = sums(seconds)
    moves = np.concatenate(([False], readable & ~standing, [False]))
    # Between two intervals with pieces a moment without one is the reading's own jitter.
    between = moves[zero.first] & moves[zero.last + 1]
    brief = between & (until[zero.last] - until[zero.first] < max(STANDS_S, 240.0 / band_low))
    for a, b in zip(zero.first[brief], zero.last[brief], strict=True):
        standing[a:b] = False
    legs = runs(readable & ~standing)
    if not len(legs.first):
        return standing
    # Nothing is made between legs, so sums by leg need no second pass over the year.
    sum_n = np.add.reduceat(cycles, legs.first)
    sum_s = until[legs.last] - until[legs.first]
    before = np.concatenate(([False], standing))[legs.first]
    after = np.concatenate((standing, [False]))[legs.last]
    jog = before & after & ((sum_n <= JOG_MIN * band_low) | (sum_n < 0.1 * band_low * sum_s / 60))
    for a, b in zip(legs.first[jog], legs.last[jog], strict=True):
        standing[a:b] = True
    return standing


def _hidden_stops(
    cycles: Floats, seconds: Floats, works: Bools, standing: Bools, legs: SpeedSegments, band_low: float
) -> HiddenStops:
    """Find the standing parts of intervals in which the machine also ran."""
    at_start, at_end = edge_rates(cycles, seconds, legs, band_low)
    before = np.concatenate(([False], standing))[legs.first]
    after = np.concatenate((standing, [False]))[legs.last]
    edges = edge_holes(cycles, seconds, legs, (before, after), (at_start, at_end))
    spread_s = stamp_spread_s(cycles, seconds, works)
    return edges.join(short_holes(cycles, seconds, legs, (before, after), spread_s))


def _or_nothing(counts: Floats) -> Floats:
    """Counts with 0 where they are not known."""
    return np.where(np.isnan(counts), 0.0, counts)


def _unseen_bounds(steps: Steps, readable: Bools) -> tuple[Floats, Floats, Floats]:
    if readable.all():
        nothing = np.zeros(len(readable) + 1)
        return nothing, nothing, nothing
    low, high = _or_nothing(steps.low), steps.high
    is_open = np.isnan(high)
    parts = (low, np.where(is_open, 0.0, high), is_open.astype(np.float64))
    least, most, unbounded = (sums(np.where(readable, 0.0, part)) for part in parts)
    return least, most, unbounded


def _stretches(span: Ints, code: NDArray[np.uint8], holes: HiddenStops) -> tuple[Ints, Ints]:
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


#: However often it is read, a leg's rate is taken over a minute, half of it either side [min].
_LEAST_END_MIN = 0.5


def slow_bounds_min(timeline: pl.DataFrame, every_min: float) -> tuple[float, float]:
    """The least and most slow minutes.

    Parameters
    ----------
    timeline : polars.DataFrame
        STATE_TIMELINE.
    every_min : float
        Usual time between two readings [min].

    Returns
    -------
    tuple of float
        Each end of a slow stretch may lie a reading interval, or half a minute, further in or out, and a
        stretch of two intervals may as well hold a stop [min]; no more than what is no break.

    Notes
    -----
    Source: derived-timeline

    Examples
    --------
    >>> from datetime import datetime
    >>> at = [datetime(2026, 6, 9, 6, m) for m in (0, 20, 22)]
    >>> slow_bounds_min(pl.DataFrame({"start": at[:2], "end": at[1:], "state": ["slow", "running"]}), 1.0)
    (18.0, 22.0)
    """
    minutes = ((timeline["end"] - timeline["start"]).dt.total_microseconds() / 6e7).to_numpy()
    slow, planned = (minutes[mask.to_numpy()] for mask in (timeline["state"] == "slow", timeline["state"] != "break"))
    ends = 2 * max(every_min, _LEAST_END_MIN)
    return float(np.clip(slow - ends, 0.0, None).sum()), float(min((slow + ends).sum(), planned.sum()))
