"""The order answer's figures: need, order day, quantity, chances and cover of each web."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period, Value
from lineview.core.language import mark, tr
from lineview.order.orders import OrderLine
from lineview.order.policy import Advice, price_at
from lineview.order.reels_needed import ReelsNeeded
from lineview.report.figures import FigureList

#: The figures of one web's advice, in the order shown.
ADVICE = (
    "order_by_{web}",
    "order_quantity_{web}",
    "chance_of_running_out_{web}",
    "chance_waiting_a_week_{web}",
    "chance_if_ordered_today_{web}",
    "chance_before_open_delivery_{web}",
    "days_of_cover_{web}",
    "safety_reels_{web}",
    "order_money_{web}",
    "halving_reels_{web}",
    "halving_money_{web}",
)
#: A figure's value, its working, and the reason where it has no value.
Part = tuple[Estimate | Value, str, str]


def order_figures(
    lines: Sequence[OrderLine], needed: Sequence[tuple[ReelsNeeded, str]], period: Period, currency: str
) -> tuple[Figure, ...]:
    """Every figure of the order answer, by web."""
    figures = FigureList(period, currency=currency)
    for reels, basis in needed:
        working, pieces = tr("{basis}: {working}", basis=basis, working=reels.working), round(reels.pieces)
        figures.add("reels_needed_{web}", reels.reels, working, n=pieces, web=reels.web, basis=basis)
    for line in lines:
        _stock(figures, line)
        _reorder(figures, line)
        _advice(figures, line, currency)
    return figures.all


def _stock(figures: FigureList, line: OrderLine) -> None:
    """Add a week's use of one web and what is on hand."""
    low, high = (float(line.need.quantile(7.0, share)) for share in (0.05, 0.95))
    working = tr("from {basis}; a reel holds {reel_m:,.0f} m", basis=line.basis, reel_m=line.reel_m)
    figures.add("use_reels_per_week_{web}", Estimate(line.week_reels, low, high), working, web=line.web.id)
    if line.supply is None or line.on_hand is None:
        return
    stock = line.on_hand
    working = tr(
        "{whole_reels:g} whole reels and {part_m:,.0f} m in part reels = {metres:,.0f} m, less "
        "use since the count, ÷ {reel_m:,.0f} m",
        whole_reels=stock.whole_reels,
        part_m=stock.part_m,
        metres=stock.metres,
        reel_m=line.reel_m,
    )
    figures.add("reels_on_hand_{web}", line.supply.on_hand, working, web=line.web.id)


def _reorder(figures: FigureList, line: OrderLine) -> None:
    web, point = line.web, line.reorder_reels
    if point is None:
        why = tr("no need of {web}, or no lead_time_days in plant.toml", web=web.id)
        return figures.unknown("reorder_point_{web}", why, web=web.id)
    expected = float(line.need.mean(web.lead_time_days or 0.0))
    working = tr(
        "need of {expected:.1f} reels in a lead time of {lead}, with {safety:.1f} reels of safety "
        "stock: {risk:g} % chance of running out in a cycle",
        expected=expected,
        lead=_lead(line),
        safety=point - expected,
        risk=100 * line.risk,
    )
    return figures.add("reorder_point_{web}", point, working, web=web.id)


def _lead(line: OrderLine) -> str:
    return tr("{days:g} ± {spread_days:g} days", days=line.web.lead_time_days, spread_days=line.web.lead_time_sd_days)


def _advice(figures: FigureList, line: OrderLine, currency: str) -> None:
    """Add the figures of one web's advice, or why there is none."""
    nothing: Part = (None, "", line.why_none)
    parts = [nothing] * len(ADVICE) if line.advice is None else _parts(line, line.advice, currency)
    for name, (value, working, why) in zip(ADVICE, parts, strict=True):
        if value is None:
            figures.unknown(name, why, web=line.web.id)
        else:
            figures.add(name, value, working, web=line.web.id)


def _parts(line: OrderLine, advice: Advice, currency: str) -> Iterator[Part]:
    web, due, lead = line.web, line.order_by is not None, _lead(line)
    none_due, before = tr("no order is due within a year"), line.open_risk
    working = tr("latest day with at most {risk:g} % chance, lead time {lead}", risk=100 * line.risk, lead=lead)
    yield line.order_by, working, none_due
    yield advice.reels if due else None, _quantity_working(line), none_due
    yield advice.chance, tr("need beyond what is there within {lead}", lead=lead), ""
    yield advice.chance_week_later, tr("need within 7 days + {lead}", lead=lead), ""
    yield advice.chance_now, tr("need within {lead}", lead=lead), ""
    if before is None:
        yield None, "", tr("no delivery is open")
    else:
        working = tr("need beyond what is there within {days:.1f} days", days=before[1])
        yield before[0], working, ""
    yield _cover(line, advice)
    yield advice.safety_reels if due else None, tr("reels there less the expected need"), none_due
    yield _money(line, float(advice.reels), price_at(web, advice.reels), currency)
    working = tr("need in the days that the order must go out earlier for a chance of {risk:g} %", risk=50 * line.risk)
    yield advice.halving_reels if due else None, working, none_due
    yield _money(line, advice.halving_reels, web.price_per_reel, currency)


def _money(line: OrderLine, reels: float, price: float | None, currency: str) -> Part:
    if price is None:
        return None, "", tr("no price in plant.toml for {web}", web=line.web.id)
    if line.order_by is None:
        return None, "", tr("no order is due within a year")
    working = tr("{reels:.4g} reels × {price:g} {currency}", reels=reels, price=price, currency=currency)
    return reels * price, working, ""


def _quantity_working(line: OrderLine) -> str:
    web = line.web
    pallets = tr(", and to what fills the last pallet") if web.reels_per_pallet else ""
    text = mark("{basis}, raised to at least {minimum} reels and a multiple of {multiple}{pallets}")
    return tr(text, basis=line.quantity_basis, minimum=web.minimum_reels, multiple=web.multiple_reels, pallets=pallets)


def _cover(line: OrderLine, advice: Advice) -> Part:
    if math.isinf(advice.cover_days):
        return None, "", tr("what is there lasts beyond a year at the expected need")
    days = Estimate(advice.cover_days)
    if line.supply is not None:
        days = Estimate(advice.cover_days, *line.cover_interval, interval=tr("90 % of possible demand"))
    return days, tr("until the expected need first exceeds what is on hand and delivered by then"), ""


def open_plan_figures(open_pieces: Estimate, period: Period) -> tuple[Figure, ...]:
    """Planned pieces in conflict as a figure; none where there are none."""
    if not open_pieces.n:
        return ()
    figures = FigureList(period)
    figures.add("plan_in_conflict_pieces", open_pieces, tr("plan rows given in two versions, of which neither is used"))
    return figures.all
