"""Figures of what lies behind a shift's stops: trend, clusters, the two efficiencies."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period
from lineview.core.language import tr, tr_count
from lineview.machine.stop_statistics import LEAST_STOPS, Cluster
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Table, columns_of
from lineview.report.figures import FigureList
from lineview.shift.key_figures import (
    EDITION,
    Efficiency,
    iso_key_figures,
    productive_maintenance_figures,
    time_elements,
    why_unknown,
)
from lineview.shift.measures import ShiftMeasures
from lineview.shift.projection import NextEvent
from lineview.shift.study import ShiftStudy


def study_figures(study: ShiftStudy, stops: int, period: Period) -> tuple[Figure, ...]:
    """The figures behind a shift's stops."""
    figures = FigureList(period)
    _trend(figures, study, stops)
    for cluster in study.clusters:
        _cluster(figures, cluster)
    _efficiencies(figures, study.efficiency)
    if study.maintenance_pieces is not None:
        working = tr("increments of the piece counter while the state said maintenance or manual")
        figures.add("pieces_in_maintenance", round(study.maintenance_pieces), working)
    return figures.all


def event_figures(events: Sequence[NextEvent], period: Period) -> tuple[Figure, ...]:
    """When reels and the batch end."""
    figures = FigureList(period)
    for event in events:
        name = "reel_end_{web}" if event.web else "batch_end"
        words: dict[str, Any] = {"web": event.web, "event": event.event}
        if event.at is None:
            figures.add(name, Estimate.unknown(event.why), event.working, **words)
        else:
            figures.moment(name, event.at, event.working, earliest=event.earliest, latest=event.latest, **words)
    return figures.all


def _trend(figures: FigureList, study: ShiftStudy, stops: int) -> None:
    trend = study.trend
    if trend is None:
        for name in ("stops_trend_laplace", "stops_trend_handbook", "stops_power_law_shape"):
            figures.too_few(name, needs=LEAST_STOPS, has=stops)
        return
    over = tr(
        "{stops:,} stops in {minutes:.0f} running minutes: {verdict}",
        stops=trend.stops,
        minutes=trend.run_min,
        verdict=tr(trend.verdict),
    )
    for name, test in (("stops_trend_laplace", trend.laplace), ("stops_trend_handbook", trend.handbook)):
        chance = tr("two-sided p {p:.3f} at a constant rate", p=test.p_two_sided)
        figures.add(name, test.statistic, over, n=trend.stops, interval=chance)
    law = trend.law
    shape = Estimate(law.b, law.b_low, law.b_high, trend.stops)
    figures.add(
        "stops_power_law_shape", shape, tr("({stops:,} − 1) ÷ Σ ln(T ÷ t) over {sum}", stops=law.events, sum=over)
    )


def _cluster(figures: FigureList, cluster: Cluster) -> None:
    name, ratio = "stops_after_{event}_ratio", cluster.ratio
    words: dict[str, Any] = {"event": cluster.after, "minutes": cluster.window_min}
    working = tr(
        "({stops:,} stops ÷ {minutes:.0f} min) ÷ ({others:,} ÷ {other_minutes:.0f} min); p {p:.3f} corrected for the "
        "looks",
        stops=cluster.stops,
        minutes=cluster.run_min,
        others=cluster.other_stops,
        other_minutes=cluster.other_run_min,
        p=cluster.p_corrected,
    )
    if not math.isfinite(ratio.ratio):
        return figures.unknown(name, tr("no stop at other times; {working}", working=working), **words)
    high = ratio.high if math.isfinite(ratio.high) else None
    return figures.add(name, Estimate(ratio.ratio, ratio.low, high, cluster.events), working, **words)


