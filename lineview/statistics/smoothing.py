"""Exponential smoothing by its recursions: simple, seasonal, and for demand that comes now and then."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineview.errors import Fault, MeasureError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Smoothed:
    """One-step forecasts `fitted` from the second value on, their squared errors' sum, and the next one."""

    fitted: Floats
    sse: float
    forecast: float


def simple_smoothing(y: npt.ArrayLike, alpha: float) -> Smoothed:
    """Smooth a series whose level wanders: S₂ = y₁, then Sₜ = α yₜ₋₁ + (1 − α) Sₜ₋₁.

    Parameters
    ----------
    y : array_like, shape (n,)
        Two values or more.
    alpha : float
        Weight of the newest value, above 0 up to 1.

    Returns
    -------
    Smoothed
        Fitted values from the second on.

    Notes
    -----
    Source: nist-handbook
    """
    values = _series(y, 2)
    _weight(alpha=alpha)
    fitted = [float(values[0])]
    for value in values[1:]:
        fitted.append(alpha * float(value) + (1.0 - alpha) * fitted[-1])
    known = np.array(fitted[:-1])
    return Smoothed(known, float(((values[1:] - known) ** 2).sum()), fitted[-1])


@dataclass(frozen=True)
class Seasonal:
    """State of a series with trend and season after its last value; `season` begins with the next period."""

    level: float
    trend: float
    season: Floats
    sse: float

    def forecast(self, steps: int) -> Floats:
        """Give the forecasts of the coming periods."""
        ahead = np.arange(1, steps + 1)
        return np.asarray((self.level + ahead * self.trend) * self.season[(ahead - 1) % len(self.season)])


def seasonal_smoothing(
    y: npt.ArrayLike,
    *,
    alpha: float,
    beta: float,
    gamma: float,
    level: float,
    trend: float,
    season: npt.ArrayLike,
) -> Seasonal:
    """Smooth level, trend and multiplicative season (Holt and Winters).

    Parameters
    ----------
    y : array_like, shape (n,)
        Values from the first period after the start values.
    alpha, beta, gamma : float
        Weights of the newest value in level, trend and season.
    level, trend : float
        Start values.
    season : array_like, shape (p,)
        Start values; the first belongs to y's first period.

    Returns
    -------
    Seasonal
        The state after the last value, with the one-step squared errors' sum.

    Notes
    -----
    The season is updated with the new level: sₜ = γ yₜ ÷ aₜ + (1 − γ) sₜ₋ₚ.

    Source: holt-winters
    """
    values = _series(y, 1)
    _weight(alpha=alpha, beta=beta, gamma=gamma)
    cycle = [float(s) for s in np.asarray(season, dtype=float)]
    a, b, sse = level, trend, 0.0
    for k, value in enumerate(values):
        old = cycle[k % len(cycle)]
        sse += float(value - (a + b) * old) ** 2
        before = a
        a = alpha * float(value) / old + (1.0 - alpha) * (a + b)
        b = beta * (a - before) + (1.0 - beta) * b
        cycle[k % len(cycle)] = gamma * float(value) / a + (1.0 - gamma) * old
    turn = len(values) % len(cycle)
    return Seasonal(a, b, np.array(cycle[turn:] + cycle[:turn]), sse)


@dataclass(frozen=True)
class Intermittent:
    """Demand that comes now and then: mean size, mean interval, and demand a period."""

    size: float
    interval: float
    per_period: float
    unbiased: float


def croston(y: npt.ArrayLike, alpha: float) -> Intermittent:
    """Smooth sizes and intervals of intermittent demand apart (Croston).

    Parameters
    ----------
    y : array_like, shape (n,)
        Demand a period, mostly 0.
    alpha : float
        Weight of the newest size and interval.

    Returns
    -------
    Intermittent
        Size ÷ interval a period; `unbiased` is that times 1 − α/2 (Syntetos and Boylan). Both start with
        the first demand and its position.

    Notes
    -----
    Source: croston-1972
    """
    values = _series(y, 1)
    _weight(alpha=alpha)
    at = np.flatnonzero(values)
    if not len(at):
        return Intermittent(0.0, float("inf"), 0.0, 0.0)
    size, interval = float(values[at[0]]), float(at[0] + 1)
    for k in range(1, len(at)):
        size += alpha * (float(values[at[k]]) - size)
        interval += alpha * (float(at[k] - at[k - 1]) - interval)
    return Intermittent(size, interval, size / interval, (1.0 - alpha / 2.0) * size / interval)


def _series(y: npt.ArrayLike, least: int) -> Floats:
    values = np.asarray(y, dtype=float)
    if values.ndim != 1 or len(values) < least or not np.isfinite(values).all():
        raise MeasureError(Fault("the series is too short or has a gap", "y", f"{least} numbers or more"))
    return values


def _weight(**weights: float) -> None:
    faults = [
        Fault(f"{name} is {value:g}", name, "above 0 up to 1")
        for name, value in weights.items()
        if not 0 < value <= 1
    ]
    if faults:
        raise MeasureError(faults)
