"""What a machine's counters counted between any two moments: the one place where pieces are counted.

Notes
-----
Good pieces are those of a counter of good pieces, else pieces made less rejects, else all pieces where
nothing counts rejects. An interval between two readings that lies over a moment is shared out by the pieces
that the machine made along it; the bounds leave such an interval out and take it whole. Where readings leave
a count open, the value is the likeliest one (lineview.machine.likeliest) and the bounds are those that the
readings allow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.frames import UTC_US
from lineview.machine.activity import Activity, activity_from_counter, moving
from lineview.machine.counters import (
    Counted,
    CounterIncrements,
    Floats,
    Ints,
    counter_increments,
    counter_steps,
    fastest_per_us,
)
from lineview.machine.likeliest import PlannedTime
from lineview.machine.reported_states import activity_with_states
from lineview.machine.state_codes import NO_STATES, StateIntervals, set_aside, state_intervals, unknown_states
from lineview.machine.steps import NO_STEPS, Steps
from lineview.plant import Counter, Counts, Machine

#: Counters of what was made; what they count in maintenance is set aside.
PIECE_KINDS: tuple[Counts, ...] = ("pieces", "good pieces", "rejects", "blank wraps")


#: Rows of a machine's product and batch channels.
MARKS: dict[str, pl.DataType] = {"gauge": pl.String(), "at": UTC_US, "text": pl.String()}
NO_MARKS = pl.DataFrame(schema=MARKS)
_NOTHING_READ = np.empty(0, dtype=np.int64), np.empty(0)
_NOTHING_TAKEN = NO_STEPS.frame()


#: A counter of pieces may be unplugged that is below this share of its fastest for so long [µs] while one of these
#: rises so often, never pausing for longer [µs].
BESIDE: tuple[Counts, ...] = ("good pieces", "rejects", "film", "wax paper")
_STANDS, UNPLUGGED_US, _RISES, _PAUSE_US = 0.02, 600_000_000, 5, 180_000_000

#: Counts nearer to each other than this differ by rounding.
COUNTS_APART = 1e-6


def _less_rejects(cycles: Counted, rejects: Counted) -> Counted:
    """Take rejects from pieces made."""
    # A reject is a piece made, so over time that neither counter saw there are at least no fewer than 0 good; rejects
    # that are open where the pieces are known come from elsewhere.
    comparable = (cycles.high - cycles.low > COUNTS_APART) | (rejects.high - rejects.low <= COUNTS_APART)
    together = (cycles.missing_s == rejects.missing_s) & comparable
    low = np.clip(cycles.low - np.where(together, rejects.low, rejects.high), 0, None)
    high = np.clip(cycles.high - rejects.low, 0, None)
    # Both are split at the same moments by the same share, so their difference is split so too.
    exact = (cycles.low == cycles.high) & (rejects.low == rejects.high)
    value = np.clip(cycles.value - rejects.value, 0, None)
    low, high = np.where(exact, value, low), np.where(exact, value, high)
    # Where one of the two counters was read further than the other, the difference keeps to its bounds.
    value = np.where(np.isnan(value), value, np.clip(value, low, np.maximum(low, high)))
    missing = np.maximum(cycles.missing_s, rejects.missing_s)
    return Counted(value, low, np.maximum(low, high), missing, cycles.readings)


@dataclass(frozen=True)
class Pieces:
    """Pieces of some stretches; None where no counter counts them."""

    good: Counted | None
    total: Counted | None
    rejects: Counted | None
    blanks: Counted | None

    def at(self, k: int) -> StretchPieces:
        """The pieces of one stretch."""
        return StretchPieces(*(None if part is None else part.at(k) for part in (self.good, self.total, self.rejects)))


@dataclass(frozen=True)
class StretchPieces:
    """Pieces of one stretch; None where no counter counts them."""

    good: Estimate | None
    total: Estimate | None
    rejects: Estimate | None


@dataclass(frozen=True)
class MachineCounts:
    """A machine's counters and activity over a time.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    counters : mapping
        CounterIncrements of each counter that the machine has, by what it counts; those without readings
        are empty.
    activity : Activity
        Its activity: by the counter, and by the machine's states where there are no readings of it.
    spells : StateIntervals
        The states of its channel.
    aside : mapping
        What each counter counted in maintenance, in no sum: frames with columns start, end, n.
    usual_min : float or None
        Usual time between two readings of the piece counter [min].
    readings : int
        Good readings of all its channels.
    unknown_states : tuple of str
        States of its channel whose meaning is not known.
    marks : polars.DataFrame
        Rows of its product and batch channels: gauge ("product", "batch"), at, text.
    """

    machine: Machine
    counters: Mapping[Counts, CounterIncrements]
    activity: Activity
    spells: StateIntervals
    aside: Mapping[Counts, pl.DataFrame]
    usual_min: float | None
    readings: int
    unknown_states: tuple[str, ...]
    marks: pl.DataFrame

    def with_states(self) -> MachineCounts:
        """The same with the machine's states where there are no readings of its counter."""
        return replace(self, activity=activity_with_states(self.activity, self.spells, self.machine.nominal_per_min))

    def count(self, kind: Counts, begins: Ints, ends: Ints) -> Counted | None:
        """What one counter counted from each begin to its end [µs]; None where the machine has none."""
        counter = self.counters.get(kind)
        return None if counter is None else counter.count(begins, ends, self.activity)

    def has_read(self, kind: Counts) -> bool:
        """Whether a counter has readings."""
        return kind in self.counters and len(self.counters[kind].end_us) > 0

    def total(self, begins: Ints, ends: Ints) -> Counted | None:
        """Pieces made, rejects included, from each begin to its end [µs]; None where nothing counts them."""
        direct = self.count("pieces", begins, ends)
        return self.pieces(begins, ends).total if direct is None else direct

    def pieces(self, begins: Ints, ends: Ints) -> Pieces:
        """Good, made and rejected pieces and blank wraps from each begin to its end [µs].

        Parameters
        ----------
        begins, ends : arrays of int
            The stretches [µs since 1970].
        """
        cycles, rejects, good, blanks = (
            self.count(kind, begins, ends) for kind in ("pieces", "rejects", "good pieces", "blank wraps")
        )
        calculated = _less_rejects(cycles, rejects) if cycles is not None and rejects is not None else cycles
        if rejects is None and cycles is not None and good is not None:
            rejects = _less_rejects(cycles, good)
        good = calculated if good is None else good.or_else(calculated)
        if cycles is None and good is not None:
            cycles = good.plus(rejects) if rejects is not None else good
        return Pieces(good, cycles, rejects, blanks)

    def between(self, moments: Sequence[datetime]) -> Pieces:
        """Pieces between successive moments [UTC].

        Parameters
        ----------
        moments : sequence of datetime
            In order; one more than the stretches.
        """
        at = micros(moments)
        return self.pieces(at[:-1], at[1:])

    def outside(self, windows: pl.DataFrame, start: datetime, end: datetime) -> Estimate:
        """Good pieces made between two moments [UTC] and in none of the windows, while the machine was read.

        Parameters
        ----------
        windows : polars.DataFrame
            With start and end, by time and without overlap, such as those of shift_windows.
        start, end : datetime
            Of the whole [UTC].
        """
        counters = [self.counters[kind] for kind in PIECE_KINDS if self.has_read(kind)]
        if not counters:
            return Estimate.exact(0.0)
        span = min(int(c.start_us[0]) for c in counters), max(int(c.end_us[-1]) for c in counters)
        edges = np.clip(micros([start, end]), *span)
        begins = np.clip(np.concatenate((edges[:1], windows["end"].dt.epoch("us").to_numpy())), *edges)
        finishes = np.clip(np.concatenate((windows["start"].dt.epoch("us").to_numpy(), edges[1:])), *edges)
        between = finishes > begins
        good = self.pieces(begins[between], finishes[between]).good if between.any() else None
        if good is None:
            return Estimate.exact(0.0)
        return Estimate.sum([good.at(k) for k in range(len(good.value))])

    @property
    def separates_rejects(self) -> bool:
        """Whether a counter separates good pieces from rejects."""
        return "good pieces" in self.counters or "rejects" in self.counters

    def open_intervals(self, *kinds: Counts) -> list[tuple[int, int]]:
        """Intervals [µs] in which the readings leave a count of these open."""
        return [gap for kind in kinds if kind in self.counters for gap in self.counters[kind].open_intervals()]


