"""How many reels one order is: the economic quantity where costs are known, capped by shelf life."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lineview.core.errors import Fault, MeasureError
from lineview.order.demand import Need
from lineview.plant import Web


def positive(**values: float) -> None:
    """Raise for every value that is not a number above 0."""
    faults = [
        Fault(f"{name} is {value:g}", name, "a number above 0")
        for name, value in values.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if faults:
        raise MeasureError(faults)


@dataclass(frozen=True)
class Economic:
    """An economic order quantity and its cost a unit of time; `backorder_share` where shortage is allowed."""

    quantity: float
    cost: float
    backorder_share: float = 0.0


def economic_quantity(fixed: float, holding: float, rate: float) -> Economic:
    """The economic order quantity √(2 K λ ÷ h) and its cost.

    Source: harris-1913, snyder-shen
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
    """The cheapest quantity where the price of all units falls with the quantity.

    Source: snyder-shen
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


WEEKS_A_YEAR = 365.25 / 7.0


def wanted_reels(web: Web, need: Need, weeks: float) -> tuple[float, str]:
    """The reels that one order is to bring, before minimum and multiple.

    Source: snyder-shen, harris-1913
    """
    lead = web.lead_time_days or 0.0
    economic = economic_reels(web, need)
    if economic is None:
        wanted = _between(need, lead, lead + 7.0 * weeks)
        said = f"{weeks:g} weeks' need, {wanted:.1f} reels (an assumption: freight or holding cost not known)"
    else:
        wanted, said = economic, f"the economic quantity, {economic:.1f} reels"
    if web.under_delivery_percent:
        wanted /= 1.0 - web.under_delivery_percent / 100.0
        said += f", {wanted:.1f} as a delivery may come {web.under_delivery_percent:g} % short"
    if web.shelf_life_days is not None:
        most = _between(need, lead, lead + web.shelf_life_days)
        if wanted > most:
            wanted, said = most, f"what is used within its shelf life of {web.shelf_life_days:g} days"
    return max(wanted, 1.0), said


def economic_reels(web: Web, need: Need) -> float | None:
    """Economic order quantity of a web [reels], price breaks included; None where costs are unknown."""
    yearly = float(np.mean(need.week_mean)) * WEEKS_A_YEAR
    costs = (web.price_per_reel, web.freight_per_order, web.holding_percent_per_year)
    if yearly <= 0 or any(not cost for cost in costs):
        return None
    price, freight, holding = (float(cost or 0.0) for cost in costs)
    steps = (PriceBreak(0.0, price), *[PriceBreak(float(s.from_reels), s.price_per_reel) for s in web.price_breaks])
    return quantity_with_breaks(freight, holding / 100.0, yearly, steps)[0].quantity


def price_at(web: Web, reels: float) -> float | None:
    """The price a reel of an order of so many reels; None where there is none."""
    reached = [s for s in web.price_breaks if reels >= s.from_reels]
    return max(reached, key=lambda s: s.from_reels).price_per_reel if reached else web.price_per_reel


def _between(need: Need, start: float, end: float) -> float:
    return float(np.diff(need.mean(np.array([start, end])))[0])
