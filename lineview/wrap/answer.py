"""What a thousand pieces take of film and wax paper, and why more than the geometry says."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.core.errors import AskError, Fault
from lineview.core.language import tr
from lineview.machine.calendar import calendar
from lineview.machine.pieces import MachineCounts
from lineview.machine.timeline import timeline_of
from lineview.plant import Machine, Plant
from lineview.report.answer import Answer, Scope
from lineview.report.figures import good_pieces_figure, outside_figures
from lineview.wrap.account import wrap_account
from lineview.wrap.figures import wrap_figures
from lineview.wrap.tables import cause_series, claim_table, product_table, reel_table, use_table, view_table
from lineview.wrap.waste import WrapEvents, wrap_events
from lineview.wrap.words import CAUTIONS, notes, sentence, soft_line


@dataclass(frozen=True)
class WrapInputs:
    """Of a cut-and-wrap machine: its counts over the period, batches, stop log and reel log."""

    counts: MachineCounts
    batches: pl.DataFrame
    stop_log: pl.DataFrame
    reels: pl.DataFrame


def answer_wrap(plant: Plant, scope: Scope, inputs: WrapInputs) -> Answer:
    """Answer what a thousand good pieces take of each web."""
    machine = wrapping_machine(plant, scope.machine)
    events = machine_events(plant, scope, inputs)
    account = wrap_account(
        plant, inputs.counts, inputs.batches, inputs.reels, events, (scope.period.start, scope.period.end)
    )
    return Answer(
        question="wrap",
        scope=scope,
        sentence=sentence(account, plant),
        soft=soft_line(account, plant, machine, scope.label),
        figures=(
            good_pieces_figure(account.pieces, scope.period, machine.label),
            *outside_figures(account.outside, scope.period),
            *wrap_figures(account, scope.period, plant.currency),
        ),
        tables=(
            use_table(account, plant.currency),
            claim_table(account, plant),
            view_table(account),
            product_table(account, plant, plant.currency),
            reel_table(account),
        ),
        series={"causes": cause_series(account)},
        notes=notes(
            account, machine, has_timeline=events is not None, has_batches=any(row.product for row in account.rows)
        ),
        cautions=tuple(map(tr, CAUTIONS)),
    )


def wrapping_machine(plant: Plant, machine_id: str) -> Machine:
    """The cut-and-wrap machine of this id, or raise with those there are."""
    machine = plant.machine(machine_id)
    if machine is None or machine.kind != "cut-and-wrap machine":
        names = ", ".join(m.id for m in plant.machines if m.kind == "cut-and-wrap machine")
        what = tr("'{machine}' is not a cut-and-wrap machine of the plant", machine=machine_id)
        raise AskError(Fault(what, "--machine", tr("one of {names}", names=names)))
    return machine


def machine_events(plant: Plant, scope: Scope, inputs: WrapInputs) -> WrapEvents | None:
    """Find restarts and changeovers of a machine on its timeline; None where its counter was not read."""
    if not len(inputs.counts.activity.code):
        return None
    cal = calendar(plant.shifts, plant.zone, scope.period.start, scope.period.end)
    timeline = timeline_of(inputs.counts, inputs.batches, inputs.stop_log, cal, short_stop_min=plant.short_stop_min)
    return wrap_events(timeline)
