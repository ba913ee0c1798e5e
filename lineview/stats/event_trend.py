"""Whether events come more often: trend tests and the power-law process."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class TrendTest:
    """One test of a constant rate.

    Parameters
    ----------
    name : str
        Of the test.
    statistic : float
        Its value; for Laplace above 0 where events bunch late.
    p_two_sided : float
        Probability of so much trend either way at a constant rate.
    p_more_often : float
        Probability of so much bunching late, or more, at a constant rate.
    """

    name: str
    statistic: float
    p_two_sided: float
    p_more_often: float


def _checked(times: Sequence[float], end: float) -> list[float]:
    faults = []
    if not (math.isfinite(end) and end > 0):
        faults.append(Fault(f"the watch ends at {end}", "end", "more than 0"))
    if not times:
        faults.append(Fault("there is no event", "times", "one or more"))
    if any(not 0 < t <= end for t in times):
        faults.append(Fault("an event lies outside the watch", "times", f"above 0, up to {end}"))
    if any(b < a for a, b in pairwise(times)):
        faults.append(Fault("the events are not in order", "times", "ascending moments"))
    if faults:
        raise MeasureError(faults)
    return list(times)


def laplace(times: Sequence[float], end: float) -> TrendTest:
    """Test for a trend by the centroid of the events.

    Parameters
    ----------
    times : sequence of float
        Moments of the events since the watch began, ascending.
    end : float
        When the watch ended, not at an event.

    Returns
    -------
    TrendTest
        z = sqrt(12 r) (mean - T/2) / T.

    Raises
    ------
    MeasureError
        Where there is no event, or one lies outside.

    Notes
    -----
    A large positive z is deterioration: the handbook's page has the direction the other way round in words.
    Source: nist-handbook

    Examples
    --------
    >>> times = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
    >>> round(laplace(times, 1500).statistic, 4)
    -1.3269
    """
    from scipy.stats import norm

    own = _checked(times, end)
    r = len(own)
    z = math.sqrt(12.0 * r) * (math.fsum(own) / r - end / 2.0) / end
    return TrendTest("Laplace", z, 2.0 * float(norm.sf(abs(z))), float(norm.sf(z)))


def mil_hdbk_189(times: Sequence[float], end: float) -> TrendTest:
    """Test for a trend by twice the sum of ln(T / t), chi-square with 2r degrees of freedom.

    Parameters
    ----------
    times, end
        As in `laplace`.

    Returns
    -------
    TrendTest
        A small statistic means that events bunch late.

    Notes
    -----
    Source: nist-handbook, mil-hdbk-189

    Examples
    --------
    >>> times = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
    >>> round(mil_hdbk_189(times, 1500).statistic, 2)
    37.23
    """
    from scipy.stats import chi2

    own = _checked(times, end)
    statistic = 2.0 * math.fsum(math.log(end / t) for t in own)
    below, above = float(chi2.cdf(statistic, 2 * len(own))), float(chi2.sf(statistic, 2 * len(own)))
    return TrendTest("MIL-HDBK-189C", statistic, min(1.0, 2.0 * min(below, above)), below)
