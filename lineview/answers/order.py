"""What to order of each web, how much, by which day, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta

import polars as pl

from lineview.answers.answer import Answer, Evidence, Scope
from lineview.answers.order_figures import order_figures
from lineview.answers.order_sheet import sheet_table
from lineview.answers.order_tables import (
    delivery_series,
    demand_table,
    fan_series,
    order_table,
    reels_table,
)
from lineview.answers.order_words import CAUTIONS, history_words, notes, sentence, soft_line
from lineview.figure import Period
from lineview.measures.clock import calendar
from lineview.measures.made_by_day import made_by_day
from lineview.measures.made_since import made_since, made_since_by_day
from lineview.measures.reel_length import full_reel_m
from lineview.measures.unseen_counts import planned_time
from lineview.measures.wrap_account import wrap_account
from lineview.measures.wrap_ratio import waste_ratios
from lineview.plant import Machine, Plant
from lineview.stock.order_days import as_sent, on_working_days
from lineview.stock.reels_needed import ReelsNeeded, reels_needed
from lineview.stock.supplier_orders import supplier_orders
from lineview.stock.works_need import pieces_ahead, used_metres, works_need
from lineview.stock.works_orders import Counts, latest_counts, order_lines

#: A period that ended so lately is looked at as of now: stock is counted and orders go out after a shift.
SAME_DAY = timedelta(hours=24)
#: Waste is measured over this time before the buyer's today.
RECENT = timedelta(days=28)
#: A stock count is followed reading by reading for so long, then by days.
FOLLOWED = timedelta(days=92)
#: Weeks of history's pace that reels are reckoned for where there is no plan.
WEEKS_AHEAD = 4


def answer_order(plant: Plant, scope: Scope, evidence: Evidence) -> Answer:
    """Answer what to order by when.

    Parameters
    ----------
    plant : Plant
        The works.
    scope : Scope
        The end of its period is the buyer's today; what came before is history, whenever the period starts.
        Stock is common to the works, so every machine's readings count.
    evidence : Evidence
        Use by day, and the readings of the cut-and-wrap machines over the recent weeks; batches, plan and
        stock tell more where there are any. Without `made` the period's readings are the history.

    Returns
    -------
    Answer
        With figures by web, the tables "order" and "reels for pieces", and the series "fan" and
        "deliveries".
    """
    machines = [m for m in plant.machines if m.kind == "cut-and-wrap machine" and m.id in evidence.readings]
    now = order_moment(scope)
    made = _history(plant, machines, evidence, scope)
    recent = (scope.period.start if evidence.made is None else now - RECENT, now)
    waste = _waste(plant, machines, evidence, recent)
    demand = works_need(plant, made, evidence.plan, waste, now)
    looked_back = now < scope.now
    stock = evidence.stock.filter(pl.col("at") <= now) if looked_back else evidence.stock
    counts = latest_counts(plant, stock)
    used = _used(plant, machines, evidence, made, counts, waste, now)
    days = {day for shift in plant.shifts for day in shift.days}
    lines = on_working_days(order_lines(plant, demand, counts, used, now), now, days, plant.tz)
    orders = supplier_orders(lines)
    lines = as_sent(lines, orders)
    needed = _needed(plant, made, evidence.plan, waste, now)
    period = _period(plant, made, now)
    return Answer(
        question="order",
        scope=scope,
        sentence=sentence(lines, plant, now),
        soft=soft_line(lines, plant, history_words(made, plant, now)),
        figures=order_figures(lines, needed, period, plant.currency),
        tables=(
            sheet_table(orders, plant),
            order_table(lines, plant),
            reels_table(needed),
            demand_table(demand, plant),
        ),
        series={"fan": fan_series(lines, now), "deliveries": delivery_series(lines)},
        notes=notes(lines, demand, plant),
        cautions=CAUTIONS,
    )


def order_moment(scope: Scope) -> datetime:
    """Give the buyer's today: the last moment known, or the end of a period that is over for a day.

    Parameters
    ----------
    scope : Scope
        What was asked.
    """
    return scope.now if scope.now - scope.period.end < SAME_DAY else scope.period.end


def _history(plant: Plant, machines: list[Machine], evidence: Evidence, scope: Scope) -> pl.DataFrame:
    """Give the use by day: all that the works has, or what the readings tell."""
    if evidence.made is not None:
        return evidence.made
    period = (scope.period.start, order_moment(scope))
    return made_by_day(machines, evidence.readings, evidence.batches, plant.shifts, plant.zone, period)


def _period(plant: Plant, made: pl.DataFrame, now: datetime) -> Period:
    """Give the history's time, from the start of its first day to now."""
    if made.is_empty():
        return Period(now, now)
    first: date = made["date"].to_list()[int(made["date"].arg_min() or 0)]
    return Period(datetime(first.year, first.month, first.day, tzinfo=plant.tz).astimezone(UTC), now)


def _waste(
    plant: Plant, machines: list[Machine], evidence: Evidence, period: tuple[datetime, datetime]
) -> dict[str, float]:
    """Measure what waste does to the use, over all machines."""
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
    by_day: pl.DataFrame,
    counts: Counts,
    waste: Mapping[str, float],
    now: datetime,
) -> dict[str, float]:
    """Give the metres of each web used since it was counted."""
    moments = {web: counted.counted_at for web, counted in counts.by_web.items()}
    near = [m for m in moments.values() if evidence.made is None or m >= now - FOLLOWED]
    far = [moment for moment in moments.values() if moment not in near]
    planned = planned_time(calendar(plant.shifts, plant.zone, min([*near, now]), now))
    made = made_since(machines, evidence.readings, evidence.batches, near, now, planned)
    made |= made_since_by_day(by_day, far, plant.zone)
    metres = {moment: used_metres(plant, by_product, waste) for moment, by_product in made.items()}
    return {web: metres[moment].get(web, 0.0) for web, moment in moments.items()}


def _needed(
    plant: Plant, made: pl.DataFrame, plan: pl.DataFrame, waste: Mapping[str, float], now: datetime
) -> list[tuple[ReelsNeeded, str]]:
    """Give whole reels of each web for the plan's pieces, or the coming weeks' at history's pace."""
    out = []
    for web in plant.webs:
        reel_m = full_reel_m(web)
        if reel_m is None:
            continue
        pieces, basis = pieces_ahead(plant, web, made, plan, now, weeks=WEEKS_AHEAD)
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
