"""Figures of what lies behind a shift's stops: trend, clusters, the two efficiencies."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lineview.figure import Figure, Period, cannot_tell, too_few
from lineview.measures.next_events import NextEvent
from lineview.measures.shift_study import ShiftStudy
from lineview.measures.stop_clusters import Cluster
from lineview.measures.stop_trend import LEAST_STOPS


def study_figures(study: ShiftStudy, stops: int, period: Period) -> tuple[Figure, ...]:
    """Give the figures behind a shift's stops.

    Parameters
    ----------
    study : ShiftStudy
        Of the period.
    stops : int
        Stops that began while it ran.
    period : Period
        As asked.

    Returns
    -------
    tuple of Figure
        Trend of the stops, clusters, efficiency over all causes and over the machine's own.
    """
    return (
        *_trend(study, stops, period),
        *(_cluster(one, period) for one in study.clusters),
        *_efficiencies(study, period),
        *_aside(study, period),
    )


def event_figures(events: Sequence[NextEvent], period: Period) -> tuple[Figure, ...]:
    """Give when reels and the batch end.

    Parameters
    ----------
    events : sequence of NextEvent
        Of the machine; none where the period is over.
    period : Period
        As asked.

    Returns
    -------
    tuple of Figure
        Named reel_end_<kind> and batch_end; "earliest" is as if it never stopped again.
    """
    figures = []
    for event in events:
        what = event.event.split(" ends")[0]
        name = "batch_end" if what == "batch" else f"reel_end_{what.removesuffix(' reel').replace(' ', '_')}"
        if event.at is None:
            figures.append(
                Figure(name, event.event, None, period=period, why_none=event.why, working=event.working)
            )
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
        return [
            too_few(name, label, "", needs=LEAST_STOPS, has=stops, period=period) for name, label in names
        ]
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
    label = (
        f"rate of stops in {cluster.window_min:g} running minutes after a {cluster.after}, over other times"
    )
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
    return Figure(
        name, label, ratio.ratio, "", ratio.low, high, kind, cluster.events, period, sources, working
    )


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
