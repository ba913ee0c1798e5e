"""Limits of the usual control charts: means, ranges, standard deviations, individuals, counts, shares."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from lineview.errors import Fault, MeasureError
from lineview.statistics.control_constants import control_constants

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Limits:
    """Limits of one chart with the spread they rest on and the points (from 0) beyond them."""

    chart: str
    centre: float
    low: float
    high: float
    sd: float
    outside: tuple[int, ...] = ()

    def against(self, points: Floats) -> tuple[int, ...]:
        """Give the indices of points beyond these limits."""
        return tuple(int(i) for i in np.flatnonzero((points > self.high) | (points < self.low)))


def _limits(chart: str, points: Floats, centre: float, low: float, high: float, sd: float) -> Limits:
    bare = Limits(chart, float(centre), float(low), float(high), float(sd))
    return Limits(chart, bare.centre, bare.low, bare.high, bare.sd, bare.against(points))


def subgroup_limits(groups: Floats) -> tuple[Limits, Limits, Limits]:
    """Give the limits of the mean chart (from ranges), the range chart and the standard-deviation chart.

    Parameters
    ----------
    groups : numpy.ndarray, shape (m, n)
        m subgroups of n readings each, n 2 or more; readings within a subgroup independent.

    Returns
    -------
    tuple of Limits
        Means, ranges, standard deviations, in this order.

    Raises
    ------
    MeasureError
        Where subgroups have fewer than two readings.

    Notes
    -----
    Source: nist-handbook, iso-7870-2

    Examples
    --------
    >>> import numpy as np
    >>> means, ranges, _ = subgroup_limits(np.array([[1.0, 3.0], [2.0, 4.0]]))
    >>> means.centre, ranges.centre
    (2.5, 2.0)
    """
    if groups.ndim != 2 or groups.shape[1] < 2:
        raise MeasureError(Fault("subgroups too small", "groups", "m x n with n of 2 or more"))
    n = groups.shape[1]
    known = control_constants(n)
    means, ranges, sds = groups.mean(axis=1), np.ptp(groups, axis=1), groups.std(axis=1, ddof=1)
    centre, mean_range, mean_sd = means.mean(), ranges.mean(), sds.mean()
    sd = mean_range / known.d2
    half = 3 * sd / sqrt(n)
    d3, d4 = known.range_limits
    b3, b4 = known.sd_limits
    return (
        _limits("mean", means, centre, centre - half, centre + half, sd),
        _limits("range", ranges, mean_range, d3 * mean_range, d4 * mean_range, sd),
        _limits("standard deviation", sds, mean_sd, b3 * mean_sd, b4 * mean_sd, mean_sd / known.c4),
    )


def individuals_limits(x: Floats, *, d2: float | None = None) -> tuple[Limits, Limits]:
    """Give the limits of the individuals chart and of the moving-range chart.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
        Single values in order, two or more, independent.
    d2 : float, optional
        Mean relative range of two; by default 1.128, as the tables print it.

    Returns
    -------
    tuple of Limits
        Individuals, moving ranges of two; a moving range's index is that of the later value less one.

    Raises
    ------
    MeasureError
        Where there are fewer than two values.

    Notes
    -----
    Source: nist-handbook, iso-7870-2

    Examples
    --------
    >>> import numpy as np
    >>> individuals_limits(np.array([49.6, 47.6, 49.9]))[1].centre.__round__(2)
    2.15
    """
    if x.size < 2:
        raise MeasureError(Fault("too few values for a moving range", "x", "two or more"))
    printed = 1.128 if d2 is None else d2
    ranges = np.abs(np.diff(x))
    mean, mean_range = x.mean(), ranges.mean()
    sd = mean_range / printed
    upper = control_constants(2).range_limits[1] * mean_range
    return (
        _limits("individuals", x, mean, mean - 3 * sd, mean + 3 * sd, sd),
        _limits("moving range", ranges, mean_range, 0.0, upper, sd),
    )


def count_limits(counts: Floats) -> Limits:
    """Give the limits of the chart of counts of equal chance (c chart).

    Parameters
    ----------
    counts : numpy.ndarray, shape (n,)
        Counts a unit of equal size.

    Returns
    -------
    Limits
        Three standard deviations of a Poisson count, not below 0.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> import numpy as np
    >>> count_limits(np.array([16.0, 16.0])).high
    28.0
    """
    centre = float(counts.mean())
    sd = sqrt(centre)
    return _limits("count", counts, centre, max(0.0, centre - 3 * sd), centre + 3 * sd, sd)


def share_limits(hits: Floats, n: int) -> Limits:
    """Give the limits of the chart of shares of n (p chart).

    Parameters
    ----------
    hits : numpy.ndarray, shape (m,)
        Hits in each sample.
    n : int
        Size of every sample.

    Returns
    -------
    Limits
        Three binomial standard deviations, within 0 and 1.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> import numpy as np
    >>> share_limits(np.array([5.0, 5.0]), 10).centre
    0.5
    """
    shares = hits / n
    centre = float(shares.mean())
    sd = sqrt(centre * (1 - centre) / n)
    return _limits("share", shares, centre, max(0.0, centre - 3 * sd), min(1.0, centre + 3 * sd), sd)


def acceptance_limits(
    *, low: float, high: float, sd: float, n: int, share_outside: float
) -> tuple[float, float]:
    """Give modified limits for a mean that may wander inside the tolerance.

    Parameters
    ----------
    low, high : float
        The tolerance.
    sd : float
        Standard deviation of a single value.
    n : int
        Size of a sample.
    share_outside : float
        Share of single values that may lie outside the tolerance.

    Returns
    -------
    tuple of float
        Lower and upper limit for a sample's mean.

    Notes
    -----
    Source: acceptance-limits

    Examples
    --------
    >>> limits = acceptance_limits(low=13.6, high=14.4, sd=0.06, n=5, share_outside=0.01)
    >>> [round(v, 5) for v in limits]
    [13.65908, 14.34092]
    """
    from statistics import NormalDist

    inset = (NormalDist().inv_cdf(1 - share_outside) - 3 / sqrt(n)) * sd
    return low + inset, high - inset
