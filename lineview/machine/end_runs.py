"""Readings at either end of a window that no count leads to or from: what an export writes where nothing answers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineview.machine.increments import Limits, possible
from lineview.machine.speed import Floats, Ints


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
