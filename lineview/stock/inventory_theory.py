"""Established economic order quantities, with price breaks."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lineview.errors import Fault, MeasureError
from lineview.stock.above_zero import positive


@dataclass(frozen=True)
class Economic:
    """An economic order quantity and its cost a unit of time; `backorder_share` where shortage is allowed."""

    quantity: float
    cost: float
    backorder_share: float = 0.0


def economic_quantity(fixed: float, holding: float, rate: float) -> Economic:
    """Give the economic order quantity √(2 K λ ÷ h) and its cost.

    Parameters
    ----------
    fixed : float
        Cost of an order, whatever its size (K).
    holding : float
        Cost of holding one unit for one unit of time (h).
    rate : float
        Demand in one unit of time (λ).

    Returns
    -------
    Economic
        Quantity and cost of ordering and holding.

    Notes
    -----
    Source: harris-1913, snyder-shen

    Examples
    --------
    >>> round(economic_quantity(8, 0.225, 1300).quantity, 3)
    304.047
    """
    positive(fixed=fixed, holding=holding, rate=rate)
    quantity = math.sqrt(2.0 * fixed * rate / holding)
    return Economic(quantity, math.sqrt(2.0 * fixed * rate * holding))


@dataclass(frozen=True)
class PriceBreak:
    """A price for each unit from a quantity on."""

    from_quantity: float
    price: float


def quantity_with_breaks(
    fixed: float, holding_share: float, rate: float, breaks: tuple[PriceBreak, ...]
) -> tuple[Economic, PriceBreak]:
    """Give the cheapest quantity where the price of all units falls with the quantity.

    Parameters
    ----------
    fixed : float
        Cost of an order, whatever its size (K).
    holding_share : float
        Cost of holding in a unit of time over the price.
    rate : float
        Demand in one unit of time (λ).
    breaks : tuple of PriceBreak
        Prices, from any quantity on.

    Returns
    -------
    (Economic, PriceBreak)
        Quantity with the whole cost a unit of time (purchase, ordering, holding), and the price paid.

    Notes
    -----
    Source: snyder-shen

    Examples
    --------
    >>> prices = (PriceBreak(0, 5.0), PriceBreak(1000, 4.8), PriceBreak(2500, 4.75))
    >>> best, paid = quantity_with_breaks(49, 0.2, 5000, prices)
    >>> round(best.quantity), paid.price, round(best.cost)
    (1000, 4.8, 24725)
    """
    positive(fixed=fixed, holding_share=holding_share, rate=rate)
    ordered = sorted(breaks, key=lambda b: b.from_quantity)
    if not ordered or any(b.price <= 0 for b in ordered):
        raise MeasureError(Fault("no price, or one that is not above 0", "breaks", "prices above 0"))
    found = []
    for k, step in enumerate(ordered):
        holding = holding_share * step.price
        least = max(step.from_quantity, 0.0)
        most = ordered[k + 1].from_quantity if k + 1 < len(ordered) else math.inf
        quantity = max(economic_quantity(fixed, holding, rate).quantity, least)
        if quantity < most:
            cost = step.price * rate + fixed * rate / quantity + holding * quantity / 2.0
            found.append((Economic(quantity, cost), step))
    return min(found, key=lambda pair: pair[0].cost)
