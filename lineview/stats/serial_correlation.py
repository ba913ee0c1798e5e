"""How values of a series depend on each other, on another series and on a period."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Values with the other series beside them that a delay needs.
LEAST_FOR_DELAY = 8
#: Chance that the greatest of all correlations tried is called clear where there is none.
FALSE_DELAY = 0.01
#: Values, turns of the period, and frequencies beside it that a ripple needs.
LEAST_FOR_RIPPLE, LEAST_TURNS, LEAST_BESIDE = 60, 20, 80
#: Points of the even grid at most, and how many times finer than the series' own the frequencies lie.
MOST_POINTS, FINER = 2**20, 4


def decaying_sum(x: Floats, decay: float) -> Floats:
    """Sum values along the first axis, each step multiplying what was summed before by a factor.

    Solved as the banded triangular system that it is: `scipy.signal.lfilter` gives the same numbers, but
    importing scipy.signal loads scipy.stats, which costs more time than an answer may take.
    """
    from scipy.linalg.lapack import dtbtrs

    if not x.size:
        return x
    band = np.ones((2, x.shape[0]))
    band[1] = -decay
    total, _ = dtbtrs(band, x.reshape(x.shape[0], -1), uplo="L", diag="U")
    return np.asarray(total, dtype=np.float64).reshape(x.shape)


def autocorrelations(x: Floats, lags: int) -> Floats:
    """Autocorrelations at lags 1 to `lags`, divided by the whole sum of squares.

    Source: nist-handbook
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
    """Test whether residuals depend on each other.

    Parameters
    ----------
    residuals : numpy.ndarray, shape (n,)
        In order.
    lags : int
        Autocorrelations that are pooled, of as many as there are.
    fitted : int
        Fitted parameters of the noise model, taken off the degrees of freedom.

    Returns
    -------
    LjungBox
        A small p means that they do.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> import numpy as np
    >>> ljung_box(np.array([1.0, -1.0] * 20), 2).p < 1e-9
    True
    """
    from scipy.special import chdtrc

    n, lags = residuals.size, min(lags, residuals.size - 1)
    r = autocorrelations(residuals, lags)
    statistic = float(n * (n + 2) * np.sum(r**2 / (n - np.arange(1, lags + 1))))
    df = max(1, lags - fitted)
    return LjungBox(statistic, df, float(chdtrc(df, statistic)))


def effective_n(n: int, phi: float) -> float:
    """Count the independent values whose mean is as sure as that of n values of an AR(1) series.

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

    `clear` says whether so high a correlation is unlikely (under 1 %) among as many delays by chance; then
    `low` and `high` bound the delay with 95 % confidence, by how much worse other delays fit.
    """

    lag: float
    correlation: float
    n: int
    clear: bool
    low: float
    high: float


def best_lag(
    values: Floats, groups: Floats, delayed: list[Floats], lags: list[float], weights: Floats | None = None
) -> Lag:
    """Find the delay at which another series explains values best, within groups.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        Values.
    groups : numpy.ndarray, shape (n,)
        Group of each (batch); means of groups are taken out first, as they would correlate at any delay.
    delayed : list of numpy.ndarray, shape (n,) each
        The other series as it was each delay before; nan where it has no reading.
    lags : list of float
        The delays [s].
    weights : numpy.ndarray, shape (n,), optional
        One over the variance of each value.

    Returns
    -------
    Lag
        The best delay; correlation 0 and not clear where nothing overlaps.

    Notes
    -----
    A delay lies within the limits where its residual sum of squares is at most
    1 + F(0.95; 1, n - 2) / (n - 2) times the least, which for many values is the chi-square limit of
    the profile likelihood. Values are at uneven moments, in groups and weighted, so that a cross-correlation
    of even series does not apply.
    """
    from scipy.special import fdtri

    candidates: list[tuple[float, float, int]] = []
    group = np.unique(groups, return_inverse=True)[1]
    for lag, series in zip(lags, delayed, strict=True):
        usable = np.isfinite(series) & np.isfinite(values)
        if int(usable.sum()) < LEAST_FOR_DELAY:
            continue
        w = np.ones(int(usable.sum())) if weights is None else weights[usable]
        x, y = (_deviations(part[usable], group[usable], w) for part in (values, series))
        n_groups = int(np.count_nonzero(np.bincount(group[usable])))
        scale = math.sqrt(float((w * x) @ x) * float((w * y) @ y))
        candidates.append((lag, float((w * x) @ y) / scale if scale > 0 else 0.0, w.size - n_groups))
    if not candidates:
        return Lag(0.0, 0.0, 0, False, 0.0, 0.0)
    lag, r, n = max(candidates, key=lambda t: t[1])
    most = max(1 - r * r, 1e-12) * (1 + float(fdtri(1, max(n - 2, 1), 0.95)) / max(n - 2, 1))
    near = [t for t, s, _ in candidates if s > 0 and 1 - s * s < most]
    return Lag(lag, r, n, _is_clear(r, n, len(candidates)), min(near, default=lag), max(near, default=lag))


