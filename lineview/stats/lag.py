"""The delay between two series by cross-correlation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Lag:
    """The delay at which two series go together best, and how well.

    `clear` tells whether so high a correlation is unlikely (under 1 %) among as many delays by chance; then
    `low` and `high` bound the delay with 95 % confidence, by how much worse other delays fit.
    """

    lag: float
    correlation: float
    n: int
    clear: bool
    low: float
    high: float


def best_lag(
    at_s: Floats,
    values: Floats,
    groups: Floats,
    sampled: list[Floats],
    lags: list[float],
    weights: Floats | None = None,
) -> Lag:
    """Find the delay at which a series explains values best, within groups.

    Parameters
    ----------
    at_s : numpy.ndarray, shape (n,)
        Moments of the values [s]; only their number counts here.
    values : numpy.ndarray, shape (n,)
        Values.
    groups : numpy.ndarray, shape (n,)
        Group of each (batch); means of groups are taken out first, as they would correlate at any delay.
    sampled : list of numpy.ndarray, shape (n,) each
        The other series as it was each delay before; nan where it has no reading.
    lags : list of float
        The delays [s].
    weights : numpy.ndarray, shape (n,), optional
        Of the values: one over the variance of each, as a mean of several counts for more.

    Returns
    -------
    Lag
        The best delay; correlation 0 and not clear where nothing overlaps.

    Notes
    -----
    A delay lies within the limits where its residual sum of squares is at most
    1 + F(0.95; 1, n - 2) / (n - 2) times the least one, which for many values is the chi-square limit of
    the profile likelihood.
    """
    from scipy.special import fdtri

    tried: list[tuple[float, float, int]] = []
    for lag, series in zip(lags, sampled, strict=True):
        usable = np.isfinite(series) & np.isfinite(values)
        if int(usable.sum()) < 8:
            continue
        w = np.ones(int(usable.sum())) if weights is None else weights[usable]
        x, g = centred(values[usable], groups[usable], w)
        y, _ = centred(series[usable], groups[usable], w)
        scale = math.sqrt(float((w * x) @ x) * float((w * y) @ y))
        tried.append((lag, float((w * x) @ y) / scale if scale > 0 else 0.0, int(usable.sum()) - g))
    if not tried:
        return Lag(0.0, 0.0, 0, False, 0.0, 0.0)
    lag, r, n = max(tried, key=lambda t: t[1])
    # Delays at which the fit is not clearly worse.
    most = max(1 - r * r, 1e-12) * (1 + float(fdtri(1, max(n - 2, 1), 0.95)) / max(n - 2, 1))
    near = [t for t, s, _ in tried if s > 0 and 1 - s * s < most]
    return Lag(lag, r, n, _clear(r, n, len(tried)), min(near, default=lag), max(near, default=lag))


def centred(values: Floats, groups: Floats, weights: Floats | None = None) -> tuple[Floats, int]:
    """Take out group means.

    Parameters
    ----------
    values, groups : numpy.ndarray, shape (n,)
        Values and the group of each.
    weights : numpy.ndarray, shape (n,), optional
        For the means; all alike where not given.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Deviations from the group's mean.
    int
        The number of groups.

    Examples
    --------
    >>> import numpy as np
    >>> centred(np.array([1.0, 3.0, 5.0]), np.array([0, 0, 1]))[0].tolist()
    [-1.0, 1.0, 0.0]
    """
    _, index = np.unique(groups, return_inverse=True)
    w = np.ones(values.size) if weights is None else weights
    means = np.bincount(index, weights=w * values) / np.bincount(index, weights=w)
    return np.asarray(values - means[index], dtype=np.float64), int(index.max()) + 1


def _clear(r: float, n: int, tried: int) -> bool:
    """Compare with the greatest of as many chance correlations (Fisher's z)."""
    from scipy.special import ndtri

    if n < 6 or r <= 0:
        return False
    z = math.atanh(min(r, 1 - 1e-12)) * math.sqrt(n - 3)
    return z > float(ndtri(1 - 0.01 / max(tried, 1)))
