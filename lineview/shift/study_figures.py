"""Figures of what lies behind a shift's stops: trend, clusters, the two efficiencies."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import polars as pl

from lineview.core.figure import Figure, Period, cannot_tell, too_few
from lineview.machine.stop_statistics import LEAST_STOPS, Cluster
from lineview.plant import Plant
from lineview.report.answer import Table
from lineview.shift.key_figures import (
    EDITION,
    KeyFigure,
    iso_key_figures,
    productive_maintenance_figures,
    time_elements,
    untold,
)
from lineview.shift.measures import ShiftMeasures
from lineview.shift.projection import NextEvent
from lineview.shift.study import ShiftStudy


def study_figures(study: ShiftStudy, stops: int, period: Period) -> tuple[Figure, ...]:
    """The figures behind a shift's stops."""
    return (
        *_trend(study, stops, period),
        *(_cluster(one, period) for one in study.clusters),
        *_efficiencies(study, period),
        *_aside(study, period),
    )


def event_figures(events: Sequence[NextEvent], period: Period) -> tuple[Figure, ...]:
    """When reels and the batch end."""
    figures = []
    for event in events:
        what = event.event.split(" ends")[0]
        name = "batch_end" if what == "batch" else f"reel_end_{what.removesuffix(' reel').replace(' ', '_')}"
        if event.at is None:
            figures.append(Figure(name, event.event, None, period=period, why_none=event.why, working=event.working))
            continue
        kind = "earliest: it never stops again; latest: 90 % prediction"
        figures.append(
            Figure(
                name,
                event.event,
                event.at,
                "",
                event.earliest,
                event.latest,
                kind,
                period=period,
                sources=("derived-projection",),
                working=event.working,
            )
        )
    return tuple(figures)


def _trend(study: ShiftStudy, stops: int, period: Period) -> list[Figure]:
    names = (
        ("stops_trend_laplace", "trend of stops, Laplace"),
        ("stops_trend_handbook", "trend of stops, MIL-HDBK-189C"),
        ("stops_power_law_shape", "power law of stops, shape (above 1: more often)"),
    )
    trend = study.trend
    if trend is None:
        return [too_few(name, label, "", needs=LEAST_STOPS, has=stops, period=period) for name, label in names]
    law = trend.law
    sources = ("nist-handbook", "mil-hdbk-189")
    over = f"{trend.stops} stops in {trend.run_min:.0f} running minutes: {trend.verdict}"
    figures = [
        Figure(
            name,
            label,
            test.statistic,
            interval_kind=f"two-sided p {test.p_two_sided:.3f} at a constant rate",
            n=trend.stops,
            period=period,
            sources=sources,
            working=over,
        )
        for (name, label), test in zip(names[:2], (trend.laplace, trend.handbook), strict=True)
    ]
    shape = Figure(
        *names[2],
        law.b,
        "",
        law.b_low,
        law.b_high,
        "95 % confidence, exact",
        trend.stops,
        period,
        sources,
        f"({law.events} − 1) ÷ Σ ln(T ÷ t) over {over}",
    )
    return [*figures, shape]


def _cluster(cluster: Cluster, period: Period) -> Figure:
    name = f"stops_after_{cluster.after.replace(' ', '_')}_ratio"
    label = f"rate of stops in {cluster.window_min:g} running minutes after a {cluster.after}, over other times"
    ratio = cluster.ratio
    working = (
        f"({cluster.stops} stops ÷ {cluster.run_min:.0f} min) ÷ "
        f"({cluster.other_stops} ÷ {cluster.other_run_min:.0f} min); "
        f"p {cluster.p_corrected:.3f} corrected for the looks"
    )
    if not math.isfinite(ratio.ratio):
        return cannot_tell(name, label, "", f"no stop at other times; {working}", period)
    high = ratio.high if math.isfinite(ratio.high) else None
    sources = ("conditional-rate-ratio", "holm-1979")
    kind = "95 % confidence, exact"
    return Figure(name, label, ratio.ratio, "", ratio.low, high, kind, cluster.events, period, sources, working)


def _aside(study: ShiftStudy, period: Period) -> list[Figure]:
    name, label = "pieces_in_maintenance", "pieces counted in maintenance, taken out"
    if study.maintenance_pieces is None:
        return []
    working = "increments of the piece counter while the state said maintenance or manual"
    sources = ("derived-counters", "isa-tr88")
    pieces = round(study.maintenance_pieces)
    return [Figure(name, label, pieces, "pieces", period=period, sources=sources, working=working)]


