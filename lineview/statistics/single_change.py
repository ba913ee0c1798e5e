"""One change of level in independent values: where, how likely, by least squares and by ranks."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, pi

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SingleChange:
    """The best single change of level.

    `last` is the index (from 1) of the last point before it; squares and information criteria are those of
    no change and of one; `sup_f` is the largest F over the inner 70 % of places.
    """

    last: int
    before: float
    after: float
    squares: tuple[float, float]
    bic: tuple[float, float]
    sup_f: float


def single_change(y: Floats, trim: float = 0.15) -> SingleChange:
    """Find the one change of level that leaves the least squares.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Independent values in order.
    trim : float
        Share of points left out at either end when looking for the largest F.

    Returns
    -------
    SingleChange
        Of the best place.

    Notes
    -----
    Source: strucchange

    Examples
    --------
    >>> import numpy as np
    >>> single_change(np.array([1.0, 1.1, 0.9, 5.0, 5.1, 4.9, 5.0])).last
    3
    """
    n = y.size
    k = np.arange(1, n)
    total, square = np.cumsum(y)[:-1], float(np.sum((y - y.mean()) ** 2))
    between = n / (k * (n - k)) * (total - k * y.mean()) ** 2
    last = int(np.argmax(between)) + 1
    left = square - float(between[last - 1])
    inner = (k >= max(2, int(trim * n))) & (k <= n - max(2, int(trim * n)))
    sup_f = float(np.max(between[inner] / ((square - between[inner]) / (n - 2)))) if inner.any() else 0.0
    bic = tuple(n * (log(rss / n) + 1 + log(2 * pi)) + log(n) * p for rss, p in ((square, 2), (left, 4)))
    return SingleChange(
        last, float(y[:last].mean()), float(y[last:].mean()), (square, left), (bic[0], bic[1]), sup_f
    )  # fmt: skip


def pettitt(y: Floats) -> tuple[int, float, float]:
    """Find one change of level by ranks.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Independent values in order.

    Returns
    -------
    tuple of int, float and float
        Last point before the change (from 1), the statistic K, and about its probability without a change.

    Notes
    -----
    Source: pettitt-1979

    Examples
    --------
    >>> import numpy as np
    >>> pettitt(np.array([1.0, 2.0, 3.0, 7.0, 8.0, 9.0]))[0]
    3
    """
    from scipy.stats import rankdata

    n = y.size
    u = 2 * np.cumsum(rankdata(y))[:-1] - np.arange(1, n) * (n + 1)
    last = int(np.argmax(np.abs(u))) + 1
    k = float(np.abs(u[last - 1]))
    return last, k, min(1.0, 2 * exp(-6 * k**2 / (n**3 + n**2)))


def cusum_of_residuals(y: Floats) -> float:
    """Give the largest absolute cumulative sum of residuals about the mean, scaled to a Brownian bridge.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Independent values in order.

    Returns
    -------
    float
        The statistic; 1.358 is passed by chance in 5 % of long series.

    Notes
    -----
    Source: strucchange
    """
    d = y - y.mean()
    return float(np.max(np.abs(np.cumsum(d))) / np.sqrt(y.size * d.var(ddof=1)))