def _deviations(values: Floats, group: NDArray[np.int64], weights: Floats) -> Floats:
    """Deviations from the weighted mean of each group."""
    total = np.bincount(group, weights)
    means = np.bincount(group, weights * values) / np.where(total > 0, total, 1.0)
    return np.asarray(values - means[group], dtype=np.float64)


def _is_clear(r: float, n: int, count: int) -> bool:
    """Compare a correlation with the greatest of as many by chance (Fisher's z)."""
    from scipy.special import ndtri

    if n < 6 or r <= 0:
        return False
    z = math.atanh(min(r, 1 - 1e-12)) * math.sqrt(n - 3)
    return z > float(ndtri(1 - FALSE_DELAY / max(count, 1)))


@dataclass(frozen=True)
class Ripple:
    """A ripple at one period [s]: amplitude in the series' unit, and the chance of one as strong by noise."""

    period_s: float
    amplitude: float
    chance: float


def ripple_at(seconds: Floats, x: Floats, period_s: float, spread: float = 0.03, side: float = 0.5) -> Ripple | None:
    """Look for a ripple near one period.

    The power at the period is compared with the power in bands beside it, so that autocorrelated noise,
    which is stronger at long periods, does not pass for a ripple.

    Parameters
    ----------
    seconds : numpy.ndarray, shape (n,)
        Times in order [s].
    x : numpy.ndarray, shape (n,)
        Values.
    period_s : float
        Expected period [s].
    spread : float
        Share by which the true period may differ.
    side : float
        Width of the bands beside it, as a share of its frequency.

    Returns
    -------
    Ripple or None
        None where readings are too slow or too few.

    Notes
    -----
    Source: periodogram, derived-rope, baluev-2008

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(2000.0)
    >>> x = 0.1 * np.sin(2 * np.pi * t / 7.3) + np.random.default_rng(1).standard_normal(2000) * 0.2
    >>> ripple = ripple_at(t, x, 7.25)
    >>> round(ripple.period_s, 1), ripple.chance < 1e-6
    (7.3, True)
    """
    n = x.size
    if n < LEAST_FOR_RIPPLE or period_s < 2.2 * float(np.median(np.diff(seconds))):
        return None
    span = float(seconds[-1] - seconds[0])
    if span < LEAST_TURNS * period_s:
        return None
    frequency, power = _periodogram(seconds, x)
    reach = max(side / period_s, 60 / span)
    lowest, highest = (1 - spread) / period_s, (1 + spread) / period_s
    near = np.flatnonzero((frequency >= lowest) & (frequency <= highest))
    beside = (frequency > max(2 / span, lowest - reach)) & (frequency < highest + reach)
    beside[near] = False
    if near.size == 0 or int(beside.sum()) < LEAST_BESIDE:
        return None
    floor = float(power[beside].mean())
    best = int(near[np.argmax(power[near])])
    strength = float(power[best]) / floor if floor > 0 else 0.0
    chance = _chance_of_peak(strength, (highest - lowest) * span)
    return Ripple(1 / float(frequency[best]), 2 * math.sqrt(float(power[best]) / n), chance)


def _chance_of_peak(strength: float, turns: float) -> float:
    """Chance that noise is so many times its mean power anywhere in a band of so many turns over the span."""
    if strength <= 0.0:
        return 1.0
    tail = math.exp(-strength)  # at one frequency; the rest is that it is passed within the band
    return -math.expm1(math.log1p(-tail) - math.sqrt(math.pi / 3.0 * strength) * turns * tail)


def _periodogram(seconds: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Frequencies [1/s] and power |Σ x e^(−iωt)|² / n of readings laid on an even grid, gaps left empty.

    One fast transform: `scipy.signal.lombscargle` takes each frequency by itself, 100,000 times the
    work for 40,000 readings, and loads scipy.stats.
    """
    between = float(np.median(np.diff(seconds)))
    place = np.round((seconds - seconds[0]) / between).astype(np.int64)
    inside = place < MOST_POINTS
    grid = np.zeros(int(place[inside][-1]) + 1)
    grid[place[inside]] = x[inside] - x[inside].mean()
    size = FINER * 2 ** int(np.ceil(np.log2(grid.size)))
    power = np.abs(np.fft.rfft(grid, size)) ** 2 / int(inside.sum())
    return np.arange(power.size) / (size * between), power
