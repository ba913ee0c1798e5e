"""The shift's answer: what it made, where the minutes went, what the rest must do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from lineview.answers.answer import Answer, Scope, Table
from lineview.answers.iso_figures import iso_figures
from lineview.answers.shift_figures import shift_figures
from lineview.answers.shift_notes import maintenance_note, notes
from lineview.answers.shift_study_figures import event_figures, study_figures
from lineview.answers.shift_study_tables import event_rows, study_tables
from lineview.answers.shift_tables import (
    found_table,
    key_figure_table,
    ladder_table,
    leg_table,
    next_table,
    reason_table,
    shift_table,
    stop_table,
)
from lineview.answers.shift_words import ALLERGENS, CAUTIONS, sentence, soft_line
from lineview.errors import AskError, Fault
from lineview.machine.pieces import MachineCounts
from lineview.measures.shift_measures import ShiftMeasures, measure_shift, rate_by_minute
from lineview.measures.shift_study import ShiftStudy, study_shift
from lineview.plant import Plant


@dataclass(frozen=True)
class ShiftInputs:
    """Of a cut-and-wrap machine: its counts from a little before the period to a little after it.

    `batches`, `stop_log`, `reels` and `plan` are frames of core.frames; `rope_gauges` hold at and value of
    the line's gauges where no batch sheet marks the products.
    """

    counts: MachineCounts
    batches: pl.DataFrame
    stop_log: pl.DataFrame
    reels: pl.DataFrame
    plan: pl.DataFrame
    rope_gauges: Sequence[pl.DataFrame] = ()


def answer_shift(plant: Plant, scope: Scope, inputs: ShiftInputs) -> Answer:
    """Answer what a shift made against the nominal band, and where the minutes went.

    Parameters
    ----------
    plant : Plant
        As described in plant.toml.
    scope : Scope
        The line's cut-and-wrap machine and the period: a shift, or several.
    inputs : ShiftInputs
        Counts of the machine, batches, stop log, reels, plan.

    Returns
    -------
    Answer
        Its figures, ladder and stops speak of the part of the period that is over.

    Raises
    ------
    AskError
        Where the machine is not in the plant description.
    """
    machine = plant.machine(scope.machine)
    if machine is None:
        known = ", ".join(m.id for m in plant.machines) or "none"
        raise AskError(Fault(f"unknown machine '{scope.machine}'", "machine", f"one of {known}"))
    counts = inputs.counts
    measured = measure_shift(
        plant,
        counts,
        scope.period.start,
        scope.period.end,
        scope.now,
        batches=inputs.batches,
        stop_log=inputs.stop_log,
        plan=inputs.plan,
        gauges=inputs.rope_gauges,
    )
    study = study_shift(
        plant,
        measured,
        scope.period.end,
        scope.now,
        batches=inputs.batches,
        reels=inputs.reels,
        plan=inputs.plan,
    )
    n = counts.readings
    rate = rate_by_minute(measured)
    return Answer(
        "shift",
        scope,
        sentence(measured, scope, n),
        soft_line(measured, plant),
        (
            *shift_figures(measured, scope.period, n),
            *event_figures(study.events, scope.period),
            *iso_figures(measured, scope.period, n),
            *study_figures(study, measured.stops.events, scope.period),
        ),
        _tables(plant, measured, study, scope),
        {"tape": _with_rate(measured.tape), "rate": rate},
        (
            *notes(measured, machine, inputs, list(counts.unknown_states)),
            *maintenance_note(study.maintenance_pieces),
        ),
        CAUTIONS if study.order is None else (*CAUTIONS, ALLERGENS),
    )


def _tables(plant: Plant, measured: ShiftMeasures, study: ShiftStudy, scope: Scope) -> tuple[Table, ...]:
    tables = [
        ladder_table(measured),
        next_table(measured, scope, event_rows(study.events)),
        stop_table(measured),
        reason_table(measured),
    ]
    if measured.windows.height > 1:
        tables.append(shift_table(measured))
    if study.legs.height > 1:
        tables.append(leg_table(study.legs))
    found = found_table(measured)
    return (*tables, *found, *study_tables(study, plant), key_figure_table(measured))


def _with_rate(tape: pl.DataFrame) -> pl.DataFrame:
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    return tape.with_columns(rate_per_min=pl.col("pieces") / minutes)
