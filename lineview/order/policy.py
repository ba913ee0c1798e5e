"""When to order a web and how much (economic quantity, capped by shelf life); the chance of running out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineview.core.errors import Fault, MeasureError, check_positive
from lineview.core.language import mark, tr
from lineview.order.demand import Need, gamma_beyond
from lineview.plant import Web
from lineview.stats.optimum import root_between

Floats = npt.NDArray[np.float64]
VALUES = 31


def lead_time_values(mean_days: float, sd_days: float, values: int = VALUES) -> Floats:
    """Give equally likely lead times [days] with this mean and spread.

    Takes `mean_days`, `sd_days` [days].
    """
    if mean_days <= 0 or sd_days <= 0:
        return np.array([max(float(mean_days), 0.0)])
    from scipy.special import gammaincinv

    shape = (mean_days / sd_days) ** 2
    shares = (np.arange(values) + 0.5) / values
    return np.asarray(gammaincinv(shape, shares) * sd_days**2 / mean_days)


#: No order is looked for beyond this many days.
HORIZON_DAYS = 364.0
#: Days looked at in one go.
_CHUNK = 49
_DAYS = np.arange(0.0, HORIZON_DAYS + 1.0)


@dataclass(frozen=True)
class Supply:
    """What is on hand [reels], and the open deliveries as (days from now, reels)."""

    on_hand: float
    coming: tuple[tuple[float, float], ...] = ()

    def by(self, days: float) -> float:
        """The reels that have been there up to just before a day."""
        return self.on_hand + sum(reels for at, reels in self.coming if at < days)


@dataclass(frozen=True)
class Advice:
    """When to order one web and how much.

    `order_in_days` is None where no order is due within the horizon, and 0 where it is due or late; `chance`
    is that of running out before the order comes, ordered then; `chance_week_later` the same a week later.
    `halving_reels` are the reels more on the shelf if ordered early enough to halve the chance.
    """

    order_in_days: float | None
    reels: int
    chance: float
    chance_week_later: float
    chance_now: float
    cover_days: float
    safety_reels: float
    halving_reels: float


def chances_before_delivery(need: Need, supply: Supply, order_in_days: Floats, leads: Floats) -> Floats:
    """The chance of running out before an order comes, for each of several days to place it.

    Takes `leads` [days].
    """
    ends = np.asarray(order_in_days, dtype=float)[:, None] + leads[None, :]
    on_hand = np.full(ends.shape, supply.on_hand)
    for at, reels in supply.coming:
        on_hand += np.where(at < ends, reels, 0.0)
    chance = need.exceeds(ends, on_hand)
    return np.asarray(chance.mean(axis=1))


def chance_before_open(need: Need, supply: Supply) -> tuple[float, float] | None:
    """The greatest chance of running out before an open delivery, and its day; None without one."""
    chances = [(float(need.exceeds(at, supply.by(at))), at) for at, _ in supply.coming if at > 0]
    return max(chances) if chances else None


def latest_day(need: Need, supply: Supply, leads: Floats, risk: float) -> float | None:
    """Find the last whole day from now on which ordering keeps the chance within an accepted one."""
    for days in np.split(_DAYS, np.arange(_CHUNK, len(_DAYS), _CHUNK)):
        over = np.flatnonzero(chances_before_delivery(need, supply, days, leads) > risk)
        if len(over):
            return float(max(days[over[0]] - 1.0, 0.0))
    return None


def advise(need: Need, supply: Supply, *, lead_days: float, lead_sd_days: float, risk: float, quantity: int) -> Advice:
    """Advise on one web.

    Takes `lead_days`, `lead_sd_days` [days].
    """
    leads = lead_time_values(lead_days, lead_sd_days)
    due = latest_day(need, supply, leads, risk)
    cover = cover_days(need, supply)
    if due is None:
        now, far = chances_before_delivery(need, supply, np.array([0.0, HORIZON_DAYS]), leads)
        return Advice(None, 0, float(far), float(far), float(now), cover, 0.0, 0.0)
    now, chance, later = chances_before_delivery(need, supply, np.array([0.0, due, due + 7.0]), leads)
    half = latest_day(need, supply, leads, risk / 2.0)
    earlier = due - (due if half is None else half)
    on_hand = supply.by(due + lead_days + 1e-9)
    return Advice(
        order_in_days=due,
        reels=quantity,
        chance=float(chance),
        chance_week_later=float(later),
        chance_now=float(now),
        cover_days=cover,
        safety_reels=on_hand - float(need.mean(due + lead_days)),
        halving_reels=float(need.mean(due + lead_days) - need.mean(due + lead_days - earlier)),
    )


def cover_days(need: Need, supply: Supply) -> float:
    """The days until the expected need has taken what is on hand and on order; inf beyond a year."""
    return _first_short(need.mean(_DAYS), supply)


def cover_bounds(need: Need, supply: Supply, share: float = 0.95) -> tuple[float, float]:
    """The days of cover where demand goes high and where it goes low, each with chance 1 − share."""
    return (_first_short(need.quantile(_DAYS, share), supply), _first_short(need.quantile(_DAYS, 1.0 - share), supply))


def _first_short(need_by_day: Floats, supply: Supply) -> float:
    """Find when a need that rises from day to day first passes what is there, also between two deliveries of a day."""
    on_hand, since = supply.on_hand, 0.0
    for at, reels in (*sorted(supply.coming), (math.inf, 0.0)):
        crossing = max(_passes(need_by_day, on_hand), since)
        if crossing < at:
            return crossing
        on_hand, since = on_hand + reels, at
    return math.inf


def _passes(need_by_day: Floats, reels: float) -> float:
    """Days until the need passes so many reels, in proportion within a day; inf where it never does."""
    day = int(np.searchsorted(need_by_day, reels, side="right"))
    if day in (0, len(need_by_day)):
        return math.inf if day else 0.0
    before = float(need_by_day[day - 1])
    return float(_DAYS[day - 1]) + (reels - before) / max(float(need_by_day[day]) - before, 1e-12)


def fan(need: Need, supply: Supply, added: Sequence[tuple[float, float]], days: Floats) -> dict[str, Floats]:
    """The reels on hand over the coming days as a fan.

    Gives [reels].
    """
    steps = [*supply.coming, *added]
    again = np.concatenate([[False], np.diff(days) == 0])
    on_hand = np.array(
        [
            supply.on_hand + sum(r for at, r in steps if at < day or (at <= day and twice))
            for day, twice in zip(days, again, strict=True)
        ]
    )
    shares = {"low90": 0.95, "low50": 0.75, "mid": 0.5, "high50": 0.25, "high90": 0.05}
    return {name: np.maximum(on_hand - need.quantile(days, share), 0.0) for name, share in shares.items()}


@dataclass(frozen=True)
class DailyNeed:
    """Need of a day: mean and standard deviation [reels], days independent of each other."""

    mean: float
    sd: float


def chance_of_running_out(need: DailyNeed, reorder: float, *, lead_days: float, lead_sd_days: float) -> float:
    """The chance that stock runs out between an order and its delivery.

    Takes `reorder` [reels], `lead_days`, `lead_sd_days` [days].

    The undershoot is how far the position has already fallen below the point when it is looked at: mean
    (σ² + μ²) ÷ 2μ and second moment E X³ ÷ 3μ of a day's need, as stock is looked at daily: so renewal theory
    has it for a point crossed long after the last delivery. With gamma-distributed need E X³ is known. Lead
    time is shared out over equally likely values of a gamma distribution.

    Source: renewal-undershoot, snyder-shen
    """
    leads = lead_time_values(lead_days, lead_sd_days)
    under_mean, under_variance = _undershoot(need.mean, need.sd**2)
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


def reorder_point(need: DailyNeed, risk: float, *, lead_days: float, lead_sd_days: float) -> float:
    """The reorder point that keeps the chance of running out in a cycle at `risk`.

    Takes `lead_days` [days], `lead_sd_days` [days]. Gives [reels].
    """

    def over(point: float) -> float:
        return chance_of_running_out(need, point, lead_days=lead_days, lead_sd_days=lead_sd_days) - risk

    days = lead_days + 10.0 * lead_sd_days + 2.0
    top = need.mean * days + 12.0 * need.sd * math.sqrt(days)
    while over(top) > 0:  # of a web needed seldom, then much at once, the undershoot alone is more
        top *= 2.0
    return root_between(over, 0.0, top, 1e-9)


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
    check_positive(fixed=fixed, holding=holding, rate=rate)
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
    check_positive(fixed=fixed, holding_share=holding_share, rate=rate)
    ordered = sorted(breaks, key=lambda b: b.from_quantity)
    if not ordered or any(b.price <= 0 for b in ordered):
        raise MeasureError(Fault(tr("no price, or one that is not above 0"), "breaks", tr("prices above 0")))
    options = []
    for k, step in enumerate(ordered):
        holding = holding_share * step.price
        least = max(step.from_quantity, 0.0)
        most = ordered[k + 1].from_quantity if k + 1 < len(ordered) else math.inf
        quantity = max(economic_quantity(fixed, holding, rate).quantity, least)
        if quantity < most:
            cost = step.price * rate + fixed * rate / quantity + holding * quantity / 2.0
            options.append((Economic(quantity, cost), step))
    return min(options, key=lambda pair: pair[0].cost)


WEEKS_A_YEAR = 365.25 / 7.0


def reels_to_order(web: Web, need: Need, weeks: float) -> tuple[float, str]:
    """The reels that one order is to bring, before minimum and multiple.

    Source: snyder-shen, harris-1913
    """
    lead = web.lead_time_days or 0.0
    economic = economic_reels(web, need)
    if economic is None:
        reels = _between(need, lead, lead + 7.0 * weeks)
        text = mark("{weeks:g} weeks' need, {reels:.1f} reels (an assumption: freight or holding cost not known)")
        basis = tr(text, weeks=weeks, reels=reels)
    else:
        reels, basis = economic, tr("the economic quantity, {reels:.1f} reels", reels=economic)
    if web.under_delivery_percent:
        reels /= 1.0 - web.under_delivery_percent / 100.0
        basis += tr(
            ", {reels:.1f} as a delivery may come {percent:g} % short", reels=reels, percent=web.under_delivery_percent
        )
    if web.shelf_life_days is not None:
        most = _between(need, lead, lead + web.shelf_life_days)
        if reels > most:
            reels = most
            basis = tr("what is used within its shelf life of {days:g} days", days=web.shelf_life_days)
    return max(reels, 1.0), basis


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
    breaks = [s for s in web.price_breaks if reels >= s.from_reels]
    return max(breaks, key=lambda s: s.from_reels).price_per_reel if breaks else web.price_per_reel


def _between(need: Need, start: float, end: float) -> float:
    return float(np.diff(need.mean(np.array([start, end])))[0])
