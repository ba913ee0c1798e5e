"""The order answer's figures: need, order day, quantity, chances and cover of each web."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from lineview.core.figure import Figure, Period, Value, cannot_tell, slug
from lineview.order.orders import RISK, OrderLine
from lineview.order.policy import Advice
from lineview.order.quantity import price_at
from lineview.order.reels_needed import ReelsNeeded

_SOURCES = ("reel-order", "inventory-theory")
_CHANCE = "no interval: already a chance over demand and lead time"


def order_figures(
    lines: Sequence[OrderLine], needed: Sequence[tuple[ReelsNeeded, str]], period: Period, currency: str
) -> tuple[Figure, ...]:
    """Every figure of the order answer, by web."""
    figures = [_needed(reels, basis, period) for reels, basis in needed]
    for line in lines:
        figures += _of_line(line, period, currency)
    return tuple(figures)


def _needed(reels: ReelsNeeded, basis: str, period: Period) -> Figure:
    return Figure(
        f"reels_needed_{slug(reels.web)}",
        f"reels of {reels.web} for {basis}",
        reels.reels,
        "reels",
        interval_kind="whole reels for that number of pieces, no interval",
        n=round(reels.pieces),
        period=period,
        sources=("reel-order", "printers-waste"),
        working=f"{basis}: {reels.working}",
    )


def _of_line(line: OrderLine, period: Period, currency: str) -> list[Figure]:
    web, tail = line.web, slug(line.web.id)
    low, high = (float(line.need.quantile(7.0, share)) for share in (0.05, 0.95))
    figures = [
        Figure(
            f"use_reels_per_week_{tail}",
            f"reels of {web.id} in the coming week",
            line.week_reels,
            "reels/week",
            low,
            high,
            "90 % of weeks",
            period=period,
            sources=_SOURCES,
            working=f"from {line.basis}; a reel holds {line.reel_m:,.0f} m",
        )
    ]
    if line.supply is not None and line.on_hand is not None:
        counted = line.on_hand
        figures.append(
            Figure(
                f"reels_on_hand_{tail}",
                f"reels of {web.id} on hand",
                line.supply.on_hand,
                "reels",
                interval_kind="counted, less what was wrapped since",
                period=period,
                working=f"{counted.whole_reels:g} whole reels and {counted.part_m:,.0f} m in part reels = "
                f"{counted.metres:,.0f} m, less use since the count, ÷ {line.reel_m:,.0f} m",
            )
        )
    figures.append(_reorder(line, period))
    return figures + _advice(line, period, currency)


def _reorder(line: OrderLine, period: Period) -> Figure:
    web, point = line.web, line.reorder_reels
    name, label = f"reorder_point_{slug(web.id)}", f"reorder point of {web.id}"
    if point is None:
        why = f"no need of {web.id}, or no lead_time_days in plant.toml"
        return cannot_tell(name, label, "reels", why, period)
    lead = f"{web.lead_time_days:g} ± {web.lead_time_sd_days:g} days"
    expected = line.need.mean(web.lead_time_days or 0.0)
    return Figure(
        name,
        label,
        point,
        "reels",
        interval_kind="a rule, no interval",
        period=period,
        sources=("renewal-undershoot", "snyder-shen"),
        working=f"need of {float(expected):.1f} reels in a lead time of {lead}, with "
        f"{point - float(expected):.1f} reels of safety stock: {RISK:.0%} chance of running out in a cycle",
    )


def _labels(currency: str) -> dict[str, tuple[str, str]]:
    """Each figure's label and unit, in the order told."""
    return {
        "order_by": ("day to order by", ""),
        "order_quantity": ("reels to order", "reels"),
        "chance_of_running_out": ("chance of running out before that order comes (with open orders)", ""),
        "chance_waiting_a_week": ("chance of running out if ordered a week later", ""),
        "chance_if_ordered_today": ("chance of running out if ordered at once", ""),
        "chance_before_open_delivery": ("chance of running out before an open delivery", ""),
        "days_of_cover": ("days until it first runs out, at the expected need", "days"),
        "safety_reels": ("reels expected on hand when the order comes", "reels"),
        "order_money": ("cost of the order", currency),
        "halving_reels": ("extra reels that would halve the chance", "reels"),
        "halving_money": ("money tied up by those reels", currency),
    }


