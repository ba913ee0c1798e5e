"""What a machine's counters counted between any two moments: the one place where pieces are counted.

Notes
-----
Good pieces are those of a counter of good pieces, else pieces made less rejects, else all pieces where nothing
counts rejects. An interval between two readings that lies over a moment is shared out by the pieces the machine
made along it; the bounds leave such an interval out and take it whole. Where readings leave a count open, the
value is the likeliest one (lineview.machine.likeliest) and the bounds are those that the readings allow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.columns import INCREMENTS, READINGS, UTC_US, require
from lineview.core.estimate import Estimate
from lineview.machine.likeliest import OpenIntervals, PlannedTime, likeliest
from lineview.measures.coded_clock import clock_with_states
from lineview.measures.counts import increments, known_modulus
from lineview.measures.rate import sums
from lineview.measures.state_codes import unknown_states
from lineview.measures.state_spells import NO_SPELLS, Spells, set_aside, state_spells
from lineview.measures.states import Clock, clock, moving
from lineview.plant import Counter, Counts, Machine

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Counters of what was made; what they count in maintenance is set aside.
MADE: tuple[Counts, ...] = ("pieces", "good pieces", "rejects", "blank wraps")
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
        What one count of a web's counter stands for [m]; it hides up to so much. 0 for pieces.
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

    def count(self, begins: Ints, ends: Ints, profile: Clock | None = None) -> Counted:
        """Count from each begin up to its end [µs]; `profile` says how an interval's count lies along it."""
        long = (ends - begins).astype(np.float64)
        if not len(self.end_us):
            nothing = np.where(long > 0, np.nan, 0.0)
            return Counted(
                nothing, 0.0 * long, long * self.fastest_per_us, long / 1e6, np.zeros(len(long), int)
            )
        so_far = self._so_far
        span, low, high = so_far.span, so_far.low, so_far.high
        a, b = _Place(span, begins), _Place(span, ends)
        inside = _upto(so_far.value, self.value, b, profile) - _upto(so_far.value, self.value, a, profile)
        whole = b.floor > a.ceil
        inner = np.minimum(a.ceil, b.floor)
        outside = (
            np.clip(span[0] - begins, 0, ends - begins) + np.clip(ends - span[-1], 0, ends - begins)
        ).astype(float)
        least = np.where(whole, low[b.floor] - low[inner], 0.0)
        most = high[b.ceil] - high[a.floor] + outside * self.fastest_per_us
        for edge, other, starts in ((a, b, True), (b, a, False)):
            spare_low, spare_high = self._long_edge(edge, other, starts=starts)
            least, most = least + spare_low, most - spare_high
        most = np.where(so_far.unbounded[b.ceil] > so_far.unbounded[a.floor], np.inf, most)
        taken = np.where(outside <= _USUAL * self.usual_us, np.round(inside, 6), np.nan)
        return Counted(
            np.where(long > 0, taken, 0.0),
            np.clip(least - self.step, 0.0, None),
            most + self.step,
            so_far.missing_s[b.ceil] - so_far.missing_s[a.floor] + outside / 1e6,
            _readings(so_far.readings, a, b),
        )

    def _long_edge(self, edge: _Place, other: _Place, *, starts: bool) -> tuple[Floats, Floats]:
        """What a long interval over an edge must and cannot have added inside, by the fastest rate.

        Of an interval much longer than usual the part on one side of a moment holds at most what fits into it
        at the fastest rate, and at least what does not fit into the other part.
        """
        place = np.minimum(edge.floor, len(self.value) - 1)
        long = edge.between & (edge.end - edge.start > _USUAL * self.usual_us) & (self.usual_us > 0)
        long &= (other.floor != edge.floor) | (not starts)  # one interval over both edges is looked at once
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
        open_ended = np.isinf(self.high)
        return _SoFar(
            np.concatenate((self.start_us, self.end_us[-1:])),
            sums(self.value),
            sums(self.low),
            sums(np.where(open_ended, 0.0, self.high)),
            sums(open_ended.astype(float)),
            sums(np.where(self.known, 0.0, (self.end_us - self.start_us) / 1e6)),
            np.concatenate(([0], np.cumsum(self.readings))),
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


class _Place:
    """Where moments lie among the edges of the intervals between readings."""

    def __init__(self, span: Ints, at: Ints) -> None:
        top = len(span) - 1
        self.at = np.clip(at, span[0], span[-1])
        self.floor = np.clip(np.searchsorted(span, self.at, side="right") - 1, 0, top)
        self.ceil = np.clip(np.searchsorted(span, self.at), 0, top)
        self.start, self.end = span[self.floor], span[self.ceil]
        self.between = self.ceil > self.floor


def _upto(value: Floats, added: Floats, place: _Place, profile: Clock | None) -> Floats:
    """Counts up to moments; within an interval shared by the machine's pieces, else by time."""
    share = (place.at - place.start) / np.maximum(place.end - place.start, 1)
    if profile is not None and len(profile.at):
        run = [np.interp(moment, profile.at, profile.pieces) for moment in (place.start, place.at, place.end)]
        whole = run[2] - run[0]
        share = np.where(whole > 0, (run[1] - run[0]) / np.where(whole > 0, whole, 1.0), share)
    inner = added[np.minimum(place.floor, len(added) - 1)]
    return np.asarray(value[place.floor] + np.where(place.between, share * inner, 0.0))


def _readings(until: Ints, a: _Place, b: _Place) -> Ints:
    """How many readings each stretch rests on: the intervals that it touches, and one more."""
    touched = until[b.ceil] - until[a.floor]
    return np.asarray(np.where(touched > 0, touched + 1, 0))


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
            why_none="no readings" if np.isnan(value) else "",
        )

    def estimates(self) -> list[Estimate]:
        """Every stretch's count."""
        return [self.at(k) for k in range(len(self.value))]

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
        pairs = zip(_parts(self), _parts(other), strict=True)
        return Counted(*(np.where(take, theirs, mine) for mine, theirs in pairs))