_EPOCH, _MICROSECOND = datetime(1970, 1, 1, tzinfo=UTC), timedelta(microseconds=1)


def micros(moments: Sequence[datetime] | Ints) -> Ints:
    """Moments as microseconds since 1970; what is so already stays."""
    if isinstance(moments, np.ndarray):
        return moments
    # a seventh of the time of going by a column of moments
    return np.array([(moment - _EPOCH) // _MICROSECOND for moment in moments], dtype=np.int64)


def piece_counter(machine: Machine) -> Counter | None:
    """The counter that shows whether the machine runs: all pieces, or else good ones."""
    return machine.counter("pieces") or machine.counter("good pieces")


def count_channels(
    machine: Machine,
    series: Mapping[str, tuple[Ints, Floats]],
    state_rows: pl.DataFrame,
    good: int,
    *,
    gap_s: float,
    planned: PlannedTime,
) -> MachineCounts:
    """Work out a machine's counters and its activity from its readings by channel.

    A machine runs while it makes cycles: pieces, or good pieces and rejects, and blank wraps.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    series : mapping
        By channel the moments [µs] and values of each counter's good readings, in order.
    state_rows : polars.DataFrame
        READINGS of at least the channels of states, products and batches.
    good : int
        Good readings of all channels.
    gap_s : float
        Longest interval between readings that still shows what happened in it [s].
    planned : PlannedTime
        When the works meant to run, for what was not read.

    Returns
    -------
    MachineCounts
        Its activity is that by its counters alone, empty where it has no piece counter or no readings. Pieces
        counted in maintenance are in no sum; web fed in it is used all the same.
    """
    spells = state_intervals(machine, state_rows, gap_s=gap_s) if state_rows.height else NO_STATES
    steps: dict[Counts, Steps] = {}
    aside: dict[Counts, pl.DataFrame] = {}
    counters: dict[Counts, CounterIncrements] = {}
    first_of: dict[Counts, Counter] = {}
    for counter in machine.counters:
        first_of.setdefault(counter.counts, counter)
    every = {
        kind: counter_steps(*series.get(counter.id, _NOTHING_READ), counter, gap_s)
        for kind, counter in first_of.items()
    }
    if "pieces" in every:
        every["pieces"] = _unplugged(every, fastest_per_us(first_of["pieces"]))
    for kind, counter in first_of.items():
        steps[kind], in_maintenance = set_aside(every[kind], spells if kind in PIECE_KINDS else NO_STATES)
        aside[kind] = in_maintenance.frame() if len(in_maintenance) else _NOTHING_TAKEN
        counters[kind] = counter_increments(steps[kind], counter, planned)
    activity = _counter_activity(machine, steps, gap_s)
    usual = float(np.median(np.diff(activity.span))) / 6e7 if len(activity.span) > 1 else None
    unknown = tuple(unknown_states(machine, state_rows)) if state_rows.height else ()
    marks = _marks_of(machine, state_rows) if state_rows.height else NO_MARKS
    return MachineCounts(machine, counters, activity, spells, aside, usual, good, unknown, marks)


def _unplugged(every: Mapping[Counts, Steps], fastest_per_us: float) -> Steps:
    """The pieces, open where their counter stands for long while others of the machine count on without a pause."""
    steps = every["pieces"]
    cycles = _together(steps, every.get("blank wraps"))
    beside = [counted for kind, counted in every.items() if kind in BESIDE]
    rises = np.sort(np.concatenate([counted.end_us[counted.n > 0] for counted in beside] or [steps.end_us[:0]]))
    stands = cycles.n <= _STANDS * (steps.end_us - steps.start_us) * fastest_per_us
    if not len(rises) or not stands.any():
        return steps
    until = np.searchsorted(rises, steps.end_us, side="right")
    ahead = np.append(rises, np.iinfo(np.int64).max)[np.searchsorted(rises, steps.start_us, side="right")]
    goes_on = stands & (ahead <= steps.end_us + _PAUSE_US)
    edges = np.flatnonzero(np.diff(goes_on, prepend=False, append=False))
    first, last = edges[::2], edges[1::2] - 1
    rose = until[last] - np.searchsorted(rises, steps.start_us[first], side="right")
    is_long = (steps.end_us[last] - steps.start_us[first] >= UNPLUGGED_US) & (rose >= _RISES)
    within = np.zeros(len(steps) + 1, dtype=np.int64)
    within[first[is_long]] += 1
    within[last[is_long] + 1] -= 1
    is_open = np.cumsum(within)[:-1] > 0
    keeps = ~(is_open & np.append(False, is_open[:-1]))  # one interval each
    starts = np.flatnonzero(keeps)
    ends = steps.end_us[np.append(starts[1:], len(steps)) - 1]
    kept = replace(steps.only(starts), end_us=ends)
    most = np.where(is_open[starts], (ends - kept.start_us) * fastest_per_us, kept.high)
    return replace(kept, n=np.where(is_open[starts], np.nan, kept.n), low=np.add.reduceat(steps.low, starts), high=most)


def _marks_of(machine: Machine, readings: pl.DataFrame) -> pl.DataFrame:
    """The rows of a machine's product and batch channels: MARKS by time."""
    frames = [pl.DataFrame(schema=MARKS)]
    for name in ("product", "batch"):
        gauge = machine.gauge("product" if name == "product" else "batch")
        if gauge is not None:
            texts = readings.filter((pl.col("channel") == gauge.id) & pl.col("text").is_not_null()).sort("at")
            frames.append(texts.select(gauge=pl.lit(name), at="at", text="text"))
    return pl.concat(frames)


def _counter_activity(machine: Machine, steps: Mapping[Counts, Steps], gap_s: float) -> Activity:
    """A machine's activity by its piece counters alone, a sizer's by its rope counter."""
    shows = piece_counter(machine)
    if shows is None and "rope" in steps:
        return moving(steps["rope"], gap_s)
    pieces_made = steps.get(shows.counts, NO_STEPS) if shows is not None else NO_STEPS
    if shows is not None and shows.counts == "good pieces":
        pieces_made = _together(pieces_made, steps.get("rejects"))
    cycles = _together(pieces_made, steps.get("blank wraps"))
    pieces = None if cycles is pieces_made else pieces_made.n
    return activity_from_counter(cycles, band_low_per_min=machine.nominal_per_min[0], gap_s=gap_s, pieces_made=pieces)


def _together(steps: Steps, other: Steps | None) -> Steps:
    """Add what another counter of the same cycles counted between the same readings."""
    if other is None or not len(other):
        return steps
    mine, theirs = (steps.n, steps.low, steps.high), (other.n, other.low, other.high)
    if np.array_equal(steps.start_us, other.start_us):
        return Steps(steps.start_us, steps.end_us, *(a + b for a, b in zip(mine, theirs, strict=True)))
    # Where the other lacks a reading, its share of the interval is not known and is left out.
    place = np.minimum(np.searchsorted(other.start_us, steps.start_us), len(other) - 1)
    same = (other.start_us[place] == steps.start_us) & (other.end_us[place] == steps.end_us)
    parts = [np.where(same & ~np.isnan(part[place]), part[place], 0.0) for part in theirs]
    return Steps(steps.start_us, steps.end_us, *(a + b for a, b in zip(mine, parts, strict=True)))
