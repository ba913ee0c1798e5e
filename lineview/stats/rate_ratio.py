"""Whether events cluster: the ratio of two rates, exactly, and corrected for the number of looks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class RateRatio:
    """One rate over another with exact limits.

    Parameters
    ----------
    ratio : float
        Infinite where the second has no event; nan where neither has.
    low, high : float
        Confidence limits.
    p : float
        Two-sided probability of so much difference at equal rates.
    """

    ratio: float
    low: float
    high: float
    p: float


def rate_ratio(
    events: int, time: float, other_events: int, other_time: float, *, confidence: float = 0.95
) -> RateRatio:
    """Compare two Poisson rates.

    Parameters
    ----------
    events : int
        Events seen.
    time : float
        Time watched.
    other_events : int
        Events seen at other times.
    other_time : float
        Other time watched, in the same unit.
    confidence : float
        Two-sided.

    Returns
    -------
    RateRatio
        Given the events of both together, those of the first are binomial.

    Raises
    ------
    MeasureError
        Where a time is not above 0 or a count below 0.

    Notes
    -----
    Limits by Clopper and Pearson on the share of the first.
    Source: conditional-rate-ratio

    Examples
    --------
    >>> found = rate_ratio(15, 1.0, 5, 1.0)
    >>> found.ratio, round(found.low, 3), round(found.high, 3)
    (3.0, 1.036, 10.551)
    """
    from scipy.stats import beta, binomtest

    if events < 0 or other_events < 0 or not (time > 0 and other_time > 0):
        raise MeasureError(Fault("a count below 0 or a time not above 0", "events, time"))
    both, tail = events + other_events, (1.0 - confidence) / 2.0
    if both == 0:
        return RateRatio(math.nan, 0.0, math.inf, 1.0)
    low = float(beta.ppf(tail, events, other_events + 1)) if events else 0.0
    high = float(beta.ppf(1 - tail, events + 1, other_events)) if other_events else 1.0
    scale = other_time / time
    p = float(binomtest(events, both, time / (time + other_time)).pvalue)
    ratio = events / other_events * scale if other_events else math.inf
    return RateRatio(ratio, low / (1 - low) * scale, high / (1 - high) * scale if high < 1 else math.inf, p)


def holm(p_values: Sequence[float]) -> list[float]:
    """Correct probabilities for the number of looks.

    Parameters
    ----------
    p_values : sequence of float
        One a look.

    Returns
    -------
    list of float
        In the same order, by Holm's step-down method.

    Notes
    -----
    Source: holm-1979

    Examples
    --------
    >>> [round(p, 3) for p in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    order = sorted(range(len(p_values)), key=lambda i: p_values[i])
    corrected, so_far = [0.0] * len(p_values), 0.0
    for rank, i in enumerate(order):
        so_far = max(so_far, min(1.0, p_values[i] * (len(p_values) - rank)))
        corrected[i] = so_far
    return corrected
