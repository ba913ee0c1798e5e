"""Capability and performance indices with their intervals, named as in ISO 22514."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class Indices:
    """Indices of a process against two limits, from one standard deviation.

    `c` is Cp (or Pp), `lower` and `upper` CpkL and CpkU (or PpkL, PpkU), `ck` the smaller of both.
    """

    c: float
    lower: float
    upper: float

    @property
    def ck(self) -> float:
        """Cpk, or Ppk where the standard deviation is the total one."""
        return min(self.lower, self.upper)


def indices(mean: float, sd: float, low: float, high: float) -> Indices:
    """Give the indices of a normal process.

    Parameters
    ----------
    mean, sd : float
        Of the process; `sd` above 0.
    low, high : float
        Its limits, `low` below `high`.

    Returns
    -------
    Indices
        Cp, CpkL, CpkU where `sd` is the one within batches; Pp, PpkL, PpkU where it is the total one.

    Raises
    ------
    MeasureError
        Where `sd` is not above 0 or the limits are in the wrong order.

    Notes
    -----
    Source: iso-22514-2, nist-handbook

    Examples
    --------
    >>> indices(16.0, 2.0, 8.0, 20.0).c, round(indices(16.0, 2.0, 8.0, 20.0).ck, 4)
    (1.0, 0.6667)
    """
    if not sd > 0 or not low < high:
        raise MeasureError(
            Fault("no spread, or limits the wrong way round", "sd, low, high", "sd > 0, low < high")
        )
    return Indices((high - low) / (6 * sd), (mean - low) / (3 * sd), (high - mean) / (3 * sd))


def cpm(mean: float, sd: float, low: float, high: float, target: float) -> float:
    """Give Cpm, which counts distance from the target as spread.

    Parameters
    ----------
    mean, sd, low, high, target : float
        As in `indices`, and the target.

    Returns
    -------
    float
        (high - low) / (6 √(sd² + (mean - target)²)).

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> cpm(16.0, 2.0, 8.0, 20.0, 16.0)
    1.0
    """
    return (high - low) / (6 * math.hypot(sd, mean - target))


def cp_interval(c: float, df: float, level: float = 0.95) -> tuple[float, float]:
    """Give the exact interval of Cp (or Pp) from normal data.

    Parameters
    ----------
    c : float
        The index found.
    df : float
        Degrees of freedom of the standard deviation in it.
    level : float
        Of confidence.

    Returns
    -------
    tuple of float
        Low and high.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> [round(x, 3) for x in cp_interval(1.313, 167)]
    [1.172, 1.454]
    """
    from scipy.special import chdtri

    tail = (1 - level) / 2
    return c * math.sqrt(chdtri(df, 1 - tail) / df), c * math.sqrt(chdtri(df, tail) / df)


def cpk_interval(c: float, n: int, level: float = 0.95) -> tuple[float, float]:
    """Give Bissell's interval of CpkL, CpkU or Cpk.

    Parameters
    ----------
    c : float
        The index found.
    n : int
        Values behind it.
    level : float
        Of confidence.

    Returns
    -------
    tuple of float
        c ± z √(1 / 9n + c² / 2(n - 1)).

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> [round(x, 3) for x in cpk_interval(1.273, 168)]
    [1.127, 1.419]
    """
    from scipy.special import ndtri

    half = float(ndtri((1 + level) / 2)) * math.sqrt(1 / (9 * n) + c * c / (2 * (n - 1)))
    return c - half, c + half


def quantile_indices(values: ArrayLike, low: float, high: float) -> Indices:
    """Give the indices of a process that need not be normal, by its quantiles.

    The range from the 0.135 % to the 99.865 % quantile stands for six standard deviations, the median for
    the mean.

    Parameters
    ----------
    values : array_like
        A thousand or more for the outer quantiles to mean anything.
    low, high : float
        Its limits.

    Returns
    -------
    Indices
        Pp, PpkL and PpkU by the general geometric method.

    Raises
    ------
    MeasureError
        Where values do not spread.

    Notes
    -----
    Source: iso-22514-2

    Examples
    --------
    >>> import numpy as np
    >>> round(quantile_indices(np.linspace(0.0, 1.0, 2001), -1.0, 2.0).c, 4)
    3.0081
    """
    least, middle, most = np.quantile(np.asarray(values, dtype=np.float64), [0.00135, 0.5, 0.99865])
    if not least < middle < most:
        raise MeasureError(Fault("values do not spread about their median", "values", "values that vary"))
    return Indices(
        float((high - low) / (most - least)),
        float((middle - low) / (middle - least)),
        float((high - middle) / (most - middle)),
    )


def share_beyond(mean: float, sd: float, low: float, high: float) -> tuple[float, float]:
    """Give the shares of a normal process below and above its limits.

    Parameters
    ----------
    mean, sd, low, high : float
        As in `indices`.

    Returns
    -------
    tuple of float
        Share below `low`, share above `high`, from 0 to 1.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> [round(100 * x, 3) for x in share_beyond(0.0, 1.0, -3.0, 3.0)]
    [0.135, 0.135]
    """
    from scipy.special import ndtr

    return float(ndtr((low - mean) / sd)), float(ndtr((mean - high) / sd))
