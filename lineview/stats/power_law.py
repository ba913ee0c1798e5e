"""The power-law process: events whose rate rises or falls as a power of the time run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class PowerLaw:
    """Expected events up to t are a t^b; b above 1: they come more and more often.

    Parameters
    ----------
    b, a : float
        Shape, its bias taken out, and scale to match.
    b_likeliest, a_likeliest : float
        Maximum likelihood without that correction.
    b_low, b_high : float
        Exact confidence limits of the shape.
    mean_between_end : float
        Mean time between events at the end of the watch.
    mean_low, mean_high : float
        Its approximate confidence limits; `mean_high` infinite where there are too few events.
    events : int
        Events behind it.
    confidence : float
        Of the limits.
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
    from scipy.stats import chi2, norm

    r = len(times)
    if r < 2 or any(not 0 < t <= end for t in times):
        wanted = "two or more, above 0 and up to the end of the watch"
        raise MeasureError(Fault(f"these {r} events do not fit a watch of {end}", "times", wanted))
    logs = math.fsum(math.log(end / t) for t in times)
    if logs <= 0:
        raise MeasureError(Fault("every event lies at the end of the watch", "times", "events before it"))
    b, likeliest, tail = (r - 1) / logs, r / logs, (1.0 - confidence) / 2.0
    z = float(norm.ppf(1.0 - tail))
    mean = end / (r * b)
    below = r + z * z / 4 + math.sqrt(r * z * z / 2 + z**4 / 16)
    above = r - z * math.sqrt(r / 2)
    return PowerLaw(
        b=b,
        a=r / end**b,
        b_likeliest=likeliest,
        a_likeliest=r / end**likeliest,
        b_low=float(chi2.ppf(tail, 2 * r)) / (2 * logs),
        b_high=float(chi2.ppf(1 - tail, 2 * r)) / (2 * logs),
        mean_between_end=mean,
        mean_low=mean * r * (r - 1) / below**2,
        mean_high=mean * r * (r - 1) / above**2 if above > 0 else math.inf,
        events=r,
        confidence=confidence,
    )
