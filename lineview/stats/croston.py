"""Demand that comes now and then, smoothed by Croston's method."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.typing import NDArray

from lineview.core.errors import Fault, MeasureError

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

    Raises
    ------
    MeasureError
        Where the series is empty or has a gap, or the weight is not above 0 up to 1.

    Notes
    -----
    Source: croston-1972
    """
    values = _check_series(y, alpha)
    at = np.flatnonzero(values)
    if not len(at):
        return Intermittent(0.0, float("inf"), 0.0, 0.0)
    size, interval = float(values[at[0]]), float(at[0] + 1)
    for k in range(1, len(at)):
        size += alpha * (float(values[at[k]]) - size)
        interval += alpha * (float(at[k] - at[k - 1]) - interval)
    return Intermittent(size, interval, size / interval, (1.0 - alpha / 2.0) * size / interval)


def _check_series(y: npt.ArrayLike, alpha: float) -> Floats:
    """Check the series and the weight, all faults at once."""
    values = np.asarray(y, dtype=float)
    faults = []
    if values.ndim != 1 or not len(values) or not np.isfinite(values).all():
        faults.append(Fault("the series is empty or has a gap", "y", "1 number or more"))
    if not 0 < alpha <= 1:
        faults.append(Fault(f"alpha is {alpha:g}", "alpha", "above 0 up to 1"))
    if faults:
        raise MeasureError(faults)
    return values
