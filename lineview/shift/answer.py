"""The shift's answer: what it made, where the minutes went, what the rest must do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.errors import AskError, Fault
from lineview.core.language import mark, tr, tr_count
from lineview.machine.changeovers import LEAST_MIN
from lineview.machine.pieces import BESIDE, UNPLUGGED_US, MachineCounts
from lineview.machine.timeline import LOG_LATE_US
from lineview.plant import Machine, Plant
from lineview.report.answer import Answer, Scope, Table
from lineview.report.figures import outside_figures
from lineview.report.show import sentence_list
from lineview.shift.figures import shift_figures
from lineview.shift.measures import PastCounts, ShiftMeasures, measure_shift, rate_by_minute
from lineview.shift.study import ShiftStudy, study_shift
from lineview.shift.study_figures import event_figures, event_rows, iso_figures, study_figures, study_tables
from lineview.shift.tables import (
    key_figure_table,
    ladder_table,
    leg_table,
    next_table,
    reason_table,
    shift_table,
    stop_table,
    unrecorded_table,
)
from lineview.shift.words import ALLERGENS, CAUTIONS, sentence, soft_line

#: Slow minutes whose bounds lie further apart than this share of the planned minutes get a note.
CLOSE_SHARE = 0.015
#: A logged stop that is shorter may hide between two readings.
LOG_LATE = timedelta(microseconds=LOG_LATE_US)
#: Among so many pieces some are rejects; common practice, no source.
MANY = 20_000


def notes(
    measures: ShiftMeasures, machine: Machine, inputs: ShiftInputs, unknown_states: Sequence[str]
) -> tuple[str, ...]:
    """Say what is not known and which export would show it."""
    out: list[str] = []
    known_products = machine.gauge("product") or machine.gauge("batch")
    if not inputs.batches.height and known_products is None:
        out.append(_changeover_source(measures))
    if not inputs.stop_log.height:
        out.append(tr("No stop log: stops have no reasons until somebody sets them."))
    if not inputs.plan.height:
        out.append(tr("No plan: the pace needed for it is not known."))
    if not inputs.reels.height:
        out.append(tr("No reel log: the next reel change is not known."))
    if machine.counter("rejects") is None and machine.counter("good pieces") is None:
        out.append(tr("No counter of rejects or good pieces: good pieces are at most the pieces made."))
    if machine.set_per_min is None:
        out.append(tr("No set rate in plant.toml: the ladder starts from the middle of the nominal band."))
    if unknown_states:
        out.append(
            tr(
                "What the states {states} mean is not declared in plant.toml; published "
                "lists number the same names differently, so a number is not guessed.",
                states=", ".join(unknown_states[:6]),
            )
        )
    account = measures.so_far
    ran = account.counted_run_min
    if ran > 1e-9 and (account.state_pieces["running"] + account.state_pieces["slow"]) / ran > account.nominal_per_min:
        out.append(
            tr(
                "It ran faster than nominal, so effectiveness is above 100 %: {rate:g} a minute "
                "is too low a nominal rate for this period. Nothing is capped.",
                rate=account.nominal_per_min,
            )
        )
    out += _states(measures)
    out += _logged_in_vain(measures.timeline, inputs.stop_log)
    out += _slow(measures) + _unplugged(measures)
    if account.counts_rejects and not account.rejects_used and account.is_good_known and account.pieces_used >= MANY:
        text = mark("Not one reject was counted among {made:,.0f} pieces: do the counters still tell them apart?")
        out.append(tr(text, made=account.pieces_used))
    if abs(account.counters_differ) >= 0.5:
        text = mark("Good pieces differ by {pieces:+,.0f} from pieces made less rejects: the counters disagree.")
        out.append(tr(text, pieces=account.counters_differ))
    return tuple(out)


def _changeover_source(measures: ShiftMeasures) -> str:
    """Say where changeovers come from without batch marks."""
    count = measures.changeovers.filter(pl.col("sure").is_not_null()).height
    if not count:
        return tr("No batch sheet and no product channel: changeovers cannot be separated from stops.")
    words = tr_count(
        "No batch sheet and no product channel: one changeover was found, not recorded, where the line stood for "
        "{minutes:g} planned minutes or longer and the rope restarted after it.",
        "No batch sheet and no product channel: {count} changeovers were found, not recorded, where the line stood "
        "for {minutes:g} planned minutes or longer and the rope restarted after it.",
        count,
        minutes=LEAST_MIN,
    )
    return words + tr(
        " Between which flavours is unknown; a long pause between two batches of one flavour looks the same."
    )


def _states(measures: ShiftMeasures) -> list[str]:
    """Say what the machine's states added, and where they contradict its counter."""
    out, account, against = [], measures.so_far, measures.against
    coded_min = account.coded_run_min + account.coded_stand_min
    if coded_min >= 0.5:
        out.append(
            tr(
                "{minutes:,.0f} minutes have no counter readings and are known from the machine's own states: "
                "{running:,.0f} running, {standing:,.0f} standing.",
                minutes=coded_min,
                running=account.coded_run_min,
                standing=account.coded_stand_min,
            )
        )
    if against.count:
        out.append(
            tr_count(
                "The machine's state and its counter disagreed once for longer than a minute, "
                "{minutes:,.0f} minutes in all: the counter takes precedence.",
                "The machine's state and its counter disagreed {count:,} times for longer than a minute, "
                "{minutes:,.0f} minutes in all: the counter takes precedence.",
                against.count,
                minutes=against.minutes,
            )
        )
    return out


