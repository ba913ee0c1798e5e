"""Average run length of CUSUM charts, and the limit that gives a wanted one.

The run length's integral equation is solved on Gauss–Legendre nodes, with an atom at 0.
"""

from __future__ import annotations

from functools import lru_cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def _nodes(low: float, high: float, n: int) -> tuple[Floats, Floats]:
    x, w = np.polynomial.legendre.leggauss(n)
    return (high - low) / 2 * x + (high + low) / 2, (high - low) / 2 * w


def _density(z: Floats) -> Floats:
    return np.asarray(np.exp(-(z**2) / 2) / sqrt(2 * np.pi))


def cusum_kernel(allowance: float, limit: float, shift: float, n: int) -> tuple[Floats, Floats]:
    """Give nodes and the kernel of the one-sided CUSUM of shifted normal values.

    Parameters
    ----------
    allowance, limit : float
        k and h, in standard deviations.
    shift : float
        Mean of the values.
    n : int
        Nodes above 0.

    Returns
    -------
    tuple of numpy.ndarray, shapes (n + 1,) and (n + 1, n + 1)
        States, the first being 0, and the kernel from row to column.

    Notes
    -----
    Source: lucas-crosier-1982
    """
    from scipy.special import ndtr

    x, w = _nodes(0.0, limit, n)
    states = np.r_[0.0, x]
    kernel = np.empty((n + 1, n + 1))
    kernel[:, 0] = ndtr(allowance - states - shift)
    kernel[:, 1:] = w[None, :] * _density(x[None, :] - states[:, None] + allowance - shift)
    return states, kernel


def cusum_run_length(allowance: float, limit: float, shift: float = 0.0, headstart: float = 0.0) -> float:
    """Give the average run length of the two-sided tabular CUSUM.

    Parameters
    ----------
    allowance, limit : float
        k and h, in standard deviations.
    shift : float
        Mean of the values, in their standard deviations.
    headstart : float
        Where both sums start.

    Returns
    -------
    float
        Points to the signal, on average.

    Notes
    -----
    The two sides never stand above the headstart together once either has reached the limit, so their run
    lengths combine as in the source.

    Source: lucas-crosier-1982

    Examples
    --------
    >>> round(cusum_run_length(0.5, 5.0))
    465
    """
    up0, up = _one_sided_lengths(allowance, limit, shift, headstart)
    down0, down = _one_sided_lengths(allowance, limit, -shift, headstart)
    return (up * down0 + down * up0 - up0 * down0) / (up0 + down0)


def _one_sided_lengths(allowance: float, limit: float, shift: float, headstart: float) -> tuple[float, float]:
    from scipy.special import ndtr

    n = 30 + round(4 * limit)
    states, kernel = cusum_kernel(allowance, limit, shift, n)
    lengths = np.linalg.solve(np.eye(n + 1) - kernel, np.ones(n + 1))
    if headstart == 0.0:
        return float(lengths[0]), float(lengths[0])
    w = _nodes(0.0, limit, n)[1]
    onward = _density(states[1:] - headstart + allowance - shift)
    stay = float(ndtr(allowance - headstart - shift)) * lengths[0]
    return float(lengths[0]), float(1 + stay + np.sum(w * lengths[1:] * onward))


@lru_cache(maxsize=256)
def cusum_limit(allowance: float, run_length: float) -> float:
    """Give the decision limit h of the two-sided CUSUM whose run length in control is as wanted.

    Parameters
    ----------
    allowance : float
        k, in standard deviations.
    run_length : float
        Points to a false alarm, on average.

    Returns
    -------
    float
        h, in standard deviations.

    Notes
    -----
    Source: lucas-crosier-1982

    Examples
    --------
    >>> round(cusum_limit(0.5, 370.4), 2)
    4.77
    """
    from scipy.optimize import brentq

    high = 4.0
    while cusum_run_length(allowance, high) < run_length:
        high *= 1.5
    return float(brentq(lambda h: np.log(cusum_run_length(allowance, h) / run_length), 0.1, high, xtol=1e-6))