def _efficiencies(study: ShiftStudy, period: Period) -> list[Figure]:
    own = study.efficiency
    figures = []
    for name, label, value, minutes in (
        ("efficiency_all_causes_percent", "efficiency, all causes", own.all_causes, own.operating_min),
        (
            "efficiency_machine_only_percent",
            "efficiency, this machine only",
            own.machine_only,
            own.operating_min - own.outside_min,
        ),
    ):
        if value is None:
            figures.append(cannot_tell(name, label, "%", "no operating minute", period))
            continue
        working = (
            f"{own.good:,.0f} good ÷ ({minutes:,.1f} operating min × {own.nominal_per_min:g} a minute); "
            f"{own.outside_min:,.1f} min stood by causes outside"
        )
        figures.append(
            Figure(name, label, 100 * value, "%", period=period, sources=("din-en-415-11",), working=working)
        )
    return figures


_MATRIX = (
    ("before", "from", ""),
    ("after", "to", ""),
    ("count", "times", ""),
    ("median_min", "median", "min"),
    ("shortest_min", "shortest", "min"),
    ("longest_min", "longest", "min"),
)


def study_tables(study: ShiftStudy, plant: Plant) -> tuple[Table, ...]:
    """The tables behind a shift, those with rows only."""
    tables = [
        Table("changeovers", "Changeovers from flavour to flavour", _MATRIX, _named(study.flavours, plant)),
        Table(
            "bases",
            "Changeovers from base to base",
            _MATRIX,
            study.bases.filter((pl.col("before") != "") & (pl.col("after") != "")).rows(named=True),
        ),
        *_order(study, plant),
    ]
    return tuple(table for table in tables if table.rows)


def _flavour(plant: Plant, name: str) -> str:
    product = plant.product(name)
    return product.flavour if product else name


def _named(frame: pl.DataFrame, plant: Plant) -> list[dict[str, Any]]:
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
    columns = (("place", "", ""), ("product", "flavour", ""), ("allergens", "allergens", ""))
    saved = study.order.as_given_min - study.order.minutes
    title = f"Advice: this order of flavours would take {study.order.minutes:.0f} min of changeovers"
    if saved >= 0.5:
        title += f", {saved:.0f} less than as planned"
    if study.order.clean_downs:
        title += f", and needs {study.order.clean_downs} validated clean-down"
        title += "s" if study.order.clean_downs > 1 else ""
    above = study.order.above_percent
    if above is None:
        title += "; the best found in the time, perhaps not the least"
    elif above > 0:
        title += f"; the best found in the time, at most {max(above, 0.1):.1f} % above the least"
    return [Table("order", title, columns, rows)]


def event_rows(events: Sequence[NextEvent]) -> list[dict[str, Any]]:
    """The rows of what comes next."""
    known = sorted((e for e in events if e.at is not None), key=lambda e: (e.at is None, e.at))
    rest = [e for e in events if e.at is None]
    return [
        {"event": e.event, "at": e.at, "earliest": e.earliest, "latest": e.latest, "why": e.why}
        for e in (*known, *rest)
    ]


def iso_figures(measured: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """Give ISO 22400-2's key figures of the minutes that were seen."""
    elements = time_elements(measured.so_far)
    reasons = untold(measured.so_far)
    short = measured.so_far.minutes["short stop"]
    return (
        *(_figure(key, period, n, "iso_", reasons.get(key.name)) for key in iso_key_figures(elements)),
        *(_figure(key, period, n, "") for key in productive_maintenance_figures(elements, short)),
    )


def _figure(key: KeyFigure, period: Period, n: int, prefix: str, reason: str | None = None) -> Figure:
    name = f"{prefix}{key.name}_percent"
    if reason or key.value is None:
        return cannot_tell(name, key.label, "%", reason or "its divisor is 0", period)
    working = f"{key.formula} = {key.top:,.4g} ÷ {key.bottom:,.4g} (map of states {EDITION})"
    return Figure(
        name,
        key.label,
        100 * key.value,
        "%",
        n=n,
        period=period,
        sources=("iso-22400-2",) if prefix else ("willmott-mccarthy",),
        working=working,
    )