def _logged_in_vain(timeline: pl.DataFrame, stop_log: pl.DataFrame) -> list[str]:
    """Say how many stops were logged within time in which the counter went on."""
    runs = timeline.filter(pl.col("state") == "running").select(run="start", run_end="end").sort("run")
    log = stop_log.filter(~pl.col("reason").str.to_lowercase().str.starts_with("adjust"), pl.col("end").is_not_null())
    log = log.filter(pl.col("end") - pl.col("start") >= LOG_LATE).sort("start")
    within = log.join_asof(runs, left_on="start", right_on="run", check_sortedness=False)
    inside = (pl.col("start") - LOG_LATE >= pl.col("run")) & (pl.col("end") + LOG_LATE <= pl.col("run_end"))
    count = within.filter(inside).height
    words = tr_count(
        "One logged stop lies where the counter went on, and gives no stop a reason: is the log's clock right?",
        "{count:,} logged stops lie where the counter went on, and give no stop a reason: is the log's clock right?",
        count,
    )
    return [words] if count else []


def _unplugged(measures: ShiftMeasures) -> list[str]:
    """Say for how long nothing tells what was made, though other counters of the machine may have counted on."""
    beside = [tr(kind) for kind in BESIDE if measures.counts.has_read(kind)]
    begins, ends = (measures.windows[name].dt.epoch("us").to_numpy() for name in ("start", "end"))
    gaps = [gap for gap in measures.counts.open_intervals("pieces") if gap[1] - gap[0] >= UNPLUGGED_US]
    inside = [np.clip(np.minimum(ends, end) - np.maximum(begins, start), 0, None).sum() / 6e7 for start, end in gaps]
    text = mark(
        "For {minutes:,.0f} minutes nothing tells what was made: the counter of pieces was not read or set back, or it "
        "stood while {others} were counted. Is it plugged in?"
    )
    return [tr(text, minutes=sum(inside), others=sentence_list(beside))] if beside and sum(inside) >= 1 else []


