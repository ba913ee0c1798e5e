"""What to order of each web, how much, by which day, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.figure import Period
from lineview.core.frames import PLAN, STOCK
from lineview.core.language import tr
from lineview.machine.pieces import MachineCounts
from lineview.machine.products import good_by_product
from lineview.order.demand import Demand
from lineview.order.figures import open_plan_figures, order_figures
from lineview.order.orders import RISK, Counts, latest_counts, order_lines
from lineview.order.reels_needed import ReelsNeeded, reels_needed
from lineview.order.supplier_orders import as_sent, on_working_days, supplier_orders
from lineview.order.tables import delivery_series, demand_table, fan_series, order_table, reels_table, sheet_table
from lineview.order.what_if import WhatIf, supposed_counts, supposed_demand, supposed_plant, supposed_words
from lineview.order.words import (
    CAUTIONS,
    history_words,
    later_counts,
    notes,
    open_plan,
    order_points,
    plan_dispute,
    sentence,
    soft_line,
    stock_disputes,
)
from lineview.order.works_demand import pieces_ahead, used_metres, works_need
from lineview.plant import Plant
from lineview.report.answer import Answer, Scope
from lineview.report.figures import good_pieces_figure
from lineview.wrap.account import waste_ratios, wrap_account
from lineview.wrap.reels import full_reel_m

#: A period that ended so lately is looked at as of now: stock is counted and orders go out after a shift.
SAME_DAY = timedelta(hours=24)
#: Waste is measured over this time before the buyer's today.
RECENT = timedelta(days=28)
#: A stock count is followed reading by reading for so long, then by days.
FOLLOWED = timedelta(days=92)
#: Weeks of history's pace that reels are reckoned for where there is no plan.
WEEKS_AHEAD = 4


@dataclass(frozen=True)
class Outlook:
    """What every order at a moment rests on, whatever is supposed of stock, prices and lead times.

    `waste` is used over geometry by kind of web, `pieces_ahead` each web's good pieces to come and what they rest on.
    """

    waste: Mapping[str, float]
    demand: Demand
    pieces_ahead: Mapping[str, tuple[float, str]]


@dataclass(frozen=True)
class OrderInputs:
    """Of every cut-and-wrap machine, for stock is common to the works.

    `counts` of the recent weeks by machine; `daily_output` the good pieces by line, day and product (DAILY_OUTPUT);
    `good` the good pieces of the period asked for; batches, reels, plan and stock; the rows of plan and stock
    on which two exports differ, each with its file; `what_if` what is supposed. Stock counts dated after
    `known_until` are not known at the moment asked about. `outlook` is that of these data where it was kept.
    """

    counts: Mapping[str, MachineCounts]
    daily_output: pl.DataFrame
    good: Estimate
    batches: pl.DataFrame
    reels: pl.DataFrame
    stock: pl.DataFrame
    plan: pl.DataFrame
    disputed_plan: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=PLAN))
    disputed_stock: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=STOCK))
    what_if: WhatIf | None = None
    known_until: datetime | None = None
    outlook: Outlook | None = None


def answer_order(plant: Plant, scope: Scope, inputs: OrderInputs) -> Answer:
    """Answer what to order by when."""
    now, daily_output, what_if = order_moment(scope), inputs.daily_output, inputs.what_if
    if what_if is not None:
        plant = supposed_plant(plant, what_if)
    outlook = inputs.outlook or order_outlook(plant, inputs, now)
    waste, demand = outlook.waste, outlook.demand
    known_until = inputs.known_until or (now if now < scope.now else datetime.max.replace(tzinfo=UTC))
    counts = latest_counts(plant, inputs.stock.filter(pl.col("at") <= known_until))
    to_come = inputs.stock.filter((pl.col("at") > known_until) & (known_until > scope.now)).sort("at")
    if what_if is not None:
        demand, counts = supposed_demand(demand, what_if), supposed_counts(counts, plant, what_if, now)
    metres_by_web = _metres_since_count(plant, inputs, counts, waste, now)
    days = {day for shift in plant.shifts for day in shift.days}
    risk = RISK if what_if is None or what_if.risk_percent is None else what_if.risk_percent / 100.0
    lines = on_working_days(order_lines(plant, demand, counts, metres_by_web, now, risk=risk), now, days, plant.tz)
    orders = supplier_orders(lines)
    lines = as_sent(lines, orders)
    reels_of_webs = _reels_needed(plant, inputs, outlook)
    open_pieces = open_plan(inputs.disputed_plan)
    disputes = (*plan_dispute(inputs.disputed_plan, open_pieces, plant), *stock_disputes(inputs.disputed_stock, plant))
    period = _period(plant, daily_output, now)
    what_if_line = () if what_if is None else (f"{supposed_words(what_if, plant)}.",)
    return Answer(
        question="order",
        scope=scope,
        sentence=sentence(lines, plant, now, disputed=bool(inputs.disputed_stock.height)),
        soft=" ".join((*what_if_line, *disputes, soft_line(lines, history_words(daily_output, plant, now)))),
        points=order_points(lines, plant, now),
        figures=(
            good_pieces_figure(inputs.good, scope.period, tr("line {line}", line=scope.line)),
            *open_plan_figures(open_pieces, period),
            *order_figures(lines, reels_of_webs, period, plant.currency),
        ),
        tables=(
            sheet_table(orders, plant),
            order_table(lines, plant),
            reels_table(reels_of_webs),
            demand_table(demand, plant),
        ),
        series={"fan": fan_series(lines, now), "deliveries": delivery_series(lines)},
        notes=(*notes(lines, demand, plant), *later_counts(to_come, plant)),
        cautions=tuple(map(tr, CAUTIONS)),
    )


def order_moment(scope: Scope) -> datetime:
    """The buyer's today: the last moment known, or the last one of a period that is over for a day.

    Parameters
    ----------
    scope : Scope
        The question's scope.
    """
    # a day's end is the midnight after it, which is another day
    return scope.now if scope.now - scope.period.end < SAME_DAY else scope.period.end - timedelta(microseconds=1)


def _period(plant: Plant, daily_output: pl.DataFrame, now: datetime) -> Period:
    """The history's time, from the start of its first day to now."""
    if daily_output.is_empty():
        return Period(now, now)
    first: date = daily_output["date"].to_list()[int(daily_output["date"].arg_min() or 0)]
    return Period(datetime(first.year, first.month, first.day, tzinfo=plant.tz).astimezone(UTC), now)


