"""The policy a works can follow: look at the position daily, order a quantity at the reorder point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineview.stats.optimum import root_between
from lineview.stock.lead_time import lead_time_values
from lineview.stock.need import gamma_beyond


@dataclass(frozen=True)
class DailyNeed:
    """Need of a day: mean and standard deviation [reels], days independent of each other."""

    mean: float
    sd: float


def chance_of_running_out(
    need: DailyNeed, reorder: float, *, lead_days: float, lead_sd_days: float, review_days: float = 1.0
) -> float:
    """Give the chance that stock runs out between an order and its delivery.

    Parameters
    ----------
    need : DailyNeed
        Of the web.
    reorder : float
        Position (on hand and on order) at or below which an order goes out [reels].
    lead_days, lead_sd_days : float
        Lead time and its standard deviation [days].
    review_days : float
        Days between two looks at the position.

    Returns
    -------
    float
        Mean over the lead times of the chance that lead-time need and undershoot pass the reorder point.

    Notes
    -----
    The undershoot is how far the position has already fallen below the point when it is looked at: mean
    (σ² + μ²) ÷ 2μ and second moment E X³ ÷ 3μ of the need between two looks, as renewal theory has it for a
    point crossed long after the last delivery; with gamma-distributed need E X³ is known. Lead time is
    shared out over equally likely values of a gamma distribution.

    Source: renewal-undershoot, snyder-shen
    """
    leads = lead_time_values(lead_days, lead_sd_days)
    mean, variance = need.mean * review_days, need.sd**2 * review_days
    under_mean, under_variance = _undershoot(mean, variance)
    means = need.mean * leads + under_mean
    sds = np.sqrt(need.sd**2 * leads + under_variance)
    return float(gamma_beyond(means, sds, np.full(len(leads), reorder)).mean())


def _undershoot(mean: float, variance: float) -> tuple[float, float]:
    """Give mean and variance of the undershoot below the reorder point."""
    if mean <= 0:
        return 0.0, 0.0
    shape = mean**2 / variance if variance > 0 else np.inf
    third = mean**3 * (1.0 + 3.0 / shape + 2.0 / shape**2) if np.isfinite(shape) else mean**3
    first = (variance + mean**2) / (2.0 * mean)
    return first, max(third / (3.0 * mean) - first**2, 0.0)


def reorder_point(
    need: DailyNeed, risk: float, *, lead_days: float, lead_sd_days: float, review_days: float = 1.0
) -> float:
    """Give the reorder point that keeps the chance of running out in a cycle at `risk`.

    Parameters
    ----------
    need : DailyNeed
        Of the web.
    risk : float
        Accepted chance of running out in a cycle.
    lead_days : float
        Lead time [days].
    lead_sd_days : float
        Its standard deviation [days].
    review_days : float
        Time between two looks at the position [days].

    Returns
    -------
    float
        Position [reels].

    Examples
    --------
    >>> point = reorder_point(DailyNeed(1.0, 0.3), 0.05, lead_days=21, lead_sd_days=4)
    >>> round(chance_of_running_out(DailyNeed(1.0, 0.3), point, lead_days=21, lead_sd_days=4), 4)
    0.05
    """

    def over(point: float) -> float:
        chance = chance_of_running_out(
            need, point, lead_days=lead_days, lead_sd_days=lead_sd_days, review_days=review_days
        )
        return chance - risk

    top = need.mean * (lead_days + 10.0 * lead_sd_days + review_days + 1.0) + 12.0 * need.sd * np.sqrt(
        lead_days + 10.0 * lead_sd_days + review_days + 1.0
    )
    if over(0.0) <= 0:
        return 0.0
    return root_between(over, 0.0, float(top), 1e-9)
