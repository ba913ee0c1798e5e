"""Reorder points for a service level: the share of cycles without, and of demand beyond, a shortage."""

from __future__ import annotations

import math

from lineview.errors import Fault, MeasureError
from lineview.stock.demand_loss import normal_loss, poisson_loss, z_for_loss
from lineview.stock.inventory_theory import economic_quantity
from lineview.stock.reorder_policy import Costs, Policy
from lineview.stock.safety_stock import LeadDemand, safety_stock


def cycle_service_reorder(service: float, demand: LeadDemand) -> float:
    """Give the reorder point at which a cycle does not run out with this chance (type 1).

    Parameters
    ----------
    service : float
        Chance of not running out in a cycle.
    demand : LeadDemand
        Over the lead time, normal.

    Notes
    -----
    Source: nahmias
    """
    return demand.mean + safety_stock(service, demand)


def fill_rate_reorder(share: float, demand: LeadDemand, quantity: float) -> float:
    """Give the reorder point at which this share of demand is met from stock (type 2): n(R) = (1 − β) Q.

    Parameters
    ----------
    share : float
        Chance, or share of the demand.
    demand : LeadDemand
        Over the lead time, normal.
    quantity : float
        Units there are, or in an order.

    Notes
    -----
    Source: nahmias
    """
    _share(share)
    return demand.mean + demand.sd * z_for_loss((1.0 - share) * quantity / demand.sd)


def fill_rate_policy(share: float, costs: Costs, demand: LeadDemand) -> Policy:
    """Give quantity and reorder point together for a fill rate (type 2).

    Parameters
    ----------
    share : float
        Of the demand to be met from stock.
    costs : Costs
        Its shortage cost is not used: the fill rate implies one.
    demand : LeadDemand
        Over the lead time, normal.

    Returns
    -------
    Policy
        Q = n(R) ÷ (1 − F(R)) + √(2 K λ ÷ h + (n(R) ÷ (1 − F(R)))²) and n(R) = (1 − β) Q, in turn.

    Notes
    -----
    Source: nahmias
    """
    from scipy.stats import norm

    first = economic_quantity(costs.fixed, costs.holding, costs.rate).quantity
    quantity, reorder = first, demand.mean
    for _ in range(500):
        reorder = fill_rate_reorder(share, demand, quantity)
        z = (reorder - demand.mean) / demand.sd
        ratio = normal_loss(reorder, demand.mean, demand.sd) / float(norm.sf(z))
        following = ratio + math.sqrt(first**2 + ratio**2)
        if abs(following - quantity) < 1e-12 * quantity:
            break
        quantity = following
    return Policy(reorder, quantity)


def poisson_policy(costs: Costs, lead_mean: float, *, most: int = 100_000) -> Policy:
    """Give the whole-numbered policy of least exact cost where lead-time demand is Poisson.

    Parameters
    ----------
    costs : Costs
        With the shortage cost a unit and unit of time.
    lead_mean : float
        Mean demand over the lead time.
    most : int
        Quantities looked at before giving up.

    Returns
    -------
    Policy
        Grown from the cheapest stock position by adding the cheaper neighbour until cost no longer falls.

    Notes
    -----
    The algorithm of Federgruen and Zheng.

    Source: snyder-shen
    """

    def rate(position: int) -> float:
        short = poisson_loss(position, lead_mean) if position >= 0 else lead_mean - position
        return costs.holding * (position - lead_mean + short) + costs.shortage * short

    best = math.floor(lead_mean)
    while rate(best + 1) < rate(best):
        best += 1
    while rate(best - 1) < rate(best):
        best -= 1
    reorder, quantity, total = best - 1, 1, costs.fixed * costs.rate + rate(best)
    while quantity < most:
        below, above = rate(reorder), rate(reorder + quantity + 1)
        if min(below, above) >= total / quantity:
            return Policy(float(reorder), float(quantity), total / quantity)
        total += min(below, above)
        quantity += 1
        reorder -= below <= above
    raise MeasureError(Fault("no best quantity was found", "most", f"one below {most}"))


def _share(share: float) -> None:
    if not 0 < share < 1:
        raise MeasureError(Fault(f"a share of {share:g}", "share", "between 0 and 1"))