def order_outlook(plant: Plant, inputs: OrderInputs, now: datetime) -> Outlook:
    """What every order at a moment rests on.

    Parameters
    ----------
    plant : Plant
        The works.
    inputs : OrderInputs
        Of all its cut-and-wrap machines.
    now : datetime
        The buyer's today.
    """
    recent, output, plan = (now - RECENT, now), inputs.daily_output, inputs.plan
    waste = waste_ratios(
        [wrap_account(plant, c, inputs.batches, inputs.reels, None, recent) for c in inputs.counts.values()]
    )
    webs = [web for web in plant.webs if full_reel_m(web) is not None]
    pieces = {web.id: pieces_ahead(plant, web, output, plan, now, weeks=WEEKS_AHEAD) for web in webs}
    return Outlook(waste, works_need(plant, output, plan, waste, now), pieces)


def _metres_since_count(
    plant: Plant, inputs: OrderInputs, counts: Counts, waste: Mapping[str, float], now: datetime
) -> dict[str, float]:
    """The metres of each web used since it was counted."""
    moments = {web: count.counted_at for web, count in counts.by_web.items()}
    metres = {}
    for moment in set(moments.values()):
        pieces_of: dict[str, float] = {}
        start = max(moment, now - FOLLOWED)
        for machine in inputs.counts.values():
            names = {name: name for name in inputs.batches["product"].drop_nulls().unique(maintain_order=True)}
            for name, pieces in good_by_product(inputs.batches, machine, names, start, now).items():
                pieces_of[name] = pieces_of.get(name, 0.0) + pieces
        if start > moment:
            for name, pieces in _output_between(inputs.daily_output, moment, start, plant).items():
                pieces_of[name] = pieces_of.get(name, 0.0) + pieces
        metres[moment] = used_metres(plant, pieces_of, waste)
    return {web: metres[moment].get(web, 0.0) for web, moment in moments.items()}


def _output_between(daily_output: pl.DataFrame, start: datetime, end: datetime, plant: Plant) -> dict[str, float]:
    """Good pieces by product between two moments from sums by day; of the ends' own days, their share."""
    first, last = start.astimezone(plant.tz), end.astimezone(plant.tz)
    first_share = 1.0 - (first.hour + first.minute / 60.0) / 24.0
    last_share = (last.hour + last.minute / 60.0) / 24.0
    share = (
        pl.when(pl.col("date") == first.date()).then(first_share).when(pl.col("date") == last.date()).then(last_share)
    )
    inside = daily_output.filter((pl.col("date") >= first.date()) & (pl.col("date") <= last.date()))
    rows = inside.with_columns(good=pl.col("good") * share.otherwise(1.0))
    return dict(rows.group_by("product", maintain_order=True).agg(pl.col("good").sum()).sort("product").iter_rows())


def _reels_needed(plant: Plant, inputs: OrderInputs, outlook: Outlook) -> list[tuple[ReelsNeeded, str]]:
    """Give whole reels of each web for the plan's pieces, or the coming weeks' at history's pace."""
    out = []
    for web in plant.webs:
        reel_m = full_reel_m(web)
        if reel_m is None:
            continue
        pieces, basis = outlook.pieces_ahead[web.id]
        pieces *= 1.0 if inputs.what_if is None else inputs.what_if.need_share
        basis += tr(" without what is in conflict") if inputs.plan.height and inputs.disputed_plan.height else ""
        ratio = outlook.waste.get(web.kind)
        basis = basis if ratio is None else tr("{basis}, waste as measured", basis=basis)
        waste = {} if ratio is None else {"reel_waste_m": 0.0, "waste_percent": 100.0 * (ratio - 1.0)}
        short = web.under_delivery_percent
        out.append((reels_needed(web, pieces, reel_m=reel_m, under_delivery_percent=short, **waste), basis))
    return out
