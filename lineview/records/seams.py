"""What a machine's counters did between two windows, and at ends of windows where nothing answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from lineview.machine.increments import Limits, pair_bounds, possible, reported_steps, unread_longer_than
from lineview.machine.speed import Floats, Ints
from lineview.machine.steps import Steps
from lineview.plant import Counter


@dataclass(frozen=True)
class TrustedRange:
    """The places of the first and the last reading that are surely counts."""

    first: int
    last: int


def trusted_range(at_us: Ints, value: Floats, modulus: int | None, fastest_per_min: float) -> TrustedRange:
    """Leave out a run of one value at either end that the counter cannot have gone to, or come from.

    Within a window such a run is judged by the readings on both sides of it. At an end one side is missing:
    the counter was set back and stood, or nothing answered. A fall after which it counts on is a reset, and
    a value that catches up at a pace the machine can have stood still or was frozen; both are no such runs.

    Parameters
    ----------
    at_us : array of int
        Moments of the readings [µs].
    value : array of float
        The counter's values [counts], such that it counts up.
    modulus : int or None
        The number of values before the counter starts again at 0; None where nobody knows.
    fastest_per_min : float
        The fastest the counter can go [counts/min].
    """
    whole = TrustedRange(0, len(value) - 1)
    changed = np.flatnonzero(value[1:] != value[:-1]) + 1
    if not len(changed):
        return whole
    limits = Limits(float(modulus) if modulus else None, fastest_per_min, 0.05)
    head, tail = int(changed[0]), int(changed[-1])
    first = head if _jumps(at_us, value, head, limits) else 0
    before = int(changed[-2]) if len(changed) > 1 else 0
    last = tail - 1 if not _leads(at_us, value, (before, tail - 1), tail, limits) else whole.last
    return TrustedRange(first, last) if first < last else whole


def _jumps(at_us: Ints, value: Floats, head: int, limits: Limits) -> bool:
    """Whether the first change of value is a rise that no time since the first reading explains."""
    return bool(value[head] > value[0]) and not _leads(at_us, value, (0, head - 1), head, limits)


def _leads(at_us: Ints, value: Floats, begin: tuple[int, int], end: int, limits: Limits) -> bool:
    """Whether the counter can have counted from any of two readings to a later one."""
    start = np.array(begin)
    return bool(possible(at_us, value, start, np.full(len(start), end), limits).any())


@dataclass(frozen=True)
class Seams:
    """The intervals of one counter that lie in no window's readings.

    Parameters
    ----------
    steps : Steps
        In what the counter counts, by time.
    before, after : arrays of int
        For each, the places among the windows of the one that it follows and of the one that it leads to.
    unread : set of int
        Places of windows whose readings of this counter are none: all are the value of an outage around them.
    stood : sequence of (int, int)
        From when to when [µs] the counter, set back, was read standing between a window's counts and its end.
    ends : sequence of int
        Moments [µs] beyond the first or last window's counts up to which an outage is known.
    """

    steps: Steps
    before: Ints
    after: Ints
    unread: frozenset[int] = frozenset()
    stood: Sequence[tuple[int, int]] = ()
    ends: Sequence[int] = ()


def seams_of(counter: Counter, windows: pl.DataFrame, gap_s: float) -> Seams:
    """The intervals from each window's last count to the next one's first.

    Parameters
    ----------
    counter : Counter
        As in the plant description.
    windows : polars.DataFrame
        One row a window with counts of it, by time: columns of COUNTERS.
    gap_s : float
        Longest interval between readings that still tells what happened in it [s].

    Notes
    -----
    Where a window ends or begins with a run of one value that no count leads to (`trusted_range`), the
    windows beside it decide. If the counts on either side follow from each other, nothing answered in
    between. If the counter counts on from the run's value, it was set back and stood. Else, and at the last
    window there is, it stays open how much was counted.
    """
    places = np.arange(windows.height)
    if counter.counting == "since last row" or not _has_runs(windows):
        return Seams(_plain_steps(counter, windows, gap_s), places[:-1], places[1:])
    return _Walk(counter, windows, gap_s).seams()


def _has_runs(windows: pl.DataFrame) -> bool:
    return windows["head_us"].null_count() + windows["tail_us"].null_count() < 2 * windows.height


def _plain_steps(counter: Counter, windows: pl.DataFrame, gap_s: float) -> Steps:
    at0, at1 = windows["last_us"].to_numpy()[:-1], windows["first_us"].to_numpy()[1:]
    v0, v1 = windows["last_count"].to_numpy()[:-1], windows["first_count"].to_numpy()[1:]
    if counter.counting == "since last row":
        return reported_steps(at0, at1, v1, counter.fastest_per_min).times(counter.unit_value)
    return _Pairs(counter, windows, gap_s).steps(at0, at1, v0, v1)


class _Pairs:
    """Bounds between two readings of one counter, by its size and its usual interval."""

    def __init__(self, counter: Counter, windows: pl.DataFrame, gap_s: float) -> None:
        sizes = windows["modulus"].drop_nulls()
        usual = windows["usual_us"].filter(windows["usual_us"] > 0)
        usual_us = float(usual.median()) if len(usual) else 0.0  # type: ignore[arg-type]  # a float
        self._counter = counter
        self._sign = -1.0 if counter.counting == "down" else 1.0
        self._modulus = float(sizes[0]) if len(sizes) == windows.height and len(sizes) else None
        self._unread_us = unread_longer_than(gap_s, usual_us)
        self.limits = Limits(self._modulus, counter.fastest_per_min, 0.05)

    def steps(self, at0: Ints, at1: Ints, v0: Floats, v1: Floats) -> Steps:
        parts = pair_bounds(
            at0,
            at1,
            v0 * self._sign,
            v1 * self._sign,
            self._modulus,
            self._counter.fastest_per_min,
            unread_us=self._unread_us,
        )
        return Steps(at0, at1, *parts).times(self._counter.unit_value)

    def follows(self, one: tuple[int, float], other: tuple[int, float]) -> bool:
        """Whether a reading can have been counted to from another."""
        at_us = np.array([one[0], other[0]], dtype=np.int64)
        value = np.array([one[1], other[1]]) * self._sign
        return bool(possible(at_us, value, np.array([0]), np.array([1]), self.limits)[0])


class _Walk:
    """Goes through windows of which some end or begin with a run that no count leads to."""

    def __init__(self, counter: Counter, windows: pl.DataFrame, gap_s: float) -> None:
        self._rows: list[Mapping[str, Any]] = list(windows.iter_rows(named=True))
        self._pairs, self._unit = _Pairs(counter, windows, gap_s), counter.unit_value
        self._counted: list[tuple[int, int, float, float, int, int]] = []
        self._open: list[tuple[int, int, int, int]] = []
        self._unread: set[int] = set()
        self._stood: list[tuple[int, int]] = []
        self._ends: list[int] = []

    def seams(self) -> Seams:
        first = self._rows[0]
        if first["head_us"] is not None:
            self._open.append((first["head_us"], first["first_us"], 0, 0))
            self._ends.append(first["head_us"])
        place, last = 0, len(self._rows) - 1
        while place < last or (place == last and self._rows[last]["tail_us"] is not None):
            place = self._go_on(place)
        return self._together()

    def _go_on(self, place: int) -> int:
        """Judge what follows a window, and give the place of the next to look at."""
        following, value = self._run_after(place)
        if value is None:
            self._count(place, place + 1)
            return place + 1
        row = self._rows[place]
        beyond = following == len(self._rows)
        inside = range(place + 1, following)
        end_us = self._rows[following - 1]["last_us"] if inside else row["tail_end_us"]
        if beyond:
            self._open.append((row["last_us"], end_us, place, place))
            self._ends.append(end_us)
        elif row["tail_us"] is None or not self._pairs.follows((end_us, value), _first(self._rows[following])):
            self._count(place, following)
        elif self._pairs.follows(_last(row), _first(self._rows[following])):
            self._open.append((row["last_us"], self._rows[following]["first_us"], place, following))
        else:
            self._count_reset(place)
            return place + 1
        self._unread |= set(inside)
        return following

    def _run_after(self, place: int) -> tuple[int, float | None]:
        """The next window that shows other values than a run after a window, and the run's; None without one."""
        row, following = self._rows[place], place + 1
        value: float | None = row["tail_count"]
        if value is None:
            following_row = self._rows[following]
            if following_row["head_us"] is not None:
                return following, following_row["head_count"]
            value = following_row["first_count"]
        while following < len(self._rows) and _shows_only(self._rows[following], value):
            following += 1
        if row["tail_us"] is not None:
            return following, value
        ends_here = following < len(self._rows) and self._rows[following]["head_count"] == value
        return (following, value) if ends_here and row["last_count"] != value else (place + 1, None)

    def _count(self, before: int, after: int) -> None:
        (at0, v0), (at1, v1) = _last(self._rows[before]), _first(self._rows[after])
        self._counted.append((at0, at1, v0, v1, before, after))

    def _count_reset(self, place: int) -> None:
        """Count a reset after which the counter stood to the window's end, and what the next window adds."""
        row, (at_us, value) = self._rows[place], _last(self._rows[place])
        start_us, end_us, stood = row["tail_us"], row["tail_end_us"], row["tail_count"]
        self._counted.append((at_us, start_us, value, stood, place, place + 1))
        if end_us > start_us:
            self._counted.append((start_us, end_us, stood, stood, place, place + 1))
            self._stood.append((start_us, end_us))
        next_us, following = _first(self._rows[place + 1])
        self._counted.append((end_us, next_us, stood, following, place, place + 1))

    def _together(self) -> Seams:
        at0, at1, v0, v1, before, after = _columns(self._counted, 6)
        steps = self._pairs.steps(at0.astype(np.int64), at1.astype(np.int64), v0, v1)
        start, end, open_before, open_after = _columns(self._open, 4)
        most = self._pairs.limits.most((end - start) / 1e6) * self._unit
        nothing = np.zeros(len(start))
        turned = None if steps.turned is None else np.concatenate((steps.turned, nothing * np.nan))
        whole = Steps(
            np.concatenate((steps.start_us, start.astype(np.int64))),
            np.concatenate((steps.end_us, end.astype(np.int64))),
            np.concatenate((steps.n, nothing * np.nan)),
            np.concatenate((steps.low, nothing)),
            np.concatenate((steps.high, most)),
            turned,
        )
        order = np.argsort(whole.start_us, kind="stable")
        leads = np.concatenate((before, open_before))[order].astype(np.int64)
        follows = np.concatenate((after, open_after))[order].astype(np.int64)
        return Seams(whole.only(order), leads, follows, frozenset(self._unread), self._stood, self._ends)


def _columns(rows: Sequence[tuple[float, ...]], count: int) -> Sequence[Floats]:
    """The columns of rows, each as an array; moments [µs] up to 2255 are exact in them."""
    return list(np.array(rows, dtype=np.float64).reshape(-1, count).T)


def _first(row: Mapping[str, Any]) -> tuple[int, float]:
    return row["first_us"], row["first_count"]


def _last(row: Mapping[str, Any]) -> tuple[int, float]:
    return row["last_us"], row["last_count"]


def _shows_only(row: Mapping[str, Any], value: float) -> bool:
    """Whether a window has no count but one value."""
    return row["first_count"] == row["last_count"] == value and row["head_us"] is None and row["tail_us"] is None
