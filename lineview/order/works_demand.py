"""What every web of the works will need in the coming weeks, from the plan and from history."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from datetime import datetime

import numpy as np
import polars as pl

from lineview.core.language import tr
from lineview.order.demand import (
    Ahead,
    Demand,
    Floats,
    Need,
    history_pace,
    pace_ahead,
    plan_cover,
    planned_pieces,
    products_of,
    reels_a_piece,
    web_need,
    week_starts,
)
from lineview.order.forecast import history_weeks, weeks_ahead
from lineview.plant import Plant, Web
from lineview.records.output import week_planned
from lineview.wrap.reels import full_reel_m

#: Spread of one flavour's level among those of its base, over their mean: an assumption until it is made.
ASSUMED_KIN_CV = 0.5


def lent_factors(
    plant: Plant, past: pl.DataFrame, factors: Mapping[str, Mapping[str, float]], planned: Set[str] = frozenset()
) -> dict[str, dict[str, float]]:
    """Let what was never made take as much as the mean flavour of its base."""
    with_history = set(past.filter(pl.col("good") > 0)["product"].to_list())
    out = {}
    for key, by_product in factors.items():
        if not by_product or (with_history | planned) & set(by_product):
            continue
        kin = [p for name in by_product for p in _kin(plant, name) if p in with_history]
        if kin:
            factor = float(np.mean(list(by_product.values()))) * len(by_product) / len(set(kin))
            out[key] = dict.fromkeys(kin, factor)
    return out


def unsure(ahead: Ahead) -> Ahead:
    """Demand from history, with the uncertainty of borrowing it."""
    return replace(ahead, level_cv=float(np.hypot(ahead.level_cv, ASSUMED_KIN_CV)))


def _kin(plant: Plant, name: str) -> list[str]:
    """The other products of a product's base."""
    product = plant.product(name) if name else None
    if product is None or not product.base:
        return []
    return [p.id for p in plant.products if p.base == product.base and p.id != product.id]


#: From so many weeks of history on, the coming weeks are forecast week by week.
WEEKS_OF_HISTORY = 8
#: Weeks over which a plan is shared out.
PLAN_WEEKS = 106


def works_need(
    plant: Plant,
    daily_output: pl.DataFrame,
    plan: pl.DataFrame,
    waste: Mapping[str, float],
    now: datetime,
    *,
    weeks: int = 26,
) -> Demand:
    """Put together what each web will need."""
    starts = week_starts(now, weeks)
    ahead, unknown = _with_plant_ids(plant, plan.filter(pl.col("end").is_null() | (pl.col("end") > now)))
    past, unknown_made = _with_plant_ids(plant, daily_output)
    planned = planned_pieces(ahead, starts)
    lines = sorted({*past["line"].to_list(), *ahead["line"].to_list()})
    shares = {web.id: piece_share(web, waste.get(web.kind)) for web in plant.webs}
    factors = {
        web.id: dict.fromkeys(products_of(plant, web), share)
        for web in plant.webs
        if (share := shares[web.id]) is not None
    }
    products = {product.id: {product.id: 1.0} for product in plant.products}
    covers = {line: plan_cover(ahead, line, starts) for line in lines}
    needs, basis = _needs(plant, past, planned, covers, factors, starts)
    by_product, _ = _needs(plant, past, planned, covers, products, starts)
    return Demand(
        weeks=starts,
        by_web=needs,
        by_product={name: need for name, need in by_product.items() if need.week_mean.any()},
        basis=basis,
        borrowed=tuple(lent_factors(plant, past, factors, {name for _, name in planned})),
        unknown=tuple(sorted({*unknown, *(name for name in unknown_made if name)})),
        without_web=tuple(_without_web(plant, [*ahead["product"].to_list(), *past["product"].to_list()])),
    )


def _needs(
    plant: Plant,
    past: pl.DataFrame,
    planned: Mapping[tuple[str, str], Floats],
    covers: Mapping[str, Floats],
    factors: Mapping[str, Mapping[str, float]],
    starts: Sequence[datetime],
) -> tuple[dict[str, Need], dict[str, str]]:
    """Put together the need of each key from all lines, and what each rests on."""
    history = history_ahead(plant, past, factors, list(covers), starts, {name for _, name in planned})
    needs, basis = {}, {}
    for key, by_product in factors.items():
        parts = [
            (_plan_use(planned, line, by_product, len(starts)), cover, history.get((line, key)))
            for line, cover in covers.items()
        ]
        needs[key], basis[key] = web_need(parts, len(starts))
    return needs, basis


