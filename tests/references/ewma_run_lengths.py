"""Run lengths of EWMA charts, alone and two together with limits for single points.

The widths that `lineview.stats.run_lengths` lists were solved from these. Sources: crowder-1987,
lucas-saccucci-1990, zhao-2005 and, for two together, derived-joint-charts.
"""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from lineview.stats.run_lengths import QUICK, SLOW, Widths

Floats = NDArray[np.float64]


def _nodes(low: float, high: float, n: int) -> tuple[Floats, Floats]:
    x, w = np.polynomial.legendre.leggauss(n)
    return (high - low) / 2 * x + (high + low) / 2, (high - low) / 2 * w


def _density(z: Floats) -> Floats:
    return np.asarray(np.exp(-(z**2) / 2) / sqrt(2 * np.pi))


def ewma_kernel(smoothing: float, width: float, shift: float, n: int) -> tuple[Floats, Floats]:
    """Give nodes and the kernel that carries an EWMA of shifted normal values one point on.

    Parameters
    ----------
    smoothing, width : float
        Lambda and L of the chart; limits constant.
    shift : float
        Mean of the values, in their standard deviations.
    n : int
        Nodes.

    Returns
    -------
    tuple of numpy.ndarray, shapes (n,) and (n, n)
        Nodes between the limits and weights × densities, from row to column.

    Notes
    -----
    Source: crowder-1987
    """
    limit = width * sqrt(smoothing / (2 - smoothing))
    x, w = _nodes(-limit, limit, n)
    moved = (x[None, :] - (1 - smoothing) * x[:, None]) / smoothing - shift
    return x, w[None, :] * _density(moved) / smoothing


def ewma_run_length(smoothing: float, width: float, shift: float = 0.0) -> float:
    """Give the average run length of the two-sided EWMA chart with constant limits, started at the centre.

    Parameters
    ----------
    smoothing, width : float
        Lambda and L of the chart.
    shift : float
        Mean of the values, in their standard deviations.

    Returns
    -------
    float
        Points to the signal, on average.

    Notes
    -----
    Source: crowder-1987, lucas-saccucci-1990

    Examples
    --------
    >>> round(ewma_run_length(0.5, 3.071))
    500
    """
    n = max(61, 2 * round(2 * width / sqrt(smoothing)) + 1)
    x, kernel = ewma_kernel(smoothing, width, shift, n)
    lengths = np.linalg.solve(np.eye(n) - kernel, np.ones(n))
    limit = width * sqrt(smoothing / (2 - smoothing))
    w = _nodes(-limit, limit, n)[1]
    return float(1 + np.sum(w * lengths * _density(x / smoothing - shift)) / smoothing)


def joint_run_length(widths: Widths, smoothings: tuple[float, float] = (SLOW, QUICK), n: int = 18) -> float:
    """Give the average run length in control of two EWMA charts and limits for single points of one series.

    Parameters
    ----------
    widths : (float, float, float)
        L of the two charts and the limit for single points.
    smoothings : (float, float)
        Lambda of the two charts; limits constant, both started at the centre.
    n : int
        Chebyshev polynomials in either average.

    Returns
    -------
    float
        Points until any signals, on average, for independent standard normal values.

    Notes
    -----
    The run length as a function of both averages solves L(s) = 1 + ∫ L(s') φ(z) dz over the z that leave
    all inside; it is set out in Chebyshev polynomials and made to hold at their nodes.

    Source: lucas-saccucci-1990, zhao-2005, derived-joint-charts

    Examples
    --------
    >>> round(joint_run_length((2.97, 3.46, 3.95), n=12))
    862
    """
    from numpy.polynomial.chebyshev import chebval2d, chebvander

    limits = [w * sqrt(s / (2 - s)) for w, s in zip(widths[:2], smoothings, strict=True)]
    nodes = np.cos(np.pi * (np.arange(n) + 0.5) / n)
    states = [grid.ravel() for grid in np.meshgrid(*(nodes * h for h in limits), indexing="ij")]
    kept = [(1 - lam) * s for lam, s in zip(smoothings, states, strict=True)]
    ends = list(zip(limits, kept, smoothings, strict=True))
    low = np.maximum.reduce([*((-h - k) / lam for h, k, lam in ends), np.full(n * n, -widths[2])])
    high = np.minimum.reduce([*((h - k) / lam for h, k, lam in ends), np.full(n * n, widths[2])])
    half = np.maximum(high - low, 0.0) / 2
    gauss, weight = np.polynomial.legendre.leggauss(2 * n + 10)
    z = half[:, None] * gauss + ((high + low) / 2)[:, None]
    weights = half[:, None] * weight * np.exp(-(z**2) / 2) / sqrt(2 * np.pi)
    onward = [chebvander((k[:, None] + lam * z) / h, n - 1) for h, k, lam in ends]
    here = [chebvander(s / h, n - 1) for s, h in zip(states, limits, strict=True)]
    carried = np.einsum("sz,szi,szj->sij", weights, *onward, optimize=True).reshape(n * n, n * n)
    stays = np.einsum("si,sj->sij", *here).reshape(n * n, n * n)
    shape = np.linalg.solve(stays - carried, np.ones(n * n)).reshape(n, n)
    return float(chebval2d(0.0, 0.0, shape))
