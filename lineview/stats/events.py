"""Exact limits for events that come at a constant rate, and for lengths that are exponential."""

from __future__ import annotations

import math

from lineview.errors import Fault, MeasureError


def _check(confidence: float, events: int, exposure: float) -> None:
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
    events: int, time: float, *, confidence: float = 0.95, ends_at_event: bool = False
) -> tuple[float, float]:
    """Give exact two-sided limits of the mean time between events.

    Parameters
    ----------
    events : int
        Events seen.
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
    from scipy.stats import chi2

    _check(confidence, events, time)
    tail = (1.0 - confidence) / 2.0
    above = 2 * events + (0 if ends_at_event else 2)
    low = 2.0 * time / float(chi2.ppf(1.0 - tail, above)) if above else 0.0
    high = 2.0 * time / float(chi2.ppf(tail, 2 * events)) if events else math.inf
    return low, high


def exponential_mean_limits(total: float, n: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Give exact limits of the mean of `n` complete exponential lengths that sum to `total`.

    Parameters
    ----------
    total : float
        Sum of the lengths.
    n : int
        How many; at least one.
    confidence : float
        Two-sided.

    Returns
    -------
    tuple of float
        Low and high.

    Notes
    -----
    2 sum / chi2 on 2n degrees of freedom.
    Source: nist-handbook

    Examples
    --------
    >>> low, high = exponential_mean_limits(1297.0, 12)
    >>> round(low, 1), round(high, 1)
    (65.9, 209.2)
    """
    return mean_between_limits(n, total, confidence=confidence, ends_at_event=True)