def piece_share(web: Web, waste: float | None) -> float | None:
    """The reels that a good piece takes: with measured waste, else with plant.toml's allowances."""
    reel_m = full_reel_m(web)
    if reel_m is None:
        return None
    if waste is not None:
        return reels_a_piece(web, reel_m=reel_m, waste=waste, lost_per_reel_m=0.0)
    allowance = 1.0 + web.running_waste_percent / 100.0
    return reels_a_piece(web, reel_m=reel_m, waste=allowance, lost_per_reel_m=web.start_m + web.end_m)


def _with_plant_ids(plant: Plant, frame: pl.DataFrame) -> tuple[pl.DataFrame, list[str]]:
    """A frame with plant.toml's product ids, and the names that it has not."""
    names = frame["product"].fill_null("").unique(maintain_order=True).to_list()
    products = {name: plant.product(name) for name in names if name}
    ids = {name: product.id for name, product in products.items() if product is not None}
    with_ids = frame.with_columns(
        product=pl.col("product").fill_null("").replace_strict(ids, default="", return_dtype=pl.String)
    )
    return with_ids, [name for name in names if name and name not in ids]


def _plan_use(planned: Mapping[tuple[str, str], Floats], line: str, factors: Mapping[str, float], weeks: int) -> Floats:
    total = np.zeros(weeks)
    for (of_line, product), pieces in planned.items():
        if of_line == line and product in factors:
            total = total + pieces * factors[product]
    return total


def _without_web(plant: Plant, products: Sequence[str]) -> list[str]:
    """Name the products that will be wrapped but that some kind of web of the plant does not wrap."""
    kinds = {web.kind for web in plant.webs}
    missing = []
    for name in dict.fromkeys(products):
        product = plant.product(name) if name else None
        if product is None:
            continue
        has = {web.kind for web_id in product.webs if (web := plant.web(web_id)) is not None}
        missing += [
            tr(
                "{flavour} has no {kind} in plant.toml: no {kind} is calculated for it",
                flavour=product.flavour,
                kind=tr(kind),
            )
            for kind in sorted(kinds - has)
        ]
    return missing


def used_metres(plant: Plant, pieces_of: Mapping[str, float], waste: Mapping[str, float]) -> dict[str, float]:
    """The metres of each web [m] that so many good pieces by product took."""
    out = {}
    for web in plant.webs:
        a_piece, reel_m = piece_share(web, waste.get(web.kind)), full_reel_m(web)
        if a_piece is None or reel_m is None:
            continue
        names = set(products_of(plant, web))
        pieces = sum(good for name, good in pieces_of.items() if _product_id(plant, name) in names)
        out[web.id] = pieces * a_piece * reel_m
    return out


def _product_id(plant: Plant, name: str) -> str:
    product = plant.product(name) if name else None
    return "" if product is None else product.id


def pieces_ahead(
    plant: Plant, web: Web, daily_output: pl.DataFrame, plan: pl.DataFrame, now: datetime, *, weeks: int
) -> tuple[float, str]:
    """Good pieces that a web will wrap: those of the plan, else the coming weeks at history's pace."""
    factors = dict.fromkeys(products_of(plant, web), 1.0)
    ahead, _ = _with_plant_ids(plant, plan.filter(pl.col("end").is_null() | (pl.col("end") > now)))
    if ahead.height:
        pieces_by_week = planned_pieces(ahead, week_starts(now, PLAN_WEEKS))
        return sum(float(p.sum()) for (_, product), p in pieces_by_week.items() if product in factors), tr("the plan")
    past, _ = _with_plant_ids(plant, daily_output)
    starts = week_starts(now, weeks)
    lines = sorted(set(past["line"].to_list()))
    history = history_ahead(plant, past, {web.id: factors}, lines, starts)
    pieces = sum(float(forecast.mean.sum()) for forecast in history.values())
    return pieces, tr("{weeks} weeks at history's pace", weeks=weeks)


def history_ahead(
    plant: Plant,
    past: pl.DataFrame,
    factors: Mapping[str, Mapping[str, float]],
    lines: Sequence[str],
    starts: Sequence[datetime],
    planned: Set[str] = frozenset(),
) -> dict[tuple[str, str], Ahead]:
    """Demand of the coming weeks from history, by line and web."""
    lent = lent_factors(plant, past, factors, planned)
    all_factors = {**factors, **lent}
    today = starts[0].astimezone(plant.tz).date()
    if history_weeks(past, today) >= WEEKS_OF_HISTORY:
        out = weeks_ahead(plant, past, all_factors, lines, today, len(starts))
    else:
        out = {}
        minutes, days = week_planned(plant.shifts, plant.zone, starts)
        for web_id, by_product in all_factors.items():
            for line in lines:
                line_pace = history_pace(past, line, by_product)
                if line_pace is not None:
                    out[line, web_id] = pace_ahead(line_pace, minutes, days)
    return {key: unsure(need) if key[1] in lent else need for key, need in out.items()}
