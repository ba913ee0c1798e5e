"""Intervals of mean and standard deviation from independent normal values."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lineview.errors import Fault, MeasureError
from lineview.statistics.summary import Summary, summarize


def _two_or_more(values: Sequence[float]) -> Summary:
    found = summarize(values)
    if found.sd is None:
        raise MeasureError(Fault("one value has no interval", "values", "two or more"))
    return found


def mean_interval(values: Sequence[float], level: float = 0.95) -> tuple[float, float]:
    """Give the t interval of the mean; values of one batch are not independent ones of several.

    Parameters
    ----------
    values : sequence of float
        Two or more.
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
    >>> [round(x, 3) for x in mean_interval([1.0, 2.0, 3.0])]
    [-0.484, 4.484]
    """
    from scipy.special import stdtrit

    found = _two_or_more(values)
    half = float(stdtrit(found.n - 1, (1 + level) / 2)) * (found.sd or 0.0) / math.sqrt(found.n)
    return found.mean - half, found.mean + half


def sd_interval(values: Sequence[float], level: float = 0.95) -> tuple[float, float]:
    """Give the chi-square interval of the standard deviation.

    Parameters
    ----------
    values : sequence of float
        Two or more.
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
    >>> [round(x, 3) for x in sd_interval([1.0, 2.0, 3.0])]
    [0.521, 6.285]
    """
    from scipy.special import chdtri

    found = _two_or_more(values)
    df, tail = found.n - 1, (1 - level) / 2
    sd = found.sd or 0.0
    return sd * math.sqrt(df / float(chdtri(df, tail))), sd * math.sqrt(df / float(chdtri(df, 1 - tail)))