def _advice(line: OrderLine, period: Period, currency: str) -> list[Figure]:
    """The figures of one web's advice, or why there is none."""
    tail = slug(line.web.id)
    values = {} if line.advice is None else _values(line, line.advice, currency)
    out = []
    for name, (label, unit) in _labels(currency).items():
        value, working, why = values.get(name, (None, "", line.why_none))
        full = f"{label}, {line.web.id}"
        if value is None:
            out.append(cannot_tell(f"{name}_{tail}", full, unit, why, period))
            continue
        low, high, kind = _interval(name, line)
        figure = Figure(f"{name}_{tail}", full, value, unit, low, high, kind, period=period)
        out.append(replace(figure, sources=_SOURCES, working=working))
    return out


def _values(line: OrderLine, advice: Advice, currency: str) -> dict[str, tuple[Value, str, str]]:
    """Each figure's value, its working, and the reason where it has no value."""
    web, due = line.web, line.order_by is not None
    none_due, lead = ("no order is due within a year", f"{web.lead_time_days:g} ± {web.lead_time_sd_days:g} days")
    before = line.open_risk
    return {
        "order_by": (line.order_by, f"latest day with at most {RISK:.0%} chance, lead time {lead}", none_due),
        "order_quantity": (advice.reels if due else None, _quantity_working(line), none_due),
        "chance_of_running_out": (advice.chance, f"need beyond what is there within {lead}", ""),
        "chance_waiting_a_week": (advice.chance_week_later, f"need within 7 days + {lead}", ""),
        "chance_if_ordered_today": (advice.chance_now, f"need within {lead}", ""),
        "chance_before_open_delivery": (
            None if before is None else before[0],
            "" if before is None else f"need beyond what is there within {before[1]:.1f} days",
            "no delivery is open",
        ),
        "days_of_cover": _cover(advice),
        "safety_reels": (advice.safety_reels if due else None, "reels there less the expected need", none_due),
        "order_money": _money(line, float(advice.reels), price_at(web, advice.reels), currency),
        "halving_reels": (
            advice.halving_reels if due else None,
            f"need in the days that the order must go out earlier for a chance of {RISK / 2:.1%}",
            none_due,
        ),
        "halving_money": _money(line, advice.halving_reels, web.price_per_reel, currency),
    }


def _money(line: OrderLine, reels: float, price: float | None, currency: str) -> tuple[Value, str, str]:
    if price is None:
        return None, "", f"no price in plant.toml for {line.web.id}"
    if line.order_by is None:
        return None, "", "no order is due within a year"
    return reels * price, f"{reels:.4g} reels × {price:g} {currency}", ""


def _quantity_working(line: OrderLine) -> str:
    web = line.web
    pallets = ", and to what fills the last pallet" if web.reels_per_pallet else ""
    return (
        f"{line.quantity_basis}, raised to at least {web.minimum_reels} reels and a multiple of "
        f"{web.multiple_reels}{pallets}"
    )


def _cover(advice: Advice) -> tuple[Value, str, str]:
    if math.isinf(advice.cover_days):
        return None, "", "what is there lasts beyond a year at the expected need"
    return (advice.cover_days, "until the expected need first exceeds what is on hand and delivered by then", "")


def _interval(name: str, line: OrderLine) -> tuple[float | None, float | None, str]:
    if name == "days_of_cover" and line.supply is not None:
        low, high = line.cover_interval
        return low, high, "90 % of possible demand"
    if name.startswith("chance"):
        return None, None, _CHANCE
    return None, None, "advice, no interval"
