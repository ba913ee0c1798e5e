"""How long EWMA and CUSUM charts take to notice a mean that drifts by as much every point."""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from lineview.statistics.run_length import cusum_kernel, ewma_kernel

Floats = NDArray[np.float64]

#: The sum of chances of no signal yet stops where they fall below this.
LEAST = 1e-10


def ewma_drift_length(smoothing: float, width: float, drift: float, first: int = 1) -> float:
    """Give the average run length of the two-sided EWMA chart under linear drift.

    Parameters
    ----------
    smoothing, width : float
        Lambda and L of the chart; limits constant, started at the centre.
    drift : float
        Rise of the mean a point, in standard deviations, above 0.
    first : int
        The first point's mean is this many times the drift: 1, or 0 where the drift starts with it.

    Returns
    -------
    float
        Points to the signal, on average: the sum of the chances that none came yet.

    Notes
    -----
    Source: knoth-2012

    Examples
    --------
    >>> round(ewma_drift_length(0.133, 2.856, 0.1), 1)
    13.1
    """
    n = max(41, 2 * round(1.5 * width / sqrt(smoothing)) + 1)
    states, _ = ewma_kernel(smoothing, width, 0.0, n)
    limit = width * sqrt(smoothing / (2 - smoothing))
    weight = np.polynomial.legendre.leggauss(n)[1] * limit
    mean = drift * first
    density = np.exp(-((states / smoothing - mean) ** 2) / 2) / sqrt(2 * np.pi) / smoothing
    return _summed(density * weight, lambda m: ewma_kernel(smoothing, width, m, n)[1], mean, drift)


def cusum_drift_length(allowance: float, limit: float, drift: float, first: int = 1) -> float:
    """Give the average run length of the one-sided CUSUM under linear drift.

    Parameters
    ----------
    allowance, limit : float
        k and h, in standard deviations; started at 0.
    drift : float
        Rise of the mean a point, in standard deviations, above 0.
    first : int
        As in ewma_drift_length.

    Returns
    -------
    float
        Points to the signal, on average.

    Notes
    -----
    Source: knoth-2012

    Examples
    --------
    >>> round(cusum_drift_length(0.25, 8.0, 0.1, first=0), 1)
    15.0
    """
    n = 30 + round(3 * limit)
    mean = drift * first
    chances = cusum_kernel(allowance, limit, mean, n)[1][0]
    return _summed(chances, lambda m: cusum_kernel(allowance, limit, m, n)[1], mean, drift)


def _summed(chances: Floats, kernel: Callable[[float], Floats], mean: float, drift: float) -> float:
    """Sum the chances of no signal yet, carrying them on point by point."""
    total = 1.0
    while (alive := float(chances.sum())) > LEAST:
        total += alive
        mean += drift
        chances = chances @ kernel(mean)
    return total
