"""How far successive values depend on each other, and what that costs."""

from __future__ import annotations

from dataclasses import dataclass

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
