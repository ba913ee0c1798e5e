"""What a counter can count between two readings, and readings that it cannot have shown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

#: A stamp may be late or early by a second, so an interval may be two seconds longer than it looks.
STAMP_S = 2.0
#: A 32-bit value read as two 16-bit words that belong to two moments is off by a multiple of this.
WORD = 65536.0
#: At most this many readings in a row are set aside as off course.
LONGEST_RUN = 3
#: A frozen value that catches up at this nearness to the line's own rate was frozen, not preset.
CATCH_UP = 0.2
_RATE_WINDOW_US = 300_000_000


@dataclass(frozen=True)
class Limits:
    """What a counter can do: its modulus (None: unknown) and its fastest rate [counts/min]."""

    modulus: float | None
    fastest_per_min: float
    margin: float

    def most(self, seconds: Floats) -> Floats:
        """The most counts possible in so many seconds as stamped."""
        fastest = self.fastest_per_min * (1.0 + self.margin) / 60.0
        return np.asarray(fastest * (seconds + STAMP_S) + 1.0)

    def advance(self, before: Floats, after: Floats) -> Floats:
        """The counts added, through a rollover where the value fell and the modulus is known."""
        return self.unrolled(after - before)

    def unrolled(self, step: Floats) -> Floats:
        """Give steps with those that fell taken through a rollover, where the modulus is known."""
        fell = np.flatnonzero(step < 0)
        if self.modulus is None or not len(fell):
            return step
        step = step.copy()
        step[fell] = np.mod(step[fell], self.modulus)
        return step


def seconds_between(at_us: Ints, i: Ints, j: Ints) -> Floats:
    """The time between readings."""
    return (at_us[j] - at_us[i]) / 1e6


def possible(at_us: Ints, value: Floats, i: Ints, j: Ints, limits: Limits) -> Bools:
    """Where going from one reading to another is possible at the fastest rate.

    Parameters
    ----------
    at_us : array of int
        Moments of the readings [µs].
    value : array of float
        The counter's values [counts].
    i, j : arrays of int
        Places of the readings to go from and to.
    limits : Limits
        Of the counter.
    """
    step = limits.advance(value[i], value[j])
    return np.asarray((step >= 0) & (step <= limits.most(seconds_between(at_us, i, j))))


def off_trend(at_us: Ints, value: Floats, limits: Limits) -> tuple[Bools, Bools]:
    """Find readings that are off course while their neighbours agree with each other.

    Takes `value` [counts].
    """
    odd = _placeholders(at_us, value, limits)
    torn = np.zeros(len(value), dtype=bool)
    remaining = np.flatnonzero(~odd)
    for _ in range(8):
        off = _runs_off_course(at_us[remaining], value[remaining], limits)
        if not off.any():
            break
        aside = remaining[off]
        before = remaining[np.maximum(np.flatnonzero(off) - 1, 0)]
        odd[aside] = True
        torn[aside] = _by_words(at_us, value, before, aside, limits)
        remaining = remaining[~off]
    return odd, torn


def _placeholders(at_us: Ints, value: Floats, limits: Limits) -> Bools:
    """Find runs of one value that a counter can neither have gone to nor come from.

    Some exports write 0, or the counter's last value, for as long as nothing answers. Such a run, however
    long, is no count where the readings on either side of it follow from each other.
    """
    odd = np.zeros(len(value), dtype=bool)
    if len(value) < 3:
        return odd
    first = np.flatnonzero(np.concatenate(([True], value[1:] != value[:-1])))
    last = np.append(first[1:], len(value)) - 1
    inner = (first > 0) & (last < len(value) - 1) & (last > first)
    first, last = first[inner], last[inner]
    into = possible(at_us, value, first - 1, first, limits)
    out = possible(at_us, value, last, last + 1, limits)
    over = possible(at_us, value, first - 1, last + 1, limits)
    alone = ~into & ~out & over
    for a, b in zip(first[alone].tolist(), last[alone].tolist(), strict=True):
        odd[a : b + 1] = True
    return odd


#: A value at which a counter would have counted on so many times over by its pace is held there.
_TOP_FACTOR = 5.0


def held_at_top(at_us: Ints, value: Floats, limits: Limits) -> Bools:
    """Find readings of the last value before a turn that stays far longer than the counter's pace allows.

    Where nothing answers some exports write all bits set, and some counters stop at their top until they are
    set back. That a machine stands at the very value has one chance in the counter's size.

    Parameters
    ----------
    at_us : array of int
        Moments of the readings [µs].
    value : array of float
        The counter's values [counts], such that it counts up.
    limits : Limits
        Of the counter.
    """
    at_rest = np.zeros(len(value), dtype=bool)
    at_top = np.flatnonzero(value == limits.modulus - 1) if limits.modulus is not None else at_rest[:0]
    if len(at_top) <= LONGEST_RUN or len(at_top) == len(value):
        return at_rest | (len(at_top) > LONGEST_RUN)
    step = limits.unrolled(np.diff(value))
    usual = (step > 0) & (step <= limits.most(np.diff(at_us) / 1e6))
    due_us = _TOP_FACTOR * (at_us[-1] - at_us[0]) / max(float(step[usual].sum()), 1.0)
    runs = np.split(at_top, np.flatnonzero(np.diff(at_top) > 1) + 1)
    for run in runs:
        if len(run) > LONGEST_RUN and at_us[run[-1]] - at_us[run[0]] > due_us:
            at_rest[run] = True
    return at_rest


def _by_words(at_us: Ints, value: Floats, before: Ints, aside: Ints, limits: Limits) -> Bools:
    """Which odd readings are off by a whole number of words from where they should be."""
    off = value[aside] - value[before]
    most = limits.most(seconds_between(at_us, before, aside))
    near = np.mod(off, WORD)
    return np.asarray((np.abs(off) > WORD / 2) & (near <= np.minimum(most, WORD / 4)))


def _runs_off_course(at_us: Ints, value: Floats, limits: Limits) -> Bools:
    """Find, in one pass, the shortest runs of readings whose removal mends an impossible step."""
    last = len(value) - 1
    off = np.zeros(len(value), dtype=bool)
    if last < 2:
        return off
    every = np.arange(last)
    good = possible(at_us, value, every, every + 1, limits)
    open_pairs = np.flatnonzero(~good)
    for length in range(1, LONGEST_RUN + 1):
        for ahead in (True, False):
            if not len(open_pairs):
                return off
            is_good_without = _pairs_mended(at_us, value, open_pairs, length, limits, good, ahead=ahead)
            for offset in range(length):
                pairs = open_pairs[is_good_without]
                off[pairs + 1 + offset if ahead else pairs - offset] = True
            open_pairs = open_pairs[~is_good_without]
    return off


def _pairs_mended(
    at_us: Ints, value: Floats, pairs: Ints, length: int, limits: Limits, good: Bools, *, ahead: bool
) -> Bools:
    """Which impossible pairs (i, i + 1) are mended by leaving out `length` readings."""
    last = len(value) - 1
    if ahead:
        i, j = pairs, pairs + 1 + length
        inside = j <= last
        steady = good[np.maximum(i - 1, 0)] | (i == 0)
    else:
        i, j = pairs - length, pairs + 1
        inside = i >= 0
        steady = good[np.minimum(j, last - 1)] & (j < last)
    i, j = np.maximum(i, 0), np.minimum(j, last)
    mends = inside & steady & possible(at_us, value, i, j, limits)
    if ahead:
        return np.asarray(mends & ~_pairs_restarted(at_us, value, pairs, limits, good))
    # A value that stood still, or that was reached before a reset, is not off course: it is judged elsewhere.
    reset = good[i] & (length == 1) & _pairs_restarted(at_us, value, pairs, limits, good)
    return np.asarray(mends & ~reset & (value[np.minimum(i + 1, last)] != value[i]))


def _pairs_restarted(at_us: Ints, value: Floats, pairs: Ints, limits: Limits, good: Bools) -> Bools:
    """Where the second reading of a pair looks like a counter set back to 0 that counts on."""
    fell = value[pairs] - value[pairs + 1]
    small = value[pairs + 1] <= limits.most(seconds_between(at_us, pairs, pairs + 1))
    counts_on = good[np.minimum(pairs + 1, len(good) - 1)]
    is_swap = fell <= limits.most(np.zeros(len(pairs)))
    return np.asarray((fell > 0) & small & counts_on & ~is_swap & (value[pairs + 1] >= 0))


def unfrozen(at_us: Ints, value: Floats, limits: Limits) -> tuple[Bools, Bools]:
    """Find frozen readings before a jump that is possible only if they were frozen.

    Takes `value` [counts].
    """
    is_frozen = np.zeros(len(value), dtype=bool)
    is_sure = np.zeros(len(value), dtype=bool)
    if len(value) < 3:
        return is_frozen, is_sure
    step = np.diff(value)
    jumps = np.flatnonzero(step > limits.most(np.diff(at_us) / 1e6))
    changes = np.flatnonzero(np.concatenate(([True], step != 0)))
    first = changes[np.searchsorted(changes, jumps, side="right") - 1]
    has_run = first < jumps
    jumps, first = jumps[has_run], first[has_run]
    fits = possible(at_us, value, first, jumps + 1, limits)
    jumps, first = jumps[fits], first[fits]
    is_sure[jumps + 1] = _at_own_rate(at_us, value, first, jumps + 1)
    edges = np.zeros(len(value) + 1, dtype=np.int64)
    np.add.at(edges, first + 1, 1)
    np.add.at(edges, jumps + 1, -1)
    return np.cumsum(edges)[:-1] > 0, is_sure


def _at_own_rate(at_us: Ints, value: Floats, first: Ints, end: Ints) -> Bools:
    """Whether the rate over a frozen span is near that of the five minutes before or after."""
    rate = (value[end] - value[first]) / np.maximum(seconds_between(at_us, first, end), 1e-6)
    start_before = np.searchsorted(at_us, at_us[first] - _RATE_WINDOW_US)
    end_after = np.searchsorted(at_us, at_us[end] + _RATE_WINDOW_US, side="right") - 1
    near = np.zeros(len(rate), dtype=bool)
    for i, j in ((start_before, first), (end, end_after)):
        rate_beside = (value[j] - value[i]) / np.maximum(seconds_between(at_us, i, j), 1e-6)
        near |= (j > i) & (rate_beside > 0) & (np.abs(rate - rate_beside) <= CATCH_UP * rate_beside)
    return near
