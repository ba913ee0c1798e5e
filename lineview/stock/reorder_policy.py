"""Reorder point and quantity (r, Q) for a normal lead-time demand: exact cost, optimum and approximations."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lineview.stock.above_zero import positive
from lineview.stock.demand_loss import normal_loss, standard_normal_loss2, z_for_loss
from lineview.stock.inventory_theory import economic_quantity, economic_quantity_backorders
from lineview.stock.safety_stock import LeadDemand


@dataclass(frozen=True)
class Policy:
    """Order `quantity` when the stock position falls to `reorder`; `cost` a unit of time where known."""

    reorder: float
    quantity: float
    cost: float | None = None


@dataclass(frozen=True)
class Costs:
    """Cost of an order, of holding a unit for a unit of time, of a shortage, and demand in a unit of time.

    `shortage` is for each unit that waits a unit of time, except in `with_cost_per_unit_short`.
    """

    fixed: float
    holding: float
    shortage: float
    rate: float


def exact_cost(costs: Costs, demand: LeadDemand, policy: Policy) -> float:
    """Give the expected cost a unit of time of a reorder policy.

    Parameters
    ----------
    costs : Costs
        With the shortage cost a unit and unit of time.
    demand : LeadDemand
        Over the lead time, normal.
    policy : Policy
        Reorder point and quantity.

    Returns
    -------
    float
        (K λ + ∫ from r to r + Q of g) ÷ Q, with g the cost rate at a stock position.

    Notes
    -----
    The integral of the loss is the second-order loss, so nothing is approximated.

    Source: snyder-shen
    """
    r, q, s = policy.reorder, policy.quantity, demand.sd
    over = s * s * (_loss2(r, demand) - _loss2(r + q, demand))
    # h E(y − D)⁺ = h (y − μ) + h E(D − y)⁺, integrated over the positions from r to r + Q.
    held = q * (r - demand.mean) + q * q / 2.0
    area = costs.holding * held + (costs.holding + costs.shortage) * over
    return (costs.fixed * costs.rate + area) / q


def _loss2(y: float, demand: LeadDemand) -> float:
    return standard_normal_loss2((y - demand.mean) / demand.sd)


def position_cost(costs: Costs, demand: LeadDemand, position: float) -> float:
    """Give the cost rate at a stock position: h E(y − D)⁺ + p E(D − y)⁺.

    Parameters
    ----------
    costs, demand
        As in `exact_cost`.
    position : float
        On hand and on order.
    """
    short = normal_loss(position, demand.mean, demand.sd)
    return costs.holding * (position - demand.mean + short) + costs.shortage * short


def best_reorder(costs: Costs, demand: LeadDemand, quantity: float) -> float:
    """Give the best reorder point for a given quantity: where the cost rate at r equals that at r + Q.

    Parameters
    ----------
    costs, demand
        As in `exact_cost`.
    quantity : float
        Units there are, or in an order.

    Notes
    -----
    Source: snyder-shen
    """
    from scipy.optimize import brentq

    positive(quantity=quantity)
    low = demand.mean - quantity - 10.0 * demand.sd
    high = demand.mean + 10.0 * demand.sd

    def gap(r: float) -> float:
        return position_cost(costs, demand, r) - position_cost(costs, demand, r + quantity)

    return float(brentq(gap, low, high, xtol=1e-11))


def best_policy(costs: Costs, demand: LeadDemand) -> Policy:
    """Give the policy of least exact cost.

    Parameters
    ----------
    costs, demand
        As in `exact_cost`.

    Notes
    -----
    Source: snyder-shen
    """
    from scipy.optimize import minimize_scalar

    start = economic_quantity_backorders(costs.fixed, costs.holding, costs.shortage, costs.rate).quantity

    def cost(log_quantity: float) -> float:
        quantity = math.exp(log_quantity)
        return exact_cost(costs, demand, Policy(best_reorder(costs, demand, quantity), quantity))

    found = minimize_scalar(
        cost, bounds=(math.log(start / 20), math.log(start * 20)), method="bounded", options={"xatol": 1e-9}
    )
    quantity = math.exp(float(found.x))
    return Policy(best_reorder(costs, demand, quantity), quantity, float(found.fun))


def with_safety_stock(costs: Costs, demand: LeadDemand) -> Policy:
    """Give the economic quantity with a reorder point at the critical ratio p ÷ (p + h).

    Parameters
    ----------
    costs, demand
        As in `exact_cost`.

    Notes
    -----
    Source: snyder-shen
    """
    from scipy.stats import norm

    z = float(norm.ppf(costs.shortage / (costs.shortage + costs.holding)))
    quantity = economic_quantity(costs.fixed, costs.holding, costs.rate).quantity
    return Policy(demand.mean + z * demand.sd, quantity)


def with_backorder_quantity(costs: Costs, demand: LeadDemand) -> Policy:
    """Give the economic quantity with backorders, and the best reorder point for it.

    Parameters
    ----------
    costs, demand
        As in `exact_cost`.

    Notes
    -----
    Source: snyder-shen
    """
    quantity = economic_quantity_backorders(costs.fixed, costs.holding, costs.shortage, costs.rate).quantity
    return Policy(best_reorder(costs, demand, quantity), quantity)


def by_loss(costs: Costs, demand: LeadDemand) -> Policy:
    """Give the policy by the loss-function approximation: n(r) = h Q ÷ (h + p), Q from the second-order loss.

    Parameters
    ----------
    costs, demand
        As in `exact_cost`.

    Notes
    -----
    Source: snyder-shen
    """
    quantity = economic_quantity(costs.fixed, costs.holding, costs.rate).quantity
    reorder = demand.mean
    for _ in range(500):
        z = z_for_loss(costs.holding * quantity / (costs.holding + costs.shortage) / demand.sd)
        reorder = demand.mean + z * demand.sd
        second = demand.sd**2 * standard_normal_loss2(z)
        extra = (costs.holding + costs.shortage) * second
        following = math.sqrt(2.0 * (costs.fixed * costs.rate + extra) / costs.holding)
        if abs(following - quantity) < 1e-11 * quantity:
            break
        quantity = following
    return Policy(reorder, quantity)


def with_cost_per_unit_short(costs: Costs, demand: LeadDemand) -> Policy:
    """Give (Q, R) where each unit short costs, however long it waits.

    Parameters
    ----------
    costs : Costs
        `shortage` for each unit short.
    demand : LeadDemand
        Over the lead time, normal.

    Returns
    -------
    Policy
        Q = √(2 λ (K + p n(R)) ÷ h) and 1 − F(R) = Q h ÷ (p λ), in turn until both hold.

    Notes
    -----
    Source: snyder-shen, nahmias
    """
    from scipy.stats import norm

    quantity = economic_quantity(costs.fixed, costs.holding, costs.rate).quantity
    reorder, short = demand.mean, 0.0
    for _ in range(500):
        z = float(norm.isf(min(quantity * costs.holding / (costs.shortage * costs.rate), 0.999999)))
        reorder = demand.mean + z * demand.sd
        short = normal_loss(reorder, demand.mean, demand.sd)
        following = math.sqrt(2.0 * costs.rate * (costs.fixed + costs.shortage * short) / costs.holding)
        if abs(following - quantity) < 1e-12 * quantity:
            break
        quantity = following
    cost = (
        costs.holding * (quantity / 2.0 + reorder - demand.mean)
        + costs.fixed * costs.rate / quantity
        + costs.shortage * costs.rate * short / quantity
    )
    return Policy(reorder, quantity, cost)