def _parts(counted: Counted) -> tuple[Floats, Floats, Floats, Floats, Ints]:
    return counted.value, counted.low, counted.high, counted.missing_s, counted.readings


def _less_rejects(made: Counted, rejects: Counted) -> Counted:
    """Take rejects from pieces made."""
    # A reject is a piece made, so over time that neither counter saw there are at least no fewer than 0 good.
    together = made.missing_s == rejects.missing_s
    low = np.clip(made.low - np.where(together, rejects.low, rejects.high), 0, None)
    high = np.clip(made.high - rejects.low, 0, None)
    # Both are split at the same moments by the same share, so their difference is split so too.
    exact = (made.low == made.high) & (rejects.low == rejects.high)
    value = np.clip(made.value - rejects.value, 0, None)
    low, high = np.where(exact, value, low), np.where(exact, value, high)
    # Where one of the two counters was read further than the other, the difference keeps to its bounds.
    value = np.where(np.isnan(value), value, np.clip(value, low, np.maximum(low, high)))
    missing = np.maximum(made.missing_s, rejects.missing_s)
    return Counted(value, low, np.maximum(low, high), missing, made.readings)


@dataclass(frozen=True)
class Pieces:
    """Pieces of some stretches; None where no counter counts them."""

    good: Counted | None
    made: Counted | None
    rejects: Counted | None
    blanks: Counted | None

    def at(self, k: int) -> StretchPieces:
        """The pieces of one stretch."""
        return StretchPieces(
            *(None if part is None else part.at(k) for part in (self.good, self.made, self.rejects))
        )