def _slow(measures: ShiftMeasures) -> list[str]:
    """Say that slow minutes are not known well where the readings are too far apart."""
    low, high = measures.slow_bounds_min
    if (high - low) / 2 <= CLOSE_SHARE * measures.so_far.planned_min:
        return []
    return [
        tr(
            "Slow minutes are known only as {low:,.0f} to {high:,.0f}: the counter is read too seldom, "
            "and a slow minute looks like one with a short stop in it.",
            low=low,
            high=high,
        )
    ]


def maintenance_note(pieces: float | None) -> tuple[str, ...]:
    """Say that the counter went on in maintenance, where it did."""
    if pieces is None or pieces < 0.5:
        return ()
    return (
        tr(
            "{pieces:,.0f} pieces were counted while the machine's state said maintenance or manual: they are "
            "taken out of the pieces made and the good pieces.",
            pieces=pieces,
        ),
    )


@dataclass(frozen=True)
class ShiftInputs:
    """Of a cut-and-wrap machine: its counts from a little before the period to a little after it.

    `batches`, `stop_log`, `reels` and `plan` are frames of core.frames; `rope_gauges` hold at and value of
    the line's gauges where no batch sheet marks the products. `past` are the weeks before the period, `after`
    the counts of the days after it up to a moment.
    """

    counts: MachineCounts
    batches: pl.DataFrame
    stop_log: pl.DataFrame
    reels: pl.DataFrame
    plan: pl.DataFrame
    rope_gauges: Sequence[pl.DataFrame] = ()
    past: PastCounts | None = None
    after: tuple[datetime, MachineCounts] | None = None


def answer_shift(plant: Plant, scope: Scope, inputs: ShiftInputs) -> Answer:
    """Answer what a shift made against the nominal band, and where the minutes went."""
    machine = plant.machine(scope.machine)
    if machine is None:
        ids = ", ".join(m.id for m in plant.machines) or tr("none")
        what = tr("unknown machine '{machine}'", machine=scope.machine)
        raise AskError(Fault(what, "machine", tr("one of {names}", names=ids)))
    counts = inputs.counts
    measures = measure_shift(
        plant,
        counts,
        scope.period.start,
        scope.period.end,
        scope.now,
        batches=inputs.batches,
        stop_log=inputs.stop_log,
        plan=inputs.plan,
        gauges=inputs.rope_gauges,
        weeks_before=inputs.past,
        days_after=inputs.after,
    )
    study = study_shift(
        plant, measures, scope.period.end, scope.now, batches=inputs.batches, reels=inputs.reels, plan=inputs.plan
    )
    n = counts.readings
    rate = rate_by_minute(measures)
    return Answer(
        "shift",
        scope,
        sentence(measures, scope, n),
        soft_line(measures, plant),
        (
            *shift_figures(measures, scope.period, n),
            *outside_figures(measures.outside, scope.period),
            *event_figures(study.events, scope.period),
            *iso_figures(measures, scope.period, n),
            *study_figures(study, measures.stops.events, scope.period),
        ),
        _tables(plant, measures, study, scope),
        {"timeline": _with_rate(measures.timeline), "rate": rate},
        (*notes(measures, machine, inputs, list(counts.unknown_states)), *maintenance_note(study.maintenance_pieces)),
        tuple(map(tr, CAUTIONS if study.order is None else (*CAUTIONS, ALLERGENS))),
    )


def _tables(plant: Plant, measures: ShiftMeasures, study: ShiftStudy, scope: Scope) -> tuple[Table, ...]:
    tables = [
        ladder_table(measures),
        next_table(measures, scope, event_rows(study.events)),
        stop_table(measures),
        reason_table(measures),
    ]
    if measures.windows.height > 1:
        tables.append(shift_table(measures))
    if study.legs.height > 1:
        tables.append(leg_table(study.legs))
    changeovers = unrecorded_table(measures)
    return (*tables, *changeovers, *study_tables(study, plant), key_figure_table(measures))


def _with_rate(timeline: pl.DataFrame) -> pl.DataFrame:
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    return timeline.with_columns(rate_per_min=pl.col("pieces") / minutes)
