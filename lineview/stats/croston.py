"""Forecast by exponential smoothing of demand that comes now and then."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from lineview.errors import Fault, MeasureError

Floats = NDArray[np.float64]


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
