"""Safety stock where demand and lead time both vary."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class LeadDemand:
    """Demand over a lead time: mean and standard deviation."""

    mean: float
    sd: float


def lead_time_demand(rate: float, rate_sd: float, lead: float, lead_sd: float) -> LeadDemand:
    """Give the demand over a lead time that itself varies: μL, √(L σ² + μ² σL²).

    Parameters
    ----------
    rate, rate_sd : float
        Demand in one unit of time and its standard deviation.
    lead, lead_sd : float
        Lead time and its standard deviation.

    Returns
    -------
    LeadDemand
        Mean and standard deviation.

    Notes
    -----
    Source: snyder-shen

    Examples
    --------
    >>> demand = lead_time_demand(2500, 500, 7, 7)
    >>> round(demand.sd)
    17550
    """
    if min(rate, rate_sd, lead, lead_sd) < 0:
        raise MeasureError(Fault("a mean or spread is negative", "rate", "0 or more"))
    return LeadDemand(rate * lead, math.sqrt(lead * rate_sd**2 + (rate * lead_sd) ** 2))


def safety_stock(service: float, demand: LeadDemand) -> float:
    """Give the stock beyond the expected demand that keeps a cycle from running out with this chance.

    Parameters
    ----------
    service : float
        Chance of not running out in a cycle.
    demand : LeadDemand
        Over the lead time, normal.
    """
    from scipy.stats import norm

    if not 0 < service < 1:
        raise MeasureError(Fault(f"a service level of {service:g}", "service", "between 0 and 1"))
    return float(norm.ppf(service)) * demand.sd
