"""Mean, standard deviation and lag-1 autocorrelation of decimals as written."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class Summary:
    """What a sample says in four numbers; `sd` and `r1` are None where they have no meaning."""

    n: int
    mean: float
    sd: float | None
    r1: float | None


def summarize(values: Sequence[float]) -> Summary:
    """Give count, mean, standard deviation and lag-1 autocorrelation of a sample.

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
    >>> found = summarize([10000000.2] + [10000000.1, 10000000.3] * 500)
    >>> found.mean, found.sd, round(found.r1, 12)
    (10000000.2, 0.1, -0.999)
    """
    if not len(values) or not all(math.isfinite(v) for v in values):
        raise MeasureError(Fault("no finite values to summarize", "values", "one or more finite numbers"))
    written = [Fraction(repr(float(value))) for value in values]
    mean = statistics.mean(written)
    if len(written) < 2:
        return Summary(len(written), float(mean), None, None)
    off = np.array([float(value - mean) for value in written])
    r1 = float(off[:-1] @ off[1:] / (off @ off)) if off.any() else None
    return Summary(len(written), float(mean), float(statistics.stdev(written)), r1)
