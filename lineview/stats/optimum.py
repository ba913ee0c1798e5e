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
#: How far beside a place slopes are looked at, and how often.
SLOPE_STEP, SLOPE_ROUNDS = 0.01, 15


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


def least_value(
    f: Callable[[Floats], float], start: Floats, x_tolerance: float, f_tolerance: float, most: int
) -> tuple[Floats, float]:
    """Find where a function is least near a start, by the simplex of Nelder and Mead.

    Values that differ by no more than the rounding of a double count as equal: no further step can tell them apart.
    Source: nelder-mead-1965
    """
    n = start.size
    corners = np.tile(start, (n + 1, 1))
    for k in range(n):
        corners[k + 1, k] = start[k] * 1.05 if start[k] != 0 else 0.00025
    values = np.array([f(corner) for corner in corners])
    for _ in range(most):
        order = np.argsort(values)
        corners, values = corners[order], values[order]
        near = np.max(np.abs(corners[1:] - corners[0])) <= x_tolerance
        if near and np.max(np.abs(values[0] - values[1:])) <= max(f_tolerance, ROUNDING * abs(values[0])):
            break
        moved = _new_corner(f, corners, values)
        if moved is None:
            corners[1:] = corners[0] + 0.5 * (corners[1:] - corners[0])
            values[1:] = [f(corner) for corner in corners[1:]]
        else:
            corners[-1], values[-1] = moved
    best = int(np.argmin(values))
    return corners[best], float(values[best])


def least_by_slopes(f: Callable[[Floats], Floats], start: Floats) -> Floats | None:
    """Find where a function of a place a row is least near a start, by Newton's steps; None where it bends down."""
    one = SLOPE_STEP * np.eye(start.size)
    first, second = np.triu_indices(start.size, 1)
    both = one[first] + one[second]
    around = np.concatenate([0 * one[:1], one, -one, 2 * one, -2 * one, both, -both])
    ends = np.cumsum([1, *4 * [start.size], first.size])
    place: Floats = start
    for _ in range(SLOPE_ROUNDS):
        here, up, down, further_up, further_down, over, under = np.split(f(place + around), ends)
        slope = (8 * (up - down) - (further_up - further_down)) / (12 * SLOPE_STEP)
        bend = np.diag(up + down - 2 * here)
        bend[first, second] = (over + under + 2 * here - (up + down)[first] - (up + down)[second]) / 2
        bend = (bend + np.triu(bend, 1).T) / SLOPE_STEP**2
        if not np.linalg.eigvalsh(bend)[0] > 0:
            return None
        step = np.linalg.solve(bend, -slope)
        place = place + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() <= 1e-9:
            return place
    return None


def _new_corner(f: Callable[[Floats], float], corners: Floats, values: Floats) -> tuple[Floats, float] | None:
    """Where the worst corner goes, and the value there; None where the simplex must shrink."""
    middle, worst = corners[:-1].mean(axis=0), corners[-1]

    def along(reach: float) -> tuple[Floats, float]:
        place = (1 + reach) * middle - reach * worst
        return place, f(place)

    mirrored = along(1.0)
    if mirrored[1] < values[0]:
        further = along(2.0)
        return further if further[1] < mirrored[1] else mirrored
    if mirrored[1] < values[-2]:
        return mirrored
    if mirrored[1] < values[-1]:
        outside = along(0.5)
        return outside if outside[1] <= mirrored[1] else None
    inside = along(-0.5)
    return inside if inside[1] < values[-1] else None
