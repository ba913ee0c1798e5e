"""Means with their intervals, and summaries that are exact for decimals as written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext

import numpy as np
from numpy.typing import ArrayLike

from lineview.core.errors import Fault, MeasureError
from lineview.core.estimate import Estimate
from lineview.core.language import tr


def coverage_factor(df: float, level: float = 0.95) -> float:
    """Compute how many standard errors an interval by Student's t reaches to either side.

    Parameters
    ----------
    df : float
        Degrees of freedom, above 0.
    level : float
        Confidence, two-sided.

    Returns
    -------
    float
        The quantile of t at (1 + level) / 2.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> round(coverage_factor(10), 3)
    2.228
    """
    from scipy.special import stdtrit

    return float(stdtrit(df, (1 + level) / 2))


def student_interval(value: float, standard_error: float, df: float, *, n: int = 0, level: float = 0.95) -> Estimate:
    """Set an interval by Student's t about a value.

    Parameters
    ----------
    value : float
        The estimate.
    standard_error : float
        In the unit of `value`.
    df : float
        Degrees of freedom of the standard error; without any the interval is open.
    n : int
        Readings, batches or events behind it.
    level : float
        Confidence, two-sided.

    Returns
    -------
    Estimate
        In the unit of `value`.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> round(student_interval(5.0, 1.0, 10).low, 3)
    2.772
    """
    if not df > 0:
        return Estimate(value, n=n)
    half = coverage_factor(df, level) * standard_error
    return Estimate(value, value - half, value + half, n, interval=f"{100 * level:g} % confidence")


def interval_of_mean(values: ArrayLike, *, least: int = 2, floor: float = -math.inf, level: float = 0.95) -> Estimate:
    """Estimate the mean of independent values.

    Parameters
    ----------
    values : array_like, shape (n,)
        Finite.
    least : int
        Values that are needed, two or more.
    floor : float
        What a mean cannot fall below; the interval is cut off there.
    level : float
        Confidence, two-sided.

    Returns
    -------
    Estimate
        In the unit of the values; unknown for fewer than `least`.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> mean = interval_of_mean([8.0, 7.0, 9.0, 8.0, 8.0])
    >>> mean.value, round(mean.low, 2), mean.n
    (8.0, 7.12, 5)
    """
    x = np.asarray(values, dtype=np.float64)
    if x.size < max(least, 2):
        return Estimate.unknown(tr("too few: needs {needs}, has {has}", needs=max(least, 2), has=x.size), x.size)
    error = float(x.std(ddof=1)) / math.sqrt(x.size)
    mean = student_interval(float(x.mean()), error, x.size - 1, n=x.size, level=level)
    return mean if mean.low is None or mean.low >= floor else replace(mean, low=floor)


def interval_of_block_means(values: ArrayLike, blocks: int = 10) -> Estimate:
    """Estimate the mean of values that depend on their neighbours.

    Parameters
    ----------
    values : array_like, shape (n,)
        Finite, in order.
    blocks : int
        Blocks of neighbours whose means are taken for independent.

    Returns
    -------
    Estimate
        95 % confidence, in the unit of the values; unknown for fewer than two.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> interval_of_block_means([1.0, 1.0, 3.0, 3.0], 2).value
    2.0
    """
    x = np.asarray(values, dtype=np.float64)
    if x.size < 2:
        return Estimate.unknown(tr("too few: needs {needs}, has {has}", needs=2, has=x.size), x.size)
    means = np.array([block.mean() for block in np.array_split(x, min(blocks, x.size))])
    error = float(means.std(ddof=1)) / math.sqrt(means.size)
    return student_interval(float(x.mean()), error, means.size - 1, n=x.size)


@dataclass(frozen=True)
class Summary:
    """A sample in four numbers; `sd` and lag-1 autocorrelation `r1` are None where they have no meaning."""

    n: int
    mean: float
    sd: float | None
    r1: float | None


def summarize(values: Sequence[float]) -> Summary:
    """Compute count, mean, standard deviation and lag-1 autocorrelation of a sample.

    A reading comes from decimal text, and the shortest decimal that names its double is that text again.
    Mean and standard deviation are exact sums of those decimals, rounded once.

    Parameters
    ----------
    values : sequence of float
        Finite, at least one.

    Returns
    -------
    Summary
        `sd` (divisor n - 1) is None for fewer than two values, `r1` also where all are equal.

    Raises
    ------
    MeasureError
        Where there is no value, or one that is not finite.

    Notes
    -----
    Source: nist-strd

    Examples
    --------
    >>> sample = summarize([10000000.2] + [10000000.1, 10000000.3] * 500)
    >>> sample.mean, sample.sd, round(sample.r1, 12)
    (10000000.2, 0.1, -0.999)
    """
    if not len(values) or not all(math.isfinite(v) for v in values):
        raise MeasureError(Fault("no finite values to summarize", "values", "one or more finite numbers"))
    exact = [Decimal(repr(float(value))).as_integer_ratio() for value in values]
    n, unit = len(exact), math.lcm(*(below for _, below in exact))
    whole = [above * (unit // below) for above, below in exact]  # all in whole parts of one number
    total = sum(whole)
    mean = total / (n * unit)
    if n < 2:
        return Summary(n, mean, None, None)
    apart = [n * part - total for part in whole]
    off = np.array([part / (n * unit) for part in apart])
    r1 = float(off[:-1] @ off[1:] / (off @ off)) if off.any() else None
    with localcontext(prec=60):
        variance = Decimal(sum(part * part for part in apart)) / Decimal((n * unit) ** 2 * (n - 1))
        return Summary(n, mean, float(variance.sqrt()), r1)
