"""How values of a series depend on each other, on another series and on a period."""

from __future__ import annotations

import math
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def autocorrelations(x: Floats, lags: int) -> Floats:
    """Give the autocorrelations at lags 1 to `lags`.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
        Values in order.
    lags : int
        How many.

    Returns
    -------
    numpy.ndarray, shape (lags,)
        With the usual divisor, the whole sum of squares.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> import numpy as np
    >>> autocorrelations(np.array([1.0, -1.0, 1.0, -1.0]), 1).tolist()
    [-0.75]
    """
    d = x - x.mean()
    total = float(d @ d)
    return np.array([float(d[k:] @ d[:-k]) / total for k in range(1, lags + 1)])


@dataclass(frozen=True)
class LjungBox:
    """The statistic, its degrees of freedom and the probability of one as large by chance."""

    statistic: float
    df: int
    p: float


def ljung_box(residuals: Floats, lags: int, fitted: int = 0) -> LjungBox:
    """Test whether residuals still depend on each other.

    Parameters
    ----------
    residuals : numpy.ndarray, shape (n,)
        In order.
    lags : int
        How many autocorrelations are pooled.
    fitted : int
        Parameters of the noise model that were fitted (taken off the degrees of freedom).

    Returns
    -------
    LjungBox
        A small p says that they do.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> import numpy as np
    >>> ljung_box(np.array([1.0, -1.0] * 20), 2).p < 1e-9
    True
    """
    from scipy.special import gammaincc

    n = residuals.size
    r = autocorrelations(residuals, lags)
    statistic = float(n * (n + 2) * np.sum(r**2 / (n - np.arange(1, lags + 1))))
    df = max(1, lags - fitted)
    return LjungBox(statistic, df, float(gammaincc(df / 2, statistic / 2)))


def effective_n(n: int, phi: float) -> float:
    """Give the number of independent values that n values of an AR(1) series are worth.

    Parameters
    ----------
    n : int
        Values in a row.
    phi : float
        Correlation of neighbours.

    Returns
    -------
    float
        n over 1 + 2 Σ (1 − k/n) φ^k.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> round(effective_n(50, 0.8), 4)
    6.0976
    """
    k = np.arange(1, n)
    return float(n / (1 + 2 * np.sum((1 - k / n) * float(phi) ** k)))


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


@dataclass(frozen=True)
class Ripple:
    """A ripple at one period [s]: amplitude in the series' unit, and the chance of one as strong by noise."""

    period_s: float
    amplitude: float
    chance: float


def ripple_at(
    seconds: Floats, x: Floats, period_s: float, spread: float = 0.03, side: float = 0.5
) -> Ripple | None:
    """Look for a ripple near one period.

    The power at the period is compared with the power in bands beside it, so that noise with memory, which is
    stronger at long periods, does not pass for a ripple.

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        Times in order [s].
    x : numpy.ndarray, shape (n,)
        Values.
    period_s : float
        Period looked for [s].
    spread : float
        Share by which the true period may differ.
    side : float
        Width of the bands beside it, as a share of its frequency.

    Returns
    -------
    Ripple or None
        None where readings are too slow or too few to tell.

    Notes
    -----
    Source: periodogram, derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(2000.0)
    >>> x = 0.1 * np.sin(2 * np.pi * t / 7.3) + np.random.default_rng(1).standard_normal(2000) * 0.2
    >>> found = ripple_at(t, x, 7.25)
    >>> round(found.period_s, 1), found.chance < 1e-6
    (7.3, True)
    """
    n = x.size
    if n < 60 or period_s < 2.2 * float(np.median(np.diff(seconds))):
        return None
    span = float(seconds[-1] - seconds[0])
    if span < 20 * period_s:
        return None
    frequency, power = periodogram(seconds, x)
    reach = max(side / period_s, 60 / span)
    lowest, highest = (1 - spread) / period_s, (1 + spread) / period_s
    near = np.flatnonzero((frequency >= lowest) & (frequency <= highest))
    beside = (frequency > max(2 / span, lowest - reach)) & (frequency < highest + reach)
    beside[near] = False
    if near.size == 0 or int(beside.sum()) < 80:
        return None
    floor = float(power[beside].mean())
    best = int(near[np.argmax(power[near])])
    places = max(1.0, (highest - lowest) * span)
    strength = float(power[best]) / floor if floor > 0 else 0.0
    chance = 1 - (1 - exp(-strength)) ** places if strength < 30 else exp(max(-700.0, log(places) - strength))
    return Ripple(1 / float(frequency[best]), 2 * sqrt(float(power[best]) / n), float(chance))


#: Points of the even grid at most, and how many times finer than the series' own the frequencies lie.
MOST, FINER = 2**20, 4


def periodogram(seconds: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Give the power of a series at all frequencies, readings laid on an even grid, gaps left empty.

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        Times in order [s].
    x : numpy.ndarray, shape (n,)
        Values.

    Returns
    -------
    tuple of numpy.ndarray, shapes (m,) and (m,)
        Frequencies [1/s] and |Σ x e^(−iωt)|² / n; a sine of amplitude a has n a² / 4.

    Notes
    -----
    Source: periodogram

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(100.0)
    >>> frequency, power = periodogram(t, np.sin(2 * np.pi * t / 10))
    >>> round(float(frequency[np.argmax(power)]), 3), round(float(power.max()))
    (0.1, 25)
    """
    between = float(np.median(np.diff(seconds)))
    place = np.round((seconds - seconds[0]) / between).astype(np.int64)
    kept = place < MOST
    grid = np.zeros(int(place[kept][-1]) + 1)
    grid[place[kept]] = x[kept] - x[kept].mean()
    size = FINER * 2 ** int(np.ceil(np.log2(grid.size)))
    spectrum = np.fft.rfft(grid, size)
    power = np.abs(spectrum) ** 2 / int(kept.sum())
    return np.arange(power.size) / (size * between), power
