"""How many reels one order is: the economic quantity where costs are known, capped by shelf life."""

from __future__ import annotations

import numpy as np

from lineview.plant import Web
from lineview.stock.inventory_theory import PriceBreak, quantity_with_breaks
from lineview.stock.need import Need

WEEKS_A_YEAR = 365.25 / 7.0


def wanted_reels(web: Web, need: Need, weeks: float) -> tuple[float, str]:
    """Give the reels that one order is to bring, before minimum and multiple.

    Parameters
    ----------
    web : Web
        Its price, freight, holding cost, price breaks, shelf life and tolerance.
    need : Need
        In reels.
    weeks : float
        Weeks an order is to last where price, freight or holding cost is not known.

    Returns
    -------
    (float, str)
        Reels and what they rest on. Where a delivery may come short, as much more is ordered; what would
        lie longer than its shelf life is not.

    Notes
    -----
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
    """Give the economic order quantity of a web [reels], price breaks included; None where costs are unknown.

    Parameters
    ----------
    web : Web
        Its price, freight, holding cost and price breaks.
    need : Need
        In reels.

    Returns
    -------
    float or None
        Reels.
    """
    yearly = float(np.mean(need.week_mean)) * WEEKS_A_YEAR
    costs = (web.price_per_reel, web.freight_per_order, web.holding_percent_per_year)
    if yearly <= 0 or any(not cost for cost in costs):
        return None
    price, freight, holding = (float(cost or 0.0) for cost in costs)
    steps = (
        PriceBreak(0.0, price),
        *[PriceBreak(float(s.from_reels), s.price_per_reel) for s in web.price_breaks],
    )
    return quantity_with_breaks(freight, holding / 100.0, yearly, steps)[0].quantity


def price_at(web: Web, reels: float) -> float | None:
    """Give the price a reel of an order of so many reels; None where there is none.

    Parameters
    ----------
    web : Web
        Its price and price breaks.
    reels : float
        In the order.

    Returns
    -------
    float or None
        Price a reel.
    """
    reached = [s for s in web.price_breaks if reels >= s.from_reels]
    return max(reached, key=lambda s: s.from_reels).price_per_reel if reached else web.price_per_reel


def _between(need: Need, start: float, end: float) -> float:
    return float(np.diff(need.mean(np.array([start, end])))[0])
