"""Events in time: limits of their rate, trends, the power-law process, and the ratio of two rates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lineview.core.errors import Fault, MeasureError


def _check(confidence: float, events: float, exposure: float) -> None:
    faults = []
    if not 0 < confidence < 1:
        faults.append(Fault(f"the confidence is {confidence}", "confidence", "between 0 and 1"))
    if events < 0:
        faults.append(Fault(f"there are {events} events", "events", "0 or more"))
    if not (math.isfinite(exposure) and exposure > 0):
        faults.append(Fault(f"the time is {exposure}", "time", "more than 0"))
    if faults:
        raise MeasureError(faults)


def mean_between_limits(
    events: float, time: float, *, confidence: float = 0.95, ends_at_event: bool = False
) -> tuple[float, float]:
    """Compute exact two-sided limits of the mean time between events.

    Parameters
    ----------
    events : float
        Events seen; scaled as `time` is where they vary more, or less, than by chance.
    time : float
        Time watched, in any unit.
    confidence : float
        Two-sided.
    ends_at_event : bool
        Whether the watch ended with the last event instead of at a fixed time.

    Returns
    -------
    tuple of float
        Low and high, in the unit of `time`; high is infinite where there was no event.

    Raises
    ------
    MeasureError
        Where a number makes no sense.

    Notes
    -----
    2T / chi2(1 - a/2; 2r + 2) and 2T / chi2(a/2; 2r); with 2r on both sides where the watch ended at an
    event.
    Source: nist-handbook

    Examples
    --------
    >>> low, high = mean_between_limits(2, 800, confidence=0.9)
    >>> round(low, 3), round(high, 3)
    (127.069, 2251.229)
    """
    from scipy.special import chdtri

    _check(confidence, events, time)
    tail = (1.0 - confidence) / 2.0
    above = 2 * events + (0 if ends_at_event else 2)
    low = 2.0 * time / float(chdtri(above, tail)) if above else 0.0
    high = 2.0 * time / float(chdtri(2 * events, 1.0 - tail)) if events else math.inf
    return low, high


@dataclass(frozen=True)
class TrendTest:
    """One test of a constant rate: its statistic, and the probabilities of so much trend at one.

    `statistic`: for Laplace above 0 where events bunch late; `p_two_sided`: of trend either way; `p_more_often`:
    of so much bunching late, or more.
    """

    name: str
    statistic: float
    p_two_sided: float
    p_more_often: float


def _check_times(times: Sequence[float], end: float) -> None:
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
    from scipy.special import ndtr

    _check_times(times, end)
    r = len(times)
    z = math.sqrt(12.0 * r) * (math.fsum(times) / r - end / 2.0) / end
    return TrendTest("Laplace", z, 2.0 * float(ndtr(-abs(z))), float(ndtr(-z)))


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
    from scipy.special import chdtr, chdtrc

    _check_times(times, end)
    statistic = 2.0 * math.fsum(math.log(end / t) for t in times)
    df = 2 * len(times)
    below, above = float(chdtr(df, statistic)), float(chdtrc(df, statistic))
    return TrendTest("MIL-HDBK-189C", statistic, min(1.0, 2.0 * min(below, above)), below)


@dataclass(frozen=True)
class PowerLaw:
    """Expected events up to t are a t^b; b above 1: they come more and more often.

    `b`, `a`: shape, its bias taken out, and scale to match; `b_likeliest`, `a_likeliest`: without that correction;
    `b_low`, `b_high`: exact limits of the shape; `mean_between_end`: mean time between events at the end of the watch,
    with approximate limits, `mean_high` infinite where there are too few events; `events`: behind it.
    """

    b: float
    a: float
    b_likeliest: float
    a_likeliest: float
    b_low: float
    b_high: float
    mean_between_end: float
    mean_low: float
    mean_high: float
    events: int
    confidence: float


def power_law(times: Sequence[float], end: float, *, confidence: float = 0.95) -> PowerLaw:
    """Fit a power-law process to events of a watch that ended at a fixed time.

    Parameters
    ----------
    times : sequence of float
        Moments of the events since the watch began; two or more.
    end : float
        When the watch ended.
    confidence : float
        Two-sided, of the limits.

    Returns
    -------
    PowerLaw
        With exact limits of the shape and the handbook's approximate ones of the last mean time.

    Raises
    ------
    MeasureError
        Where there are fewer than two events, or one lies outside the watch.

    Notes
    -----
    b = (r - 1) / sum ln(T/t); 2 b0 sum ln(T/t) is chi-square with 2r degrees of freedom for the true b0.
    Source: nist-handbook, mil-hdbk-189

    Examples
    --------
    >>> times = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
    >>> fit = power_law(times, 1500, confidence=0.8)
    >>> round(fit.b, 6), round(fit.mean_between_end, 3)
    (0.483506, 310.234)
    """
    from scipy.special import chdtri, ndtri

    r = len(times)
    if r < 2 or any(not 0 < t <= end for t in times):
        expected = "two or more, above 0 and up to the end of the watch"
        raise MeasureError(Fault(f"these {r} events do not fit a watch of {end}", "times", expected))
    logs = math.fsum(math.log(end / t) for t in times)
    if logs <= 0:
        raise MeasureError(Fault("every event lies at the end of the watch", "times", "events before it"))
    b, likeliest, tail = (r - 1) / logs, r / logs, (1.0 - confidence) / 2.0
    z = float(ndtri(1.0 - tail))
    mean = end / (r * b)
    below = r + z * z / 4 + math.sqrt(r * z * z / 2 + z**4 / 16)
    above = r - z * math.sqrt(r / 2)
    return PowerLaw(
        b=b,
        a=r / end**b,
        b_likeliest=likeliest,
        a_likeliest=r / end**likeliest,
        b_low=float(chdtri(2 * r, 1.0 - tail)) / (2 * logs),
        b_high=float(chdtri(2 * r, tail)) / (2 * logs),
        mean_between_end=mean,
        mean_low=mean * r * (r - 1) / below**2,
        mean_high=mean * r * (r - 1) / above**2 if above > 0 else math.inf,
        events=r,
        confidence=confidence,
    )


@dataclass(frozen=True)
class RateRatio:
    """One rate over another with exact limits, and the two-sided probability of so much difference at equal rates.

    `ratio` is infinite where the second has no event, nan where neither has.
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
    >>> rates = rate_ratio(15, 1.0, 5, 1.0)
    >>> rates.ratio, round(rates.low, 3), round(rates.high, 3)
    (3.0, 1.036, 10.551)
    """
    from scipy.special import betaincinv

    if events < 0 or other_events < 0 or not (time > 0 and other_time > 0):
        raise MeasureError(Fault("a count below 0 or a time not above 0", "events, time"))
    both, tail = events + other_events, (1.0 - confidence) / 2.0
    if both == 0:
        return RateRatio(math.nan, 0.0, math.inf, 1.0)
    low = float(betaincinv(events, other_events + 1, tail)) if events else 0.0
    high = float(betaincinv(events + 1, other_events, 1 - tail)) if other_events else 1.0
    scale = other_time / time
    p = _binomial_p(events, both, time / (time + other_time))
    ratio = events / other_events * scale if other_events else math.inf
    return RateRatio(ratio, low / (1 - low) * scale, high / (1 - high) * scale if high < 1 else math.inf, p)


def _binomial_p(events: int, n: int, share: float) -> float:
    """Two-sided: the chance of all outcomes that are no likelier than this one."""
    from scipy.special import gammaln, xlogy

    k = np.arange(n + 1)
    log_chance = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    log_chance = log_chance + xlogy(k, share) + xlogy(n - k, 1 - share)
    no_likelier = log_chance <= log_chance[events] + 1e-7
    return min(1.0, float(np.exp(log_chance[no_likelier]).sum()))


def holm(p_values: Sequence[float]) -> list[float]:
    """Correct probabilities for the number of comparisons, by Holm's step-down method.

    Parameters
    ----------
    p_values : sequence of float
        One a comparison.

    Returns
    -------
    list of float
        In the same order.

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
