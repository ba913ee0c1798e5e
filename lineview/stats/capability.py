"""Capability indices from quantiles, the shape of values, and how many pieces to weigh to know a mean."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.stats.means import coverage_factor

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


#: Shares below the quantiles that stand for a process's ends and middle; values looked at about one of them at first.
SHARES, NEAR = (0.00135, 0.5, 0.99865), 50


@dataclass(frozen=True)
class Indices:
    """Indices of a process against two limits, from one standard deviation.

    `c` is Cp (or Pp), `lower` and `upper` CpkL and CpkU (or PpkL, PpkU), `ck` the smaller of both.
    """

    c: float
    lower: float
    upper: float

    @property
    def ck(self) -> float:
        """Cpk, or Ppk where the standard deviation is the total one."""
        return min(self.lower, self.upper)


def quantile_indices(values: ArrayLike, low: float, high: float) -> Indices:
    """Compute the indices of a process that need not be normal, by its quantiles.

    The range from the 0.135 % to the 99.865 % quantile stands for six standard deviations, the median for
    the mean.

    Parameters
    ----------
    values : array_like
        A thousand or more for the outer quantiles to mean anything.
    low, high : float
        Its limits.

    Returns
    -------
    Indices
        Pp, PpkL and PpkU by the general geometric method.

    Raises
    ------
    MeasureError
        Where values do not spread.

    Notes
    -----
    Source: iso-22514-2

    Examples
    --------
    >>> import numpy as np
    >>> round(quantile_indices(np.linspace(0.0, 1.0, 2001), -1.0, 2.0).c, 4)
    3.0081
    """
    c, lower, upper = _indices(np.quantile(np.asarray(values, dtype=np.float64), SHARES), low, high)
    return Indices(float(c), float(lower), float(upper))


def _indices(quantiles: Floats, low: float, high: float) -> tuple[Floats, Floats, Floats]:
    least, middle, most = quantiles
    if not np.all((least < middle) & (middle < most)):
        raise MeasureError(Fault("values do not spread about their median", "values", "values that vary"))
    return (high - low) / (most - least), (middle - low) / (middle - least), (high - middle) / (most - middle)


def repeated_indices(values: Floats, group: Ints, times: Floats, low: float, high: float) -> tuple[Floats, Floats]:
    """Compute Pp and Ppk by quantiles of values whose groups are there so often, many times over.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        A thousand or more.
    group : numpy.ndarray of int, shape (n,)
        Number of each value's group, from 0.
    times : numpy.ndarray, shape (m, groups)
        How often each group is there.
    low, high : float
        Limits of the values.

    Returns
    -------
    tuple of numpy.ndarray, shape (m,) each
        As `quantile_indices` gives them of the values repeated.
    """
    order = np.argsort(values)
    values, group = values[order], group[order]
    quantiles = np.stack([_quantiles_of_repeated(values, group, times, share) for share in SHARES])
    c, lower, upper = _indices(quantiles, low, high)
    return c, np.minimum(lower, upper)


def _quantiles_of_repeated(ordered: Floats, group: Ints, times: Floats, share: float) -> Floats:
    """What numpy.quantile gives of values in order, their groups so often, without repeating them.

    Only values near the quantile are looked at one by one, so many that it is among them each time.
    """
    n, groups = ordered.size, times.shape[1]
    at = share * (times @ np.bincount(group, minlength=groups) - 1)
    below, above = np.floor(at), np.ceil(at)
    first = last = int(share * n)
    while True:
        first, last = max(0, 2 * first - last - NEAR), min(n, 2 * last - first + NEAR)
        before = times @ np.bincount(group[:first], minlength=groups)
        ends = before[:, None] + np.cumsum(times[:, group[first:last]], axis=1)
        if np.all((before <= below) & (above < ends[:, -1])):
            break
    a, b = (ordered[first + np.sum(ends <= place[:, None], axis=1)] for place in (below, above))
    t = at - below
    return np.asarray(np.where(t < 0.5, a + (b - a) * t, b - (b - a) * (1 - t)))


@dataclass(frozen=True)
class Shape:
    """Skewness and excess kurtosis of values, and the chance of so much of both if they were normal."""

    skewness: float
    kurtosis: float
    p_normal: float


def shape_of(values: ArrayLike) -> Shape:
    """Describe the shape of values and test whether it is that of a normal distribution (Jarque and Bera).

    Parameters
    ----------
    values : array_like, shape (n,)
        Independent, not all alike.

    Returns
    -------
    Shape
        From moments with divisor n.

    Examples
    --------
    >>> shape_of([1.0, 2.0, 3.0]).skewness
    0.0
    """
    from scipy.special import chdtrc

    x = np.asarray(values, dtype=np.float64)
    off = x - x.mean()
    second = float(np.mean(off**2))
    skewness = float(np.mean(off**3)) / second**1.5
    kurtosis = float(np.mean(off**4)) / second**2 - 3
    return Shape(skewness, kurtosis, float(chdtrc(2, x.size / 6 * (skewness**2 + kurtosis**2 / 4))))


@dataclass(frozen=True)
class SamplePlan:
    """A plan: `pieces` in each of `samples` a batch, over `batches`, and the half-width it gives."""

    batches: int
    samples: int
    pieces: int
    half_width: float

    @property
    def total(self) -> int:
        """All pieces weighed."""
        return self.batches * self.samples * self.pieces


def half_width(
    variances: tuple[float, float, float], batches: int, samples: int, pieces: int, level: float = 0.95
) -> float:
    """Compute the half-width of the interval that a balanced plan gives the mean of all batches.

    Source: davies-goldsmith
    """
    if batches < 2 or samples < 1 or pieces < 1:
        raise MeasureError(Fault("a plan needs two batches and a piece in each", "batches, samples, pieces"))
    between, times, piece = variances
    variance = (between + (times + piece / pieces) / samples) / batches
    return coverage_factor(batches - 1, level) * math.sqrt(variance)


def cheapest_plan(
    variances: tuple[float, float, float],
    target: float,
    *,
    most_batches: int = 400,
    most_pieces: int = 20,
    batch_effort: float = 5.0,
) -> SamplePlan | None:
    """Find the plan of least effort that knows the mean to ± a wanted half-width.

    Parameters
    ----------
    variances : tuple of float
        As in `half_width`.
    target : float
        Half-width of the 95 % interval.
    most_batches, most_pieces : int
        Bounds of the search.
    batch_effort : float
        Effort of going to the scale once, in pieces weighed.

    Returns
    -------
    SamplePlan or None
        None where no plan within the bounds is good enough.

    Examples
    --------
    >>> plan = cheapest_plan((0.0121, 0.0, 0.0625), 0.05)
    >>> plan.batches, plan.samples, plan.pieces
    (41, 1, 5)
    """
    best, least = None, math.inf
    for samples in (1, 2, 3):
        for pieces in range(1, most_pieces + 1):
            batches = _batches_needed(variances, target, samples, pieces, most_batches)
            if batches is None:
                continue
            effort = batches * samples * (batch_effort + pieces)
            if effort < least:
                width = half_width(variances, batches, samples, pieces)
                best, least = SamplePlan(batches, samples, pieces, width), effort
    return best


def _batches_needed(
    variances: tuple[float, float, float], target: float, samples: int, pieces: int, most: int
) -> int | None:
    """Find the least number of batches by halving: the half-width falls with each batch."""
    if half_width(variances, most, samples, pieces) > target:
        return None
    low, high = 1, most
    while high - low > 1:
        middle = (low + high) // 2
        if half_width(variances, middle, samples, pieces) <= target:
            high = middle
        else:
            low = middle
    return high
