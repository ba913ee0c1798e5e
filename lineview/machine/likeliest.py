"""The likeliest count where readings leave it open: a reset, or a gap in which a counter may have turned."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: The pace on either side of a gap is taken over so much of the time next to it [s].
NEAR_S = 300.0
#: A counter that counted nothing while so many counts were due stood: by chance that is 1 in 150.
DUE = 5.0
#: Counts by turns this near to those at the pace around a gap are at that pace.
AT_PACE = 0.1
#: Where more than this share of a counter's size fits into a gap, a reset looks like a turn at the pace
#: around it too often to be sure.
SURE_SHARE = 0.1
#: A gap longer than this is counted at the pace of the planned time around it, stops included [s].
LONG_S = 1800.0


@dataclass(frozen=True)
class PlannedTime:
    """Planned stretches as seconds since 1970 [s], in order and without overlap."""

    start_s: Floats
    end_s: Floats

    def before(self, moment_s: Floats) -> Floats:
        """Planned seconds before each moment [s]."""
        if not len(self.start_s):
            return np.zeros(len(moment_s))
        return np.asarray(np.interp(moment_s, *self._until_edges))

    @cached_property
    def _until_edges(self) -> tuple[Floats, Floats]:
        """Starts and ends in turn [s], and the planned seconds before each [s]."""
        planned_s = np.cumsum(self.end_s - self.start_s)
        at_edges = np.column_stack([np.concatenate([[0.0], planned_s[:-1]]), planned_s])
        return np.column_stack([self.start_s, self.end_s]).ravel(), at_edges.ravel()


def planned_time(calendar: pl.DataFrame) -> PlannedTime:
    """Take the planned stretches out of a calendar.

    Parameters
    ----------
    calendar : polars.DataFrame
        CALENDAR.
    """
    planned = calendar.filter(pl.col("part") == "planned").sort("start")
    start, end = (planned[name].dt.epoch("us").to_numpy().astype(float) / 1e6 for name in ("start", "end"))
    return PlannedTime(start, end)


@dataclass(frozen=True)
class OpenIntervals:
    """A counter's intervals between readings, some of them open.

    Parameters
    ----------
    start_s, end_s : arrays
        The intervals, in order and without gap [s since 1970].
    value, low, high : arrays
        Counts; `value` is nan where the readings leave it open, `high` inf where nothing bounds it.
    turn : float
        What one turn of the counter adds; nan where that is not known.
    step : float
        What one count stands for.
    turned : array, optional
        Counts by the fewest turns where it may have turned; nan elsewhere.
    """

    start_s: Floats
    end_s: Floats
    value: Floats
    low: Floats
    high: Floats
    turn: float
    step: float
    turned: Floats | None = None


@dataclass(frozen=True)
class Likeliest:
    """Counts of each interval, none of them nan, with bounds; `known` where nothing else is likely."""

    value: Floats
    low: Floats
    high: Floats
    known: npt.NDArray[np.bool_]


def likeliest(intervals: OpenIntervals, planned: PlannedTime, near: tuple[Floats, Floats] | None = None) -> Likeliest:
    """Fill in the likeliest count of every open interval.

    Parameters
    ----------
    intervals : OpenIntervals
        Of one counter.
    planned : PlannedTime
        When the works meant to run.
    near : (array, array), optional
        For each open interval from when and until when other intervals may speak for it [s]; by default all.

    Returns
    -------
    Likeliest
        Each value within its bounds.

    Notes
    -----
    A counter that reads the same before and after a gap counted nothing: that whole turns brought it back to
    the very same value has one chance in its modulus. Where it may have turned, the number of turns is the
    one nearest the pace. Within planned time a fall that turns explain is turns: people set counters back
    between shifts, and a reset in between would have to meet the last counts before a turn. Else, where it
    fell and may as well have been set back, it turned if that number of turns is at the pace, and then
    nothing else is likely in a gap up to half an hour into which a tenth of the counter's size fits at most,
    unless it shows 0: of resets in such gaps one in fifty at most looks so, and hardly a turn ends at 0.
    Where it was set back, it counted what it shows since then, and before that it went on at the pace it had.
    The pace beside a gap up to half an hour is that of the five minutes next to it, but 0 where it stood:
    where it counted nothing for so long that five counts were due at that pace. A longer gap is counted over
    its planned time at the pace of the planned time around it, so that night, breaks and usual stops add
    nothing.

    Examples
    --------
    >>> start = np.array([0.0, 60.0, 120.0])
    >>> value, low = np.array([300.0, np.nan, 310.0]), np.array([300.0, 5, 310])
    >>> gap = OpenIntervals(start, start + 60, value, low, low + [0, 445, 0], float("nan"), 1.0)
    >>> likeliest(gap, PlannedTime(np.array([0.0]), np.array([180.0]))).value.round(1).tolist()
    [300.0, 300.0, 310.0]
    """
    is_known = ~np.isnan(intervals.value)
    gaps = np.flatnonzero(~is_known)
    if not len(gaps):
        return Likeliest(intervals.value, intervals.low, intervals.high, is_known)
    low, high = intervals.low[gaps], intervals.high[gaps]
    turned = np.full(len(gaps), np.nan) if intervals.turned is None else intervals.turned[gaps]
    at_pace, set_back = _expected_counts(intervals, gaps, planned, near)
    turns = _nearest_turns(np.clip(at_pace, low, high), turned, high, intervals.turn)
    fell = turned > low
    near_pace = np.abs(turns - at_pace) <= AT_PACE * at_pace
    # Of a size that is not declared, but taken from the falls, nobody knows how many turns there were.
    has_size = np.isfinite(turned) & (fell | np.isfinite(intervals.turn))
    counts = np.where(has_size & (near_pace | ~fell), turns, np.clip(set_back, low, high))
    still = has_size & ~fell & (turned < 0.5 * intervals.step)
    counts = np.where(still, 0.0, counts)
    short = intervals.end_s[gaps] - intervals.start_s[gaps] <= LONG_S
    sure = still | (fell & near_pace & short & (low > 0) & (high <= SURE_SHARE * intervals.turn))
    within = has_size & ~still & np.isfinite(intervals.turn) & _planned_throughout(intervals, gaps, planned)
    counts = np.where(within, turns, counts)
    low, high = np.where(within, turned, low), np.where(within, _last_turn(turned, high, intervals.turn), high)
    sure |= within & (low == high)
    value, least, most = intervals.value.copy(), intervals.low.copy(), intervals.high.copy()
    value[gaps] = np.round(counts / intervals.step) * intervals.step
    is_known[gaps] = sure
    least[gaps], most[gaps] = np.where(sure, value[gaps], low), np.where(sure, value[gaps], high)
    return Likeliest(value, least, most, is_known)


def _planned_throughout(intervals: OpenIntervals, gaps: Ints, planned: PlannedTime) -> npt.NDArray[np.bool_]:
    """Which open intervals lie within planned time, as all do where no plan is known."""
    start, end = intervals.start_s[gaps], intervals.end_s[gaps]
    if not len(planned.start_s):
        return np.ones(len(gaps), dtype=np.bool_)
    return np.asarray(planned.before(end) - planned.before(start) >= 0.999 * (end - start))


def _last_turn(turned: Floats, high: Floats, turn: float) -> Floats:
    """Counts by the most turns that fit under a bound."""
    over = np.where(np.isfinite(high), high - turned, 0.0)
    return np.asarray(np.where(np.isfinite(high), turned + np.floor(over / turn + 1e-6) * turn, high))


def _nearest_turns(at_pace: Floats, turned: Floats, high: Floats, turn: float) -> Floats:
    """Counts by as many turns as come nearest to those at the pace, and no more than the most."""
    if not np.isfinite(turn):
        return turned
    fit = np.floor(np.where(np.isfinite(high), high - turned, np.inf) / turn + 1e-6)
    return np.asarray(turned + np.clip(np.round((at_pace - turned) / turn), 0.0, fit) * turn)


def _expected_counts(
    intervals: OpenIntervals, gaps: Ints, planned: PlannedTime, near: tuple[Floats, Floats] | None
) -> tuple[Floats, Floats]:
    """What each open interval would count at the pace around it, and what if it was set back."""
    start, end = intervals.start_s[gaps], intervals.end_s[gaps]
    first = np.full(len(gaps), -np.inf) if near is None else near[0]
    last = np.full(len(gaps), np.inf) if near is None else near[1]
    sums = _Sums(intervals, planned)
    before = sums.pace(np.maximum(start - NEAR_S, first), start)
    after = sums.pace(end, np.minimum(end + NEAR_S, last))
    before_s, after_s = (_due_s(pace, intervals.step) for pace in (before, after))
    before = np.where(sums.pace(np.maximum(start - before_s, first), start) == 0.0, 0.0, before)
    after = np.where(sums.pace(end, np.minimum(end + after_s, last)) == 0.0, 0.0, after)
    first_side = np.where(np.isnan(before), after, before)
    second_side = np.where(np.isnan(after), first_side, after)
    sides = np.nan_to_num((first_side + second_side) / 2)
    least = intervals.low[gaps]
    since = least / np.maximum(np.nan_to_num(second_side), 1e-9)
    set_back = least + np.nan_to_num(first_side) * np.clip(end - start - since, 0.0, None)
    long = end - start > LONG_S
    by_plan = sums.planned_pace(first, last) * (planned.before(end) - planned.before(start))
    return np.where(long, by_plan, sides * (end - start)), np.where(long, by_plan, set_back)


def _due_s(pace: Floats, step: float) -> Floats:
    """In how long a counter of this pace should have counted [s]."""
    return np.minimum(DUE * step / np.maximum(np.nan_to_num(pace), 1e-9), NEAR_S)


class _Sums:
    """Running sums of what is known, to take a pace between any two moments."""

    def __init__(self, intervals: OpenIntervals, planned: PlannedTime) -> None:
        is_known = ~np.isnan(intervals.value)
        length = intervals.end_s - intervals.start_s
        planned_s = planned.before(intervals.end_s) - planned.before(intervals.start_s)
        share = np.clip(planned_s / np.maximum(length, 1e-9), 0.0, 1.0)
        amount = np.where(is_known, intervals.value, 0.0)
        self.edge = np.concatenate([intervals.start_s[:1], intervals.end_s])
        parts = (amount, np.where(is_known, length, 0.0), amount * share, np.where(is_known, planned_s, 0.0))
        self.until = [np.concatenate([[0.0], np.cumsum(part)]) for part in parts]

    def _between(self, k: int, start: Floats, end: Floats) -> Floats:
        return np.asarray(np.interp(end, self.edge, self.until[k]) - np.interp(start, self.edge, self.until[k]))

    def pace(self, start: Floats, end: Floats) -> Floats:
        """Counts a second of known time between moments; nan where nothing is known there."""
        seconds = self._between(1, start, end)
        return np.where(seconds > 0, self._between(0, start, end) / np.where(seconds > 0, seconds, 1.0), np.nan)

    def planned_pace(self, start: Floats, end: Floats) -> Floats:
        """Counts a planned second between moments; 0 where nothing was planned and known."""
        low, high = np.maximum(start, self.edge[0]), np.minimum(end, self.edge[-1])
        seconds = self._between(3, low, high)
        return np.where(seconds > 0, self._between(2, low, high) / np.where(seconds > 0, seconds, 1.0), 0.0)