@dataclass(frozen=True)
class StretchPieces:
    """Pieces of one stretch; None where no counter counts them."""

    good: Estimate | None
    made: Estimate | None
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
    seen : Clock
        Its activity: by the counter, and by the machine's states where there are no readings of it.
    spells : Spells
        What its states said.
    aside : mapping
        What each counter counted in maintenance, in no sum: frames with columns start, end, n.
    usual_min : float or None
        Usual time between two readings of the piece counter [min].
    readings : int
        Good readings of all its channels.
    unknown_states : tuple of str
        States of its channel whose meaning is not known.
    marks : polars.DataFrame
        What its product and batch channels said: gauge ("product", "batch"), at, text.
    """

    machine: Machine
    counters: Mapping[Counts, CounterIncrements]
    seen: Clock
    spells: Spells
    aside: Mapping[Counts, pl.DataFrame]
    usual_min: float | None = None
    readings: int = 0
    unknown_states: tuple[str, ...] = ()
    marks: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=MARKS))

    def with_states(self) -> MachineCounts:
        """The same with the machine's states told where there are no readings of its counter."""
        return replace(self, seen=clock_with_states(self.seen, self.spells, self.machine.nominal_per_min))

    def count(self, kind: Counts, begins: Ints, ends: Ints) -> Counted | None:
        """What one counter counted from each begin to its end [µs]; None where the machine has none."""
        counter = self.counters.get(kind)
        return None if counter is None else counter.count(begins, ends, self.seen)

    def has_read(self, kind: Counts) -> bool:
        """Whether a counter has readings."""
        return kind in self.counters and len(self.counters[kind].end_us) > 0

    def pieces(self, begins: Ints, ends: Ints) -> Pieces:
        """Good, made and rejected pieces and blank wraps from each begin to its end [µs].

        Parameters
        ----------
        begins, ends : arrays of int
            The stretches [µs since 1970].
        """
        made, rejects, good, blanks = (
            self.count(kind, begins, ends) for kind in ("pieces", "rejects", "good pieces", "blank wraps")
        )
        other = _less_rejects(made, rejects) if made is not None and rejects is not None else made
        if rejects is None and made is not None and good is not None:
            rejects = _less_rejects(made, good)
        good = other if good is None else good.or_else(other)
        if made is None and good is not None:
            made = good.plus(rejects) if rejects is not None else good
        return Pieces(good, made, rejects, blanks)

    def between(self, moments: Sequence[datetime]) -> Pieces:
        """Pieces between successive moments [UTC].

        Parameters
        ----------
        moments : sequence of datetime
            In order; one more than the stretches.
        """
        at = micros(moments)
        return self.pieces(at[:-1], at[1:])

    @property
    def tells_good(self) -> bool:
        """Whether a counter tells good pieces from rejects."""
        return "good pieces" in self.counters or "rejects" in self.counters

    def open_intervals(self, *kinds: Counts) -> list[tuple[int, int]]:
        """Intervals [µs] in which the readings leave a count of these open."""
        return [
            gap for kind in kinds if kind in self.counters for gap in self.counters[kind].open_intervals()
        ]


#: What a machine's product and batch channels said.
MARKS: dict[str, pl.DataType] = {"gauge": pl.String(), "at": UTC_US, "text": pl.String()}


def micros(moments: Sequence[datetime]) -> Ints:
    """Moments as microseconds since 1970."""
    return pl.Series(list(moments), dtype=UTC_US).dt.epoch("us").to_numpy()


def piece_counter(machine: Machine) -> Counter | None:
    """The counter that shows whether the machine runs: all pieces, or else good ones."""
    return machine.counter("pieces") or machine.counter("good pieces")


def channel_increments(readings: pl.DataFrame, counter: Counter) -> pl.DataFrame:
    """The INCREMENTS of one counter in what it counts (pieces, metres).

    Parameters
    ----------
    readings : polars.DataFrame
        READINGS of one machine. Only good ones are used: an uncertain value may be an old one repeated.
    counter : Counter
        Its `unit_value` is what one count stands for.

    Returns
    -------
    polars.DataFrame
        INCREMENTS without `kind`.
    """
    good = readings.lazy().filter((pl.col("channel") == counter.id) & (pl.col("quality") == "good"))
    added = increments(
        good.select("at", "value").collect(),
        modulus=known_modulus(counter),
        fastest_per_min=counter.fastest_per_min,
        kinds=False,
    )
    if counter.unit_value == 1.0:
        return added
    return added.with_columns(pl.col("n", "low", "high") * counter.unit_value)


