"""One line of the order book a web: on hand, need, when to order, how much, at which chance."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.language import tr
from lineview.order.demand import Demand, Need
from lineview.order.policy import (
    Advice,
    DailyNeed,
    Supply,
    advise,
    chance_before_open,
    cover_bounds,
    fan,
    reels_to_order,
    reorder_point,
)
from lineview.order.reels_needed import rounded_order
from lineview.order.stock import OnHand, on_hand
from lineview.plant import Plant, Web
from lineview.wrap.reels import full_reel_m

#: Weeks that one order is to last where costs are not known: an assumption.
COVER_WEEKS = 4.0
#: Chance of running out before the delivery that is accepted unless the buyer says otherwise.
RISK = 0.05


@dataclass(frozen=True)
class OrderLine:
    """The advice on one web, or why there is none.

    `advice` is None where the day to order is not known; `why_none` then says why. Reels are of the
    length of a new reel.
    """

    web: Web
    need: Need
    basis: str
    reel_m: float
    on_hand: OnHand | None
    supply: Supply | None
    advice: Advice | None
    why_none: str
    order_by: datetime | None
    arrives: datetime | None
    quantity_basis: str = ""
    wanted_reels: float = 0.0
    risk: float = RISK

    @property
    def reorder_reels(self) -> float | None:
        """Position, on hand and on order, at which a daily look orders at the coming weeks' need."""
        if self.web.lead_time_days is None:
            return None
        weeks = max(round((self.web.lead_time_days + 7.0) / 7.0), 1)
        if self.need.week_mean[:weeks].mean() <= 0:
            return None
        mean, variance = self.need.week_mean[:weeks].mean(), (self.need.week_sd[:weeks] ** 2).mean()
        return reorder_point(
            DailyNeed(float(mean) / 7.0, math.sqrt(float(variance) / 7.0)),
            self.risk,
            lead_days=self.web.lead_time_days,
            lead_sd_days=self.web.lead_time_sd_days,
        )

    @property
    def open_risk(self) -> tuple[float, float] | None:
        """The greatest chance of running out before an open delivery, and its day from now; None if none."""
        return None if self.supply is None else chance_before_open(self.need, self.supply)

    @property
    def cover_interval(self) -> tuple[float | None, float | None]:
        """Days of cover in a demand high and a demand low, each with 1 chance in 20; None beyond a year."""
        if self.supply is None:
            return None, None
        low, high = cover_bounds(self.need, self.supply)
        return (None if math.isinf(low) else low), (None if math.isinf(high) else high)

    @property
    def week_reels(self) -> float:
        """Reels that the coming week is expected to take."""
        return float(self.need.week_mean[0])


def order_line(
    web: Web,
    need: Need,
    basis: str,
    reel_m: float,
    stock: OnHand | None,
    used_since_m: float,
    now: datetime,
    *,
    risk: float,
    weeks: float = COVER_WEEKS,
) -> OrderLine:
    """Advise on one web."""
    if stock is None:
        why = tr("no stock count of {web}", web=web.id)
        return OrderLine(web, need, basis, reel_m, None, None, None, why, None, None)
    supply = _supply(web, stock, used_since_m, reel_m, now)
    if web.lead_time_days is None:
        why = tr("no lead_time_days in plant.toml for {web}", web=web.id)
        return OrderLine(web, need, basis, reel_m, stock, supply, None, why, None, None)
    target, lasts = reels_to_order(web, need, weeks)
    quantity = rounded_order(math.ceil(target - 1e-9), web.minimum_reels, web.multiple_reels)
    advice = advise(
        need, supply, lead_days=web.lead_time_days, lead_sd_days=web.lead_time_sd_days, risk=risk, quantity=quantity
    )
    due = advice.order_in_days
    order_by = None if due is None else now + timedelta(days=due)
    arrives = None if order_by is None else order_by + timedelta(days=web.lead_time_days)
    return OrderLine(web, need, basis, reel_m, stock, supply, advice, "", order_by, arrives, lasts, target, risk)


def _supply(web: Web, stock: OnHand, used_since_m: float, reel_m: float, now: datetime) -> Supply:
    """Turn a count into reels on hand now and open deliveries in days from now.

    A delivery without a date is expected a lead time after the count; one that is late comes tomorrow.
    """
    coming = []
    for delivery in stock.deliveries:
        at = delivery.at or stock.counted_at + timedelta(days=web.lead_time_days or 0.0)
        coming.append((max((at - now) / timedelta(days=1), 1.0), delivery.reels))
    return Supply(max(stock.metres - used_since_m, 0.0) / reel_m, tuple(sorted(coming)))


def line_fan(line: OrderLine, supply: Supply, now: datetime) -> Mapping[str, object]:
    """The fan of one line's reels on hand, with the advised delivery as a step."""
    added: list[tuple[float, float]] = []
    until = 56.0
    if line.advice is not None and line.arrives is not None:
        comes = (line.arrives - now) / timedelta(days=1)
        added = [(comes, float(line.advice.reels))]
        until = math.ceil((comes + 28.0) / 7.0) * 7.0
    steps = [at for at, _ in (*supply.coming, *added) if at <= until]
    days = np.sort(np.concatenate([np.arange(0.0, until + 0.5, 3.5), steps, steps]))
    bands = fan(line.need, supply, added, days)
    return {"week": days / 7.0, "at": [now + timedelta(days=float(d)) for d in days], **bands}


_FAR = timedelta(days=36_500)


@dataclass(frozen=True)
class Counts:
    """The latest stock count of every web that has one, by web id."""

    by_web: Mapping[str, OnHand]


def latest_counts(plant: Plant, stock: pl.DataFrame) -> Counts:
    """Read the latest count of every web.

    Parameters
    ----------
    plant : Plant
        For the webs and how people call them.
    stock : polars.DataFrame
        STOCK.

    Returns
    -------
    Counts
        A web may be called by its id, its name, or its kind where it is the only one of it.
    """
    counts = {}
    for web in plant.webs:
        shelf = on_hand(web, stock, names_of(plant, web), plant.zone)
        if shelf is not None:
            counts[web.id] = shelf
    return Counts(counts)


def names_of(plant: Plant, web: Web) -> list[str]:
    """The names that a log may use for a web."""
    alone = sum(other.kind == web.kind for other in plant.webs) == 1
    return [name for name in (web.id, web.name, web.kind if alone else "") if name]


def order_lines(
    plant: Plant,
    demand: Demand,
    counts: Counts,
    used_since_m: Mapping[str, float],
    now: datetime,
    *,
    risk: float = RISK,
) -> list[OrderLine]:
    """Advise on every web that has a need."""
    lines = []
    for web in plant.webs:
        reel_m, need = full_reel_m(web), demand.by_web.get(web.id)
        if reel_m is None or need is None:
            continue
        use = counts.by_web.get(web.id), used_since_m.get(web.id, 0.0)
        lines.append(order_line(web, need, demand.basis[web.id], reel_m, *use, now, risk=risk))
    return sorted(lines, key=lambda line: (line.order_by or now + _FAR, -line.week_reels))