def _efficiencies(figures: FigureList, efficiency: Efficiency) -> None:
    operating, outside = efficiency.operating_min, efficiency.outside_min
    for name, share, minutes in (
        ("efficiency_all_causes_percent", efficiency.all_causes, operating),
        ("efficiency_machine_only_percent", efficiency.machine_only, operating - outside),
    ):
        if share is None:
            why = tr("good pieces are not known") if efficiency.good is None else tr("no operating minute")
            figures.unknown(name, why)
            continue
        working = tr(
            "{good:,.0f} good ÷ ({minutes:,.1f} operating min × {rate:g} a minute); "
            "{outside:,.1f} min stood by causes outside",
            good=efficiency.good,
            minutes=minutes,
            rate=efficiency.nominal_per_min,
            outside=outside,
        )
        figures.add(name, 100 * share, working)


def study_tables(study: ShiftStudy, plant: Plant) -> tuple[Table, ...]:
    """The tables behind a shift, those with rows only."""
    matrix = columns_of(
        "before: from; after: to; count: times; median_min: median [min]; shortest_min: shortest [min]; "
        "longest_min: longest [min]"
    )
    tables = [
        Table(
            "changeovers", tr("Changeovers from flavour to flavour"), matrix, _rows_with_names(study.flavours, plant)
        ),
        Table(
            "bases",
            tr("Changeovers from base to base"),
            matrix,
            study.bases.filter((pl.col("before") != "") & (pl.col("after") != "")).rows(named=True),
        ),
        *_order(study, plant),
    ]
    return tuple(table for table in tables if table.rows)


def _flavour(plant: Plant, name: str) -> str:
    product = plant.product(name)
    return product.flavour if product else name


def _rows_with_names(frame: pl.DataFrame, plant: Plant) -> list[dict[str, Any]]:
    return [
        row | {side: _flavour(plant, row[side]) for side in ("before", "after")} for row in frame.iter_rows(named=True)
    ]


def _order(study: ShiftStudy, plant: Plant) -> list[Table]:
    if study.order is None:
        return []
    rows = []
    for k, name in enumerate(study.order.products, start=1):
        product = plant.product(name)
        allergens = ", ".join(product.allergens) if product else ""
        rows.append({"place": k, "product": _flavour(plant, name), "allergens": allergens})
    columns = columns_of("place:; product: flavour; allergens")
    saving_min = study.order.as_given_min - study.order.minutes
    title = tr(
        "Advice: this order of flavours would take {minutes:.0f} min of changeovers", minutes=study.order.minutes
    )
    if saving_min >= 0.5:
        title += tr(", {minutes:.0f} less than as planned", minutes=saving_min)
    if study.order.clean_downs:
        title += tr_count(
            ", and needs {count} validated clean-down",
            ", and needs {count} validated clean-downs",
            study.order.clean_downs,
        )
    above = study.order.above_percent
    if above is None:
        title += tr("; the best found in the time, perhaps not the least")
    elif above > 0:
        title += tr("; the best found in the time, at most {above:.1f} % above the least", above=max(above, 0.1))
    return [Table("order", title, columns, rows)]


def event_rows(events: Sequence[NextEvent]) -> list[dict[str, Any]]:
    """The rows of what comes next."""
    with_time = sorted((e for e in events if e.at is not None), key=lambda e: (e.at is None, e.at))
    without_time = [e for e in events if e.at is None]
    return [
        {"event": e.event, "at": e.at, "earliest": e.earliest, "latest": e.latest, "why": e.why}
        for e in (*with_time, *without_time)
    ]


def iso_figures(measures: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """ISO 22400-2's key figures of the minutes that were seen."""
    figures, elements = FigureList(period), time_elements(measures.so_far)
    unknown, short = why_unknown(measures.so_far), measures.so_far.minutes["short stop"]
    for key in (*iso_key_figures(elements), *productive_maintenance_figures(elements, short)):
        if key.name in unknown or key.value is None:
            figures.unknown(key.figure, unknown.get(key.name, tr("its divisor is 0")))
        else:
            parts = {name: show.number(n, int(n < 1000)) for name, n in (("top", key.top), ("bottom", key.bottom))}
            parts |= {"formula": key.formula, "edition": EDITION}
            working = tr("{formula} = {top} ÷ {bottom} (map of states {edition})", **parts)
            figures.add(key.figure, 100 * key.value, working, n=n)
    return figures.all
