"""CUSUM and EWMA charts, and the limits that give them a wanted average run length."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.stats.optimum import root_between
from lineview.stats.serial_correlation import decaying_sum

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ewma:
    """An EWMA chart: a value, a lower and an upper limit a point, and where it is outside."""

    value: Floats
    low: Floats
    high: Floats
    outside: NDArray[np.bool_]


def ewma(x: Floats, *, smoothing: float, centre: float, sd: float, width: float = 3.0, exact: bool = True) -> Ewma:
    """Chart values as an exponentially weighted moving average.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
        Independent values, in order.
    smoothing : float
        Lambda, above 0 and up to 1.
    centre, sd : float
        Mean and standard deviation of x in control.
    width : float
        Limits' distance in standard deviations of the average (L).
    exact : bool
        Limits that widen from the first point on; else the constant ones they tend to.

    Returns
    -------
    Ewma
        One entry a point.

    Raises
    ------
    MeasureError
        Where smoothing is not in (0, 1] or sd not above 0.

    Notes
    -----
    Source: nist-handbook, iso-7870-6

    Examples
    --------
    >>> import numpy as np
    >>> ewma(np.array([52.0, 47.0]), smoothing=0.3, centre=50.0, sd=2.0).value.round(2).tolist()
    [50.6, 49.52]
    """
    if not 0 < smoothing <= 1 or sd <= 0:
        raise MeasureError(Fault("smoothing or spread", "ewma", "0 < smoothing <= 1 and sd > 0"))
    value = centre + decaying_sum(smoothing * (x - centre), 1 - smoothing)
    share = smoothing / (2 - smoothing)
    growth = 1 - (1 - smoothing) ** (2.0 * np.arange(1, x.size + 1)) if exact else np.ones(x.size)
    half = width * sd * np.sqrt(share * growth)
    return Ewma(value, centre - half, centre + half, np.abs(value - centre) > half)


@dataclass(frozen=True)
class Cusum:
    """Upper and lower sums, the decision limit and the points where either is beyond it."""

    upper: Floats
    lower: Floats
    limit: float
    outside: NDArray[np.bool_]


def cusum(x: Floats, *, target: float, allowance: float, limit: float, headstart: float = 0.0) -> Cusum:
    """Chart values as two one-sided cumulative sums.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
        Independent values, in order.
    target : float
        Mean in control.
    allowance : float
        K: half the shift that the chart is for, in x's unit.
    limit : float
        H: the decision limit, in x's unit.
    headstart : float
        Where both sums start (fast initial response), often half the limit.

    Returns
    -------
    Cusum
        One entry a point.

    Notes
    -----
    Source: nist-handbook, lucas-crosier-1982

    Examples
    --------
    >>> import numpy as np
    >>> cusum(np.array([102.0, 94.8]), target=99, allowance=1, limit=10).lower.round(1).tolist()
    [0.0, 3.2]
    """
    upper = _one_sided_sums(x - target - allowance, headstart)
    lower = _one_sided_sums(target - allowance - x, headstart)
    return Cusum(upper, lower, limit, (upper > limit) | (lower > limit))


def _one_sided_sums(increments: Floats, start: float) -> Floats:
    """Sum increments, never letting the sum fall below 0."""
    total = start + np.cumsum(increments)
    # S_i = C_i − min(0, min C): the running minimum replaces the step-by-step maximum with 0
    return np.asarray(total - np.minimum(0.0, np.minimum.accumulate(total)))


Widths = tuple[float, float, float]

#: Smoothings of the slow and the quick chart. With limits for single points besides they are within a tenth
#: of the quickest chart known for drifts of 0.0005 to 4 standard deviations a point (tests/truth, delays).
SLOW, QUICK = 0.05, 0.3
#: Points to a false alarm of all three together, and the width of each. Alone the quick chart has 1.73 times
#: the slow one's run length and the single points ten times; solved from the run lengths that
#: tests/references/ewma_run_lengths.py works out.
WIDTHS = (
    (20, 1.1102, 2.0542, 2.8444),
    (30, 1.3356, 2.2489, 2.9833),
    (50, 1.6270, 2.4759, 3.1504),
    (80, 1.8884, 2.6672, 3.2959),
    (120, 2.1025, 2.8210, 3.4161),
    (200, 2.3543, 3.0025, 3.5615),
    (350, 2.6064, 3.1877, 3.7136),
    (600, 2.8282, 3.3554, 3.8543),
    (1000, 3.0218, 3.5057, 3.9827),
    (1730, 3.2146, 3.6593, 4.1157),
    (3000, 3.3948, 3.8063, 4.2447),
    (6000, 3.6064, 3.9827, 4.4014),
    (12000, 3.8038, 4.1509, 4.5524),
    (25000, 4.0002, 4.3212, 4.7069),
    (50000, 4.1758, 4.4757, 4.8481),
    (100000, 4.3433, 4.6248, 4.9853),
)


def joint_widths(run_length: float) -> Widths:
    """Interpolate the widths of the three charts that together have a wanted run length in control.

    Parameters
    ----------
    run_length : float
        Points to a false alarm of any, on average; held between 20 and 100,000.

    Returns
    -------
    tuple of float
        L of the slow and of the quick chart, in standard deviations of each average, and the limit for
        single points in theirs.

    Notes
    -----
    Source: lucas-saccucci-1990, zhao-2005, derived-joint-charts

    Examples
    --------
    >>> [round(width, 2) for width in joint_widths(865)]
    [2.97, 3.46, 3.95]
    """
    points, *widths = np.array(WIDTHS).T
    at = float(np.log(np.clip(run_length, points[0], points[-1])))
    slow, quick, single = _spline(np.log(points), np.column_stack(widths), at)
    return float(slow), float(quick), float(single)


def _spline(x: Floats, y: Floats, at: float) -> Floats:
    """Cubic spline at one place, a single cubic over the first two intervals and over the last two."""
    h, n = np.diff(x), x.size
    slope = np.diff(y, axis=0) / h[:, None]
    inner = np.arange(1, n - 1)
    system, target = np.zeros((n, n)), np.zeros(y.shape)
    system[inner, inner - 1], system[inner, inner + 1] = h[:-1], h[1:]
    system[inner, inner] = 2 * (h[:-1] + h[1:])
    target[1:-1] = 6 * np.diff(slope, axis=0)
    system[0, :3] = h[1], -h[0] - h[1], h[0]
    system[-1, -3:] = h[-1], -h[-2] - h[-1], h[-2]
    bend = np.linalg.solve(system, target)
    k = int(np.clip(np.searchsorted(x, at) - 1, 0, n - 2))
    from_left, to_right = at - x[k], x[k + 1] - at
    cubes = (bend[k] * to_right**3 + bend[k + 1] * from_left**3) / (6 * h[k])
    lines = (y[k] / h[k] - bend[k] * h[k] / 6) * to_right + (y[k + 1] / h[k] - bend[k + 1] * h[k] / 6) * from_left
    return np.asarray(cubes + lines)


#: Nodes and weights of so many points, which take longer to find than to use.
_legendre = lru_cache(maxsize=256)(np.polynomial.legendre.leggauss)


def _nodes(high: float, n: int) -> tuple[Floats, Floats]:
    x, w = _legendre(n)
    return high / 2 * (x + 1), high / 2 * w


def _density(z: Floats) -> Floats:
    return np.asarray(np.exp(-(z**2) / 2) / sqrt(2 * np.pi))


def _cusum_kernel(allowance: float, limit: float, shift: float, n: int) -> tuple[Floats, Floats]:
    """States of the one-sided CUSUM of shifted normal values, 0 first, and the kernel between them."""
    from scipy.special import ndtr

    x, w = _nodes(limit, n)
    states = np.r_[0.0, x]
    kernel = np.empty((n + 1, n + 1))
    kernel[:, 0] = ndtr(allowance - states - shift)
    kernel[:, 1:] = w[None, :] * _density(x[None, :] - states[:, None] + allowance - shift)
    return states, kernel


def cusum_run_length(allowance: float, limit: float, shift: float = 0.0, headstart: float = 0.0) -> float:
    """Compute the average run length of the two-sided tabular CUSUM.

    The two sides never stand above the headstart together once either has reached the limit, so their run
    lengths combine as in the source.

    Source: lucas-crosier-1982
    """
    up0, up = _one_sided_lengths(allowance, limit, shift, headstart)
    down0, down = _one_sided_lengths(allowance, limit, -shift, headstart)
    return (up * down0 + down * up0 - up0 * down0) / (up0 + down0)


def _one_sided_lengths(allowance: float, limit: float, shift: float, headstart: float) -> tuple[float, float]:
    from scipy.special import ndtr

    n = 30 + round(4 * limit)
    states, kernel = _cusum_kernel(allowance, limit, shift, n)
    lengths = np.linalg.solve(np.eye(n + 1) - kernel, np.ones(n + 1))
    w = _nodes(limit, n)[1]
    onward = _density(states[1:] - headstart + allowance - shift)
    stay = float(ndtr(allowance - headstart - shift)) * lengths[0]
    return float(lengths[0]), float(1 + stay + np.sum(w * lengths[1:] * onward))


@lru_cache(maxsize=256)
def cusum_limit(allowance: float, run_length: float) -> float:
    """Find the decision limit h of the two-sided CUSUM that has a wanted run length in control.

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
    high = 4.0
    while cusum_run_length(allowance, high) < run_length:
        high *= 1.5
    return root_between(lambda h: float(np.log(cusum_run_length(allowance, h) / run_length)), 0.1, high, 1e-6)
