"""The rope answer's tables and the frames for its picture."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from lineview.core.figure import Figure
from lineview.core.frames import UTC_US
from lineview.core.language import in_digits, mark, tr, tr_in
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Scope, Table, columns_of
from lineview.rope.account import RopeAccount
from lineview.rope.drift_model import RopeModel, rope_components
from lineview.rope.forecast import Effect, Verdict, fan, forecast_end
from lineview.rope.ranking import RankedSizer, sizers_table
from lineview.rope.watch import ALLOWANCE, FALSE_ALARM_H
from lineview.rope.words import length, took_out
from lineview.stats.control_charts import NELSON
from lineview.stats.run_lengths import QUICK, SLOW


def run_rules_table(account: RopeAccount) -> Table:
    """What each run rule asked for signals."""
    columns = columns_of("rule; signals; stands: since the last adjustment; first: first of these")
    rules, model, watch = account.run_rules, account.model, account.watch
    title = tr("Run rules on the batches' residuals (Nelson's tests)")
    if rules is None or model is None or watch is None or rules.refused:
        return Table("run_rules", title, columns, ())
    if rules.run_length is not None:
        title += tr("; together they alarm falsely once in {batches} batches", batches=show.number(rules.run_length, 0))
    rows = []
    for test, signal in rules.signals.items():
        places = np.flatnonzero(signal)
        standing = places[places >= watch.since]
        first = model.points["at"][int(standing[0])] if standing.size else None
        words = f"{test}: {tr(NELSON[test - 1])}"
        rows.append({"rule": words, "signals": places.size, "stands": standing.size, "first": first})
    return Table("run_rules", title, columns, rows)


def run_rules_notes(account: RopeAccount) -> list[str]:
    """Say why run rules were not applied, where they were asked for."""
    rules = account.run_rules
    if rules is None:
        return []
    if rules.refused:
        return [tr("Run rules are asked for in plant.toml and were not applied: {why}.", why=rules.refused)]
    return [tr("Run rules are on: they add false alarms to those of the charts, whose rate is set without them.")]


def rope_series(account: RopeAccount, judgement: Verdict | None) -> dict[str, pl.DataFrame]:
    """The frames for the pictures."""
    out = {"batches": account.points}
    watch = account.watch
    if watch is not None:
        out |= {"residuals": watch.single, "ewma": watch.ewma, "quick": watch.quick, "cusum": watch.cusum}
    if account.model is not None:
        out["components"] = rope_components(account.model)
    if account.model is not None and account.ahead is not None:
        out["forecast"] = fan(account.model, account.ahead.now_h, forecast_end(account.model, account.ahead))
    rows: list[tuple[float, datetime, str, bool]] = [
        (e.running_h, e.at, e.label, e.recorded) for e in (judgement.effects if judgement else ())
    ]
    rows += [(float(account.points["running_h"].max()), at, what, True) for at, what in account.unjudged]  # type: ignore[arg-type]  # a float column's maximum
    out["adjustments"] = pl.DataFrame(
        rows, schema={"running_h": pl.Float64, "at": UTC_US, "label": pl.String, "recorded": pl.Boolean}, orient="row"
    )
    return out


def watch_table(account: RopeAccount) -> Table:
    """The charts that watch for drift: their parameters, limits and signals."""
    columns = columns_of(
        "chart; parameter; low: lower limit [mm]; high: upper limit [mm]; rate: one false alarm in; signals; "
        "stands: since the last adjustment; first: first of these"
    )
    title = tr("Charts of the batches' residuals that watch for drift (ISO 7870-2, -4 and -6)")
    watch = account.watch
    if watch is None:
        return Table("watch", title, columns, ())
    if watch.by_rank:
        title += tr(", by rank, for some batches are farther off than a normal law has them")
    averages = (("EWMA", SLOW, watch.ewma), (mark("EWMA, quick"), QUICK, watch.quick), ("Shewhart", 1.0, watch.single))
    rows: list[dict[str, Any]] = []
    for (chart, smoothing, frame), width in zip(averages, watch.widths, strict=True):
        parameter = f"L {show.number(width, 2)}" + (f", λ {in_digits(format(smoothing, 'g'))}" if smoothing < 1 else "")
        row = {"chart": chart, "parameter": parameter, "low": frame["low"][-1], "high": frame["high"][-1]}
        rate = tr("{hours:.0f} h, with the other two", hours=FALSE_ALARM_H)
        rows.append({**row, "rate": rate, **_signals(frame)})
    parameter, limit = (
        f"k {in_digits(format(ALLOWANCE, 'g'))}, h {show.number(watch.limit, 2)}",
        watch.cusum["limit"][-1],
    )
    row = {"chart": "CUSUM", "parameter": parameter, "low": -limit, "high": limit}
    rows.append({**row, "rate": tr("{hours:.0f} h by itself", hours=FALSE_ALARM_H), **_signals(watch.cusum)})
    return Table("watch", title, columns, rows)


def _signals(frame: pl.DataFrame) -> dict[str, Any]:
    standing = frame.filter("stands")
    first = standing["at"][0] if standing.height else None
    return {"signals": int(frame["signal"].sum()), "stands": standing.height, "first": first}


def rope_tables(
    account: RopeAccount,
    judgement: Verdict | None,
    figures: tuple[Figure, ...],
    plant: Plant,
    scope: Scope,
    ranked: tuple[RankedSizer, ...] = (),
) -> tuple[Table, ...]:
    """The tables below the picture."""
    tables = [
        _causes(account, judgement, {f.name: f for f in figures}, plant, scope),
        _adjustments(account, judgement, plant, scope),
        sizers_table(ranked, plant),
        watch_table(account),
        run_rules_table(account),
        _limits(account),
        _gauges(account),
        _rollers(account),
    ]
    return tuple(table for table in tables if table.rows)


def _causes(
    account: RopeAccount, judgement: Verdict | None, by_name: Mapping[str, Figure], plant: Plant, scope: Scope
) -> Table:
    rows: list[dict[str, Any]] = []
    if account.model is not None and judgement is not None:
        sources = _cause_words(account.model, plant, scope)
        for name, (what, source) in sources.items():
            figure = by_name.get(name)
            if figure is not None:
                rows.append(_cause(what, figure, source, plant))
    columns = columns_of("what: what moves the diameter; size; interval: 95 % interval")
    basis = ("from", tr_in("what a size rests on", "from"), "")
    return Table("causes", tr("What moves the diameter"), (*columns, basis), rows)


def _cause_words(model: RopeModel, plant: Plant, scope: Scope) -> dict[str, tuple[str, str]]:
    """What each cause is called and what its size rests on, by the name of its figure."""
    when, n = show.moment_near(model.since, plant, scope.now), model.n
    if model.adjustments:
        since = tr("{batches:,} batches; the pace since the last step, {when}", batches=n, when=when)
    else:
        since = tr("{batches:,} batches; the pace since the first batch, {when}", batches=n, when=when)
    warmer = tr("rope 1 °C (1.8 °F) warmer") if plant.units == "US" else tr("rope 1 °C warmer")
    words = {
        "drift_mm_per_h": (tr("wear, an hour of running"), since),
        "batch_to_batch_sd_mm": (tr("one batch to the next"), tr("standard deviation, {batches:,} batches", batches=n)),
        "within_batch_sd_mm": (tr("within a batch"), tr("standard deviation of readings about each batch's line")),
        "taper_mm": (tr("from a batch's start to its end"), tr("mean of the batches")),
        "temperature_mm_per_c": (warmer, tr("slope on batch mean temperature")),
    }
    kinds = model.kinds
    for i, name in enumerate(kinds.names if kinds else (), 1):
        what = tr("{product} batches, against {other}", product=name, other=kinds.reference if kinds else "")
        words[f"product_{i}_mm"] = (what, tr("each off its own target"))
    return words


def _cause(what: str, figure: Figure, source: str, plant: Plant) -> dict[str, Any]:
    if not isinstance(figure.value, float):
        return {"what": what, "size": None, "interval": None, "from": figure.why_none}
    signed = figure.name not in ("batch_to_batch_sd_mm", "within_batch_sd_mm")
    low, high = figure.low, figure.high
    bounded = isinstance(low, float) and isinstance(high, float)
    if bounded and signed and isinstance(low, float) and isinstance(high, float) and low < 0 < high:
        source += tr("; no measurable effect")

    def size(mm: float) -> str:
        return length(mm, plant, signed=signed, rate=True)

    ends = None
    if isinstance(low, float) and isinstance(high, float):
        ends = tr("{low} to {high}", low=size(low), high=size(high))
    return {"what": what, "size": size(figure.value), "interval": ends, "from": source}


#: The words for an adjustment that no batch has followed.
UNJUDGED = mark("no batch since, so not judged yet")


def _adjustments(account: RopeAccount, judgement: Verdict | None, plant: Plant, scope: Scope) -> Table:
    columns = columns_of(
        "at: when; what; verdict; before: off target before [mm]; size: changed by [mm]; "
        "low: 95 % from [mm]; high: to [mm]; after: off target after [mm]"
    )
    rows = [
        {
            "at": effect.at,
            "what": effect.label,
            "before": round(effect.before_mm, 4),
            "size": round(effect.size_mm, 4),
            "low": round(effect.low_mm, 4),
            "high": round(effect.high_mm, 4),
            "after": round(effect.after_mm, 4),
            "verdict": verdict_words(effect, plant, scope),
        }
        for effect in (judgement.effects if judgement else ())
    ]
    blank = {key: None for key, _, _ in columns}
    rows += [{**blank, "at": at, "what": what, "verdict": UNJUDGED} for at, what in account.unjudged]
    return Table("adjustments", tr("Adjustments and unexplained jumps"), columns, rows)


def verdict_words(effect: Effect, plant: Plant, scope: Scope) -> str:
    """Say what a step did, in words."""
    when, size = show.moment_near(effect.at, plant, scope.now), length(abs(effect.size_mm), plant)
    name = (
        tr("the adjustment of {when}", when=when)
        if effect.recorded
        else tr("the unexplained jump of {when}", when=when)
    )
    if not effect.real:
        return tr("{step} made no measurable difference", step=name)
    if effect.helped and effect.before_mm * effect.size_mm < 0:
        return tr("{step} corrected {correction}", step=name, correction=took_out(effect, plant))
    if effect.size_mm > 0:
        return tr("{step} moved the rope up {length}, away from its target", step=name, length=size)
    return tr("{step} moved the rope down {length}, away from its target", step=name, length=size)


def _limits(account: RopeAccount) -> Table:
    columns = columns_of(
        "chart; centre [mm]; low [mm]; high [mm]; sd: standard deviation [mm]; points; "
        "readings: readings per point; outside: points outside; which; takes: assumes"
    )
    rows = [
        {
            "chart": limit.chart,
            "centre": limit.limits.centre,
            "low": limit.limits.low,
            "high": limit.limits.high,
            "sd": limit.limits.sd,
            "points": limit.batches,
            "readings": limit.readings,
            "outside": len(limit.outside),
            "which": ", ".join(limit.outside[:12]) + (" …" if len(limit.outside) > 12 else ""),
            "takes": limit.takes,
        }
        for limit in account.limits
    ]
    return Table("limits", tr("Control limits, three standard deviations (ISO 7870-2)"), columns, rows)


def _gauges(account: RopeAccount) -> Table:
    columns = columns_of(
        "gauge; used; readings: usable readings; frozen: standing still; off_rope: no rope; found: finding"
    )
    rows = []
    for i, gauge in enumerate(account.gauges):
        check = gauge.check
        finding = mark("dead") if check.dead else tr("seems to be in {unit}", unit=tr(check.slip)) if check.slip else ""
        rows.append(
            {
                "gauge": gauge.gauge.id,
                "used": mark("yes") if i == 0 and not finding else mark("no"),
                "readings": check.usable.height,
                "frozen": check.frozen,
                "off_rope": check.off_rope,
                "found": finding,
            }
        )
    return Table("gauges", tr("Diameter gauges"), columns, rows)


def _rollers(account: RopeAccount) -> Table:
    columns = columns_of(
        "pair: roller pair; turns_s: turn time [s]; ripple: ripple, amplitude [mm]; chance: by chance; "
        "slip: flow missing against the last pair [%]; low: 95 % from [%]; high: to [%]; found: finding"
    )
    rows: dict[int, dict[str, Any]] = {}
    empty = {key: None for key, _, _ in columns}
    for ripple in account.ripples:
        row = rows.setdefault(ripple.pair, {**empty, "pair": ripple.pair})
        row["turns_s"], row["found"] = ripple.turns_s, ripple.why_none
        if ripple.ripple is not None:
            row["ripple"], row["chance"] = ripple.ripple.amplitude, ripple.ripple.chance
            row["found"] = mark("ripple at this pair's turning period") if ripple.has_ripple else mark("no ripple")
    for slip in account.slips:
        row = rows.setdefault(slip.pair, {**empty, "pair": slip.pair})
        row["slip"], row["low"], row["high"] = 100 * slip.share, 100 * slip.low, 100 * slip.high
    ordered = [rows[pair] for pair in sorted(rows)]
    return Table("rollers", tr("Roller pairs: ripple at their turning period, and flow v·d²"), columns, ordered)


def product_notes(model: RopeModel | None) -> list[str]:
    """Say which products cannot be separated."""
    kinds = None if model is None else model.kinds
    if kinds is None:
        return []
    out = []
    if kinds.aside:
        out.append(
            tr(
                "Batches of {products} are too few to know how far they run off their own target; they were "
                "left out of the drift.",
                products=show.sentence_list(kinds.aside),
            )
        )
    if kinds.mixed:
        out.append(
            tr(
                "How far the rope of {products} runs off its own target cannot be separated from drift, "
                "from an adjustment or from the change between batches: too few batches, or a change of "
                "product at an adjustment.",
                products=show.sentence_list(kinds.mixed),
            )
        )
    if kinds.in_one_stretch:
        out.append(
            tr(
                "Batches of {products} were made in one stretch: whether that product runs off its "
                "own target, or the rope jumped when it began or ended, is not known.",
                products=show.sentence_list(kinds.in_one_stretch),
            )
        )
    return out
