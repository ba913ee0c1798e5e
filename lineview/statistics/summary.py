"""Mean, standard deviation and lag-1 autocorrelation, correct to the last digit of a double."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from lineview.errors import Fault, MeasureError
from lineview.statistics.as_written import whole_numbers


@dataclass(frozen=True)
class Summary:
    """What a sample says in four numbers; `sd` and `r1` are None where they have no meaning."""

    n: int
    mean: float
    sd: float | None
    r1: float | None


def summarize(values: Sequence[float]) -> Summary:
    """Give count, mean, standard deviation and lag-1 autocorrelation of a sample.

    The sums are exact: they are made in whole numbers from the decimals as written, and rounded once.

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
    >>> summarize([10000000.2] + [10000000.1, 10000000.3] * 500)
    Summary(n=1001, mean=10000000.2, sd=0.1, r1=-0.999)
    """
    if not len(values) or not all(math.isfinite(v) for v in values):
        raise MeasureError(Fault("no finite values to summarize", "values", "one or more finite numbers"))
    whole, decimals = whole_numbers(values)
    n, total = len(whole), sum(whole)
    # Deviations times n stay whole, so nothing is rounded before the last division.
    off = [n * w - total for w in whole]
    squares = sum(d * d for d in off)
    mean = float(Fraction(total, n * 10**decimals))
    if n < 2:
        return Summary(n, mean, None, None)
    sd = root(Fraction(squares, (n - 1) * n * n * 10 ** (2 * decimals)))
    lagged = sum(a * b for a, b in itertools.pairwise(off))
    return Summary(n, mean, sd, float(Fraction(lagged, squares)) if squares else None)


def root(square: Fraction) -> float:
    """Give the square root of a fraction, correct to a double.

    Parameters
    ----------
    square : fractions.Fraction
        Not negative.

    Returns
    -------
    float
        Its root.

    Examples
    --------
    >>> from fractions import Fraction
    >>> root(Fraction(1, 100))
    0.1
    """
    if square == 0:
        return 0.0
    # Scaling by an even power of two first gives isqrt 64 bits or more to work with.
    shift = max(0, 140 - square.numerator.bit_length() + square.denominator.bit_length())
    shift += shift % 2
    whole = math.isqrt((square.numerator << shift) // square.denominator)
    return float(Fraction(whole, 1 << (shift // 2)))
