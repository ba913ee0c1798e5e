"""Roots between two points and least values of functions: scipy.optimize takes too long to import."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lineview.core.errors import Fault, MeasureError

Floats = NDArray[np.float64]

#: Rounds of either search at most, and the least step [share of the place].
ROUNDS, LEAST_STEP = 200, 4 * float(np.finfo(float).eps)
#: By how much sums of some thousand terms differ for their rounding alone [share of the sum].
ROUNDING = 64 * float(np.finfo(float).eps)
#: How far beside a place slopes are looked at, and how far from a start a least value may lie.
STEP, REACH = 0.01, 18.0


def root_between(f: Callable[[float], float], low: float, high: float, tolerance: float = 2e-12) -> float:
    """Find where a function changes its sign, by Brent's method.

    Parameters
    ----------
    f : callable
        Continuous.
    low, high : float
        Where its signs differ.
    tolerance : float
        How far off the root may be.

    Returns
    -------
    float
        The root.

    Raises
    ------
    MeasureError
        Where the signs do not differ.

    Notes
    -----
    Source: brent-1973

    Examples
    --------
    >>> round(root_between(lambda x: x**2 - 2, 0.0, 2.0), 6)
    1.414214
    """
    before, here = low, high
    f_before, f_here = f(before), f(here)
    if f_before * f_here > 0:
        raise MeasureError(Fault("no change of sign", "f", "bounds with the root between them"))
    other, f_other, step, last = before, f_before, here - before, here - before
    for _ in range(ROUNDS):
        if f_here * f_other > 0:
            other, f_other = before, f_before
            step = last = here - before
        if abs(f_other) < abs(f_here):
            before, here, other = here, other, here
            f_before, f_here, f_other = f_here, f_other, f_here
        least = (tolerance + LEAST_STEP * abs(here)) / 2
        half = (other - here) / 2
        if f_here == 0 or abs(half) < least:
            return here
        step, last = _next_step((before, f_before), (here, f_here), (other, f_other), (step, last), least)
        before, f_before = here, f_here
        here += step if abs(step) > least else float(np.copysign(least, half))
        f_here = f(here)
    return here


def _next_step(
    before: tuple[float, float],
    here: tuple[float, float],
    other: tuple[float, float],
    steps: tuple[float, float],
    least: float,
) -> tuple[float, float]:
    """Step by a line or an inverse parabola where that is short, else by halving; and the one before."""
    half = (other[0] - here[0]) / 2
    if abs(steps[1]) < least or abs(here[1]) >= abs(before[1]):
        return half, half
    ratio = here[1] / before[1]
    if before[0] == other[0]:
        over, under = 2 * half * ratio, 1 - ratio
    else:
        q, r = before[1] / other[1], here[1] / other[1]
        over = ratio * (2 * half * q * (q - r) - (here[0] - before[0]) * (r - 1))
        under = (q - 1) * (r - 1) * (ratio - 1)
    if over > 0:
        under = -under
    over = abs(over)
    if 2 * over < min(3 * half * under - abs(least * under), abs(steps[1] * under)):
        return over / under, steps[0]
    return half, half


def least_value(f: Callable[[Floats], Floats], start: Floats) -> Floats | None:
    """Find where a function of a place a row is least near a start, by Newton's method; None where it is nowhere near.

    Slopes are of the fourth order; where the function bends down steps go as if it bent up, and are halved to go down.
    """
    n = start.size
    steps, (first, second) = STEP * np.eye(n), np.triu_indices(n, 1)
    both = steps[first] + steps[second]
    around = np.concatenate([0 * steps[:1], steps, -steps, 2 * steps, -2 * steps, both, -both])
    ends = np.cumsum([1, *4 * [n], first.size])
    place, best, least = start, start, np.inf
    for _ in range(ROUNDS):
        here, up, down, further_up, further_down, over, under = np.split(f(place + around), ends)
        if not here[0] <= least + ROUNDING * abs(least):
            place = (place + best) / 2
            continue
        best, least = place, float(here[0])
        slope = (8 * (up - down) - (further_up - further_down)) / (12 * STEP)
        bend = np.diag(up + down - 2 * here)
        bend[second, first] = (over + under + 2 * here - (up + down)[first] - (up + down)[second]) / 2
        size, direction = np.linalg.eigh(bend / STEP**2)
        step = -direction @ (slope @ direction / np.maximum(np.abs(size), 1e-300))
        place = best + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() <= 1e-9:
            return place if size[0] > 0 else None
        if np.abs(place - start).max() > REACH:
            return None
    return None
