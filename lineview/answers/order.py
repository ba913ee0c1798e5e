"""What to order of each web, how much, by which day, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from lineview.answers.answer import Answer, Evidence, Scope
from lineview.answers.order_figures import order_figures
from lineview.answers.order_tables import (
    delivery_series,
    demand_table,
    fan_series,
    order_table,
    reels_table,
    sheet_table,
)
from lineview.answers.order_words import CAUTIONS, notes, sentence, soft_line
from lineview.measures.made_by_day import made_by_day
from lineview.measures.made_since import made_since
from lineview.measures.reel_length import full_reel_m
from lineview.measures.wrap_account import wrap_account
from lineview.measures.wrap_ratio import waste_ratios
from lineview.plant import Machine, Plant
from lineview.stock.reels_needed import ReelsNeeded, reels_needed
from lineview.stock.supplier_orders import supplier_orders
from lineview.stock.works_need import pieces_ahead, used_metres, works_need
from lineview.stock.works_orders import Counts, latest_counts, order_lines

#: Weeks of history's pace that reels are reckoned for where there is no plan.
WEEKS_AHEAD = 4


def answer_order(plant: Plant, scope: Scope, evidence: Evidence) -> Answer:
    """Answer what to order by when.

    Parameters
    ----------
    plant : Plant
        The works.
    scope : Scope
        Its period is the history; stock is common to the works, so every machine's readings count.
    evidence : Evidence
        Readings of the cut-and-wrap machines; batches, plan and stock tell more where there are any.

    Returns
    -------
    Answer
        With figures by web, the tables "order" and "reels for pieces", and the series "fan" and
        "deliveries".
    """
    machines = [m for m in plant.machines if m.kind == "cut-and-wrap machine" and m.id in evidence.readings]
    period = (scope.period.start, min(scope.period.end, scope.now))
    made = made_by_day(machines, evidence.readings, evidence.batches, plant.shifts, plant.zone, period)
    waste = _waste(plant, machines, evidence, scope)
    demand = works_need(plant, made, evidence.plan, waste, scope.now)
    counts = latest_counts(plant, evidence.stock)
    used = _used(plant, machines, evidence, counts, waste, scope)
    lines = order_lines(plant, demand, counts, used, scope.now)
    needed = _needed(plant, made, evidence.plan, waste, scope)
    return Answer(
        question="order",
        scope=scope,
        sentence=sentence(lines, plant, scope.now),
        soft=soft_line(lines, plant, scope.label),
        figures=order_figures(lines, needed, scope.period, plant.currency),
        tables=(
            order_table(lines, plant),
            sheet_table(supplier_orders(lines), plant),
            reels_table(needed),
            demand_table(demand, plant),
        ),
        series={"fan": fan_series(lines, scope.now), "deliveries": delivery_series(lines)},
        notes=notes(lines, demand, plant),
        cautions=CAUTIONS,
    )


def _waste(plant: Plant, machines: list[Machine], evidence: Evidence, scope: Scope) -> dict[str, float]:
    """Measure what waste does to the use, over all machines."""
    period = (scope.period.start, scope.period.end)
    return waste_ratios(
        [
            wrap_account(plant, m, evidence.readings[m.id], evidence.batches, evidence.reels, None, period)
            for m in machines
        ]
    )


def _used(
    plant: Plant,
    machines: list[Machine],
    evidence: Evidence,
    counts: Counts,
    waste: Mapping[str, float],
    scope: Scope,
) -> dict[str, float]:
    """Give the metres of each web used since it was counted."""
    moments = {web: counted.counted_at for web, counted in counts.by_web.items()}
    made = made_since(machines, evidence.readings, evidence.batches, list(moments.values()), scope.now)
    metres = {moment: used_metres(plant, by_product, waste) for moment, by_product in made.items()}
    return {web: metres[moment].get(web, 0.0) for web, moment in moments.items()}


def _needed(
    plant: Plant, made: pl.DataFrame, plan: pl.DataFrame, waste: Mapping[str, float], scope: Scope
) -> list[tuple[ReelsNeeded, str]]:
    """Give whole reels of each web for the plan's pieces, or the coming weeks' at history's pace."""
    out = []
    for web in plant.webs:
        reel_m = full_reel_m(web)
        if reel_m is None:
            continue
        pieces, basis = pieces_ahead(plant, web, made, plan, scope.now, weeks=WEEKS_AHEAD)
        measured = waste.get(web.kind)
        if measured is None:
            needed = reels_needed(
                web, pieces, reel_m=reel_m, under_delivery_percent=web.under_delivery_percent
            )
            out.append((needed, basis))
        else:
            percent = 100.0 * (measured - 1.0)
            needed = reels_needed(
                web,
                pieces,
                reel_m=reel_m,
                reel_waste_m=0.0,
                waste_percent=percent,
                under_delivery_percent=web.under_delivery_percent,
            )
            out.append((needed, f"{basis}, waste as measured"))
    return out