def counter_increments(
    added: pl.DataFrame, counter: Counter, planned: PlannedTime = NO_PLAN
) -> CounterIncrements:
    """Bring INCREMENTS of one counter into arrays, the likeliest count filled in where they leave it open.

    Parameters
    ----------
    added : polars.DataFrame
        INCREMENTS in what it counts; `kind` may be missing.
    counter : Counter
        Of the plant description.
    planned : PlannedTime
        When the works meant to run.
    """
    start, end = (added[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    n, low = (added[name].cast(pl.Float64).to_numpy() for name in ("n", "low"))
    high = np.nan_to_num(added["high"].cast(pl.Float64).to_numpy(), nan=np.inf)
    turn = (known_modulus(counter) or np.nan) * counter.unit_value
    intervals = OpenIntervals(start / 1e6, end / 1e6, n, low, high, turn, counter.unit_value)
    value = likeliest(intervals, planned)
    known = ~np.isnan(n) | _stood(intervals)
    ones = np.ones(len(n), dtype=np.int64)
    usual = float(np.median((end - start)[:2000])) if len(n) else 0.0
    return CounterIncrements(
        start, end, value, np.where(known, value, low), np.where(known, value, high), known, ones, usual,
        fastest_per_us(counter), 0.0 if counter.unit_value == 1.0 else counter.unit_value,
    )  # fmt: skip


def _stood(intervals: OpenIntervals) -> npt.NDArray[np.bool_]:
    """Where a counter that may have turned stands just where it stood: it counted nothing, 1 chance in its size."""
    if not np.isfinite(intervals.turn):
        return np.zeros(len(intervals.value), dtype=np.bool_)
    over = np.where(np.isfinite(intervals.high), intervals.high - intervals.low, 0.0)
    rest = np.abs(np.mod(over + intervals.turn / 2, intervals.turn) - intervals.turn / 2)
    turned = (rest < 1e-6 * intervals.turn) & (over >= 0.5 * intervals.turn)
    return np.asarray(np.isnan(intervals.value) & turned & (intervals.low < 0.5 * intervals.step))


def fastest_per_us(counter: Counter) -> float:
    """The fastest that a counter can count, a twentieth allowed on top [units/µs]."""
    return counter.fastest_per_min * counter.unit_value * 1.05 / 6e7


def count_machine(
    machine: Machine, readings: pl.DataFrame, *, gap_s: float, planned: PlannedTime = NO_PLAN
) -> MachineCounts:
    """Work out a machine's counters and its activity from its readings.

    A machine runs while it makes cycles: pieces, or good pieces and rejects, and blank wraps.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    readings : polars.DataFrame
        READINGS of the machine.
    gap_s : float
        Longest interval between readings that still tells what happened in it [s].
    planned : PlannedTime
        When the works meant to run, for what was not read.

    Returns
    -------
    MachineCounts
        Its activity is that by its counters alone, empty where it has no piece counter or no readings. Pieces
        counted in maintenance are in no sum; web fed in it is used all the same.

    Raises
    ------
    MeasureError
        Where the readings lack a column.
    """
    require(readings, READINGS, "readings")
    spells = state_spells(machine, readings, gap_s=gap_s)
    frames: dict[Counts, pl.DataFrame] = {}
    aside: dict[Counts, pl.DataFrame] = {}
    counters: dict[Counts, CounterIncrements] = {}
    for counter in machine.counters:
        if counter.counts in frames:
            continue
        made = counter.counts in MADE
        frames[counter.counts], aside[counter.counts] = set_aside(
            channel_increments(readings, counter), spells if made else NO_SPELLS
        )
        counters[counter.counts] = counter_increments(frames[counter.counts], counter, planned)
    seen = _counter_activity(machine, frames, gap_s)
    every = float(np.median(np.diff(seen.span))) / 6e7 if len(seen.span) > 1 else None
    return MachineCounts(
        machine, counters, seen, spells, aside, every, int((readings["quality"] == "good").sum()),
        tuple(unknown_states(machine, readings)), _marks_of(machine, readings),
    )  # fmt: skip


def _marks_of(machine: Machine, readings: pl.DataFrame) -> pl.DataFrame:
    """What a machine's product and batch channels said: MARKS by time."""
    found = [pl.DataFrame(schema=MARKS)]
    for name in ("product", "batch"):
        gauge = machine.gauge("product" if name == "product" else "batch")
        if gauge is not None:
            said = readings.filter((pl.col("channel") == gauge.id) & pl.col("text").is_not_null()).sort("at")
            found.append(said.select(gauge=pl.lit(name), at="at", text="text"))
    return pl.concat(found)


def _counter_activity(machine: Machine, added: Mapping[Counts, pl.DataFrame], gap_s: float) -> Clock:
    """A machine's activity by its piece counters alone, a sizer's by its rope counter."""
    shows = piece_counter(machine)
    if shows is None and "rope" in added:
        return moving(added["rope"], gap_s)
    made = added[shows.counts] if shows is not None else pl.DataFrame(schema=INCREMENTS)
    if shows is not None and shows.counts == "good pieces":
        made = _together(made, added.get("rejects"))
    cycles = _together(made, added.get("blank wraps"))
    pieces = None if cycles is made else made["n"]
    return clock(cycles, band_low_per_min=machine.nominal_per_min[0], gap_s=gap_s, made=pieces)


def _together(steps: pl.DataFrame, other: pl.DataFrame | None) -> pl.DataFrame:
    """Add what another counter of the same cycles counted between the same readings."""
    if other is None or not other.height:
        return steps
    added = ("n", "low", "high")
    if steps.height == other.height and steps["start"].equals(other["start"]):
        return steps.with_columns(steps[name] + other[name] for name in added)
    # Where the other lacks a reading, its share of the interval is not known and is left out.
    near = steps.select("start", "end").join(
        other, on=["start", "end"], how="left", maintain_order="left", validate="1:1"
    )
    return steps.with_columns(steps[name] + near[name].fill_null(0.0) for name in added)
