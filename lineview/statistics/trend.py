"""Trends without a model: Kendall's test and the median of slopes, whole and season by season."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Kendall:
    """Kendall's score with its variance, tau a and tau b, normal score and two-sided probability."""

    s: float
    variance: float
    tau_a: float
    tau_b: float
    z: float
    p: float


def mann_kendall(y: Floats) -> Kendall:
    """Test for a trend in values in order, ties allowed for.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order of time, independent where there is no trend.

    Returns
    -------
    Kendall
        With the score brought one nearer to 0 for continuity.

    Notes
    -----
    Source: epa-unified-guidance

    Examples
    --------
    >>> import numpy as np
    >>> mann_kendall(np.array([1.0, 2.0, 3.0, 4.0])).s
    6.0
    """
    n = y.size
    s = _score(y)
    variance = _variance(y)
    pairs = n * (n - 1) / 2
    counts = np.unique(y, return_counts=True)[1]
    untied = pairs - float(np.sum(counts * (counts - 1) / 2))
    z, p = _normal(s, variance)
    return Kendall(s, variance, s / pairs, s / sqrt(pairs * untied) if untied else 0.0, z, p)


def _score(y: Floats) -> float:
    return float(sum(float(np.sign(y[i + 1 :] - y[i]).sum()) for i in range(y.size - 1)))


def _variance(y: Floats) -> float:
    n = y.size
    t = np.unique(y, return_counts=True)[1].astype(np.float64)
    return float((n * (n - 1) * (2 * n + 5) - np.sum(t * (t - 1) * (2 * t + 5))) / 18)


def _normal(s: float, variance: float) -> tuple[float, float]:
    z = 0.0 if s == 0 or variance <= 0 else (s - np.sign(s)) / sqrt(variance)
    return float(z), erfc(abs(z) / sqrt(2))


@dataclass(frozen=True)
class MedianSlope:
    """The median of all pairs' slopes, the line's intercept and a 95 % interval of the slope."""

    slope: float
    intercept: float
    low: float
    high: float


def median_slope(t: Floats, y: Floats, level: float = 0.95) -> MedianSlope:
    """Give the median of the slopes of all pairs (Theil–Sen).

    Parameters
    ----------
    t, y : numpy.ndarray, shape (n,)
        Times and values.
    level : float
        Of the interval.

    Returns
    -------
    MedianSlope
        The intercept is median(y) − slope × median(t); the interval's ends lie between ordered slopes.

    Notes
    -----
    Source: epa-unified-guidance

    Examples
    --------
    >>> import numpy as np
    >>> median_slope(np.arange(5.0), np.array([0.0, 1.0, 2.0, 3.0, 10.0])).slope
    1.0
    """
    from statistics import NormalDist

    i, j = np.triu_indices(y.size, 1)
    apart = t[j] - t[i]
    slopes = np.sort((y[j] - y[i])[apart != 0] / apart[apart != 0])
    slope = float(np.median(slopes))
    reach = NormalDist().inv_cdf((1 + level) / 2) * sqrt(_variance(y))
    order = np.arange(1, slopes.size + 1)
    low = float(np.interp((slopes.size - reach) / 2, order, slopes))
    high = float(np.interp((slopes.size + reach) / 2 + 1, order, slopes))
    return MedianSlope(slope, float(np.median(y)) - slope * float(np.median(t)), low, high)


@dataclass(frozen=True)
class SeasonalKendall:
    """Kendall's score summed over seasons, with the median of the slopes within seasons and the mean tau."""

    s: float
    variance: float
    z: float
    p: float
    slope: float
    tau: float


def seasonal_kendall(seasons: Sequence[tuple[Floats, Floats]]) -> SeasonalKendall:
    """Test for a trend within seasons, so that what returns every season cannot pass for one.

    Parameters
    ----------
    seasons : sequence of (numpy.ndarray, numpy.ndarray)
        Times and values of each season.

    Returns
    -------
    SeasonalKendall
        Seasons taken as independent.

    Notes
    -----
    Source: epa-unified-guidance

    Examples
    --------
    >>> import numpy as np
    >>> one = (np.arange(3.0), np.array([1.0, 2.0, 3.0]))
    >>> seasonal_kendall([one, one]).s
    6.0
    """
    s = sum(_score(y) for _, y in seasons)
    variance = sum(_variance(y) for _, y in seasons)
    z, p = _normal(s, variance)
    slopes = []
    for t, y in seasons:
        i, j = np.triu_indices(y.size, 1)
        slopes.append((y[j] - y[i]) / (t[j] - t[i]))
    pairs = np.array([y.size * (y.size - 1) / 2 for _, y in seasons])
    taus = np.array([_score(y) for _, y in seasons]) / pairs
    weight = np.array([y.size for _, y in seasons], dtype=np.float64)
    return SeasonalKendall(
        s, variance, z, p, float(np.median(np.concatenate(slopes))), float(taus @ weight / weight.sum())
    )
