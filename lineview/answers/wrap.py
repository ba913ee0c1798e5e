"""What a thousand pieces take of film and wax paper, and why more than the geometry says."""

from __future__ import annotations

import polars as pl

from lineview.answers.answer import Answer, Evidence, Scope
from lineview.answers.wrap_figures import wrap_figures
from lineview.answers.wrap_tables import cause_series, product_table, reel_table, use_table, view_table
from lineview.answers.wrap_words import CAUTIONS, notes, sentence, soft_line
from lineview.columns import READINGS, empty
from lineview.errors import AskError, Fault
from lineview.measures.clock import calendar
from lineview.measures.machine_tape import machine_tape
from lineview.measures.wrap_account import wrap_account
from lineview.measures.wrap_events import WrapEvents, wrap_events
from lineview.plant import Machine, Plant


def answer_wrap(plant: Plant, scope: Scope, evidence: Evidence) -> Answer:
    """Answer what a thousand good pieces take of each web.

    Parameters
    ----------
    plant : Plant
        The works.
    scope : Scope
        A cut-and-wrap machine and a period.
    evidence : Evidence
        Its readings; batches, stops and reels tell more where there are any.

    Returns
    -------
    Answer
        With figures by kind of web and unit, `series["causes"]` and the tables "use", "views", "products"
        and "reels".

    Raises
    ------
    AskError
        Where the machine is not a cut-and-wrap machine of the plant.
    """
    machine = wrapping_machine(plant, scope.machine)
    readings = evidence.readings.get(machine.id, empty(READINGS))
    events = machine_events(plant, machine, scope, evidence)
    account = wrap_account(
        plant,
        machine,
        readings,
        evidence.batches,
        evidence.reels,
        events,
        (scope.period.start, scope.period.end),
    )
    return Answer(
        question="wrap",
        scope=scope,
        sentence=sentence(account, plant),
        soft=soft_line(account, plant, machine, scope.label),
        figures=wrap_figures(account, scope.period, plant.currency),
        tables=(
            use_table(account, plant.currency),
            view_table(account),
            product_table(account, plant, plant.currency),
            reel_table(account),
        ),
        series={"causes": cause_series(account, plant)},
        notes=notes(
            account,
            machine,
            tape_told=events is not None,
            batches_told=any(row.product for row in account.rows),
        ),
        cautions=CAUTIONS,
    )


def wrapping_machine(plant: Plant, machine_id: str) -> Machine:
    """Give the cut-and-wrap machine of this id, or raise with those there are.

    Parameters
    ----------
    plant : Plant
        The works.
    machine_id : str
        Id asked for.
    """
    machine = plant.machine(machine_id)
    if machine is None or machine.kind != "cut-and-wrap machine":
        there = ", ".join(m.id for m in plant.machines if m.kind == "cut-and-wrap machine")
        raise AskError(
            Fault(f"'{machine_id}' is no cut-and-wrap machine of the plant", "--machine", f"one of {there}")
        )
    return machine


def machine_events(plant: Plant, machine: Machine, scope: Scope, evidence: Evidence) -> WrapEvents | None:
    """Find restarts and changeovers of a machine on its tape; None where it has no readings.

    Parameters
    ----------
    plant : Plant
        The works.
    machine : Machine
        The cut-and-wrap machine.
    scope : Scope
        What is asked.
    evidence : Evidence
        The frames it may look at.
    """
    readings = evidence.readings.get(machine.id, empty(READINGS))
    counts = [c.id for c in machine.counters if c.counts in ("pieces", "good pieces")]
    if readings.filter(pl.col("channel").is_in(counts)).height < 2:
        return None
    cal = calendar(plant.shifts, plant.zone, scope.period.start, scope.period.end)
    tape = machine_tape(
        machine,
        readings,
        evidence.batches,
        evidence.stop_log,
        cal,
        short_stop_min=plant.short_stop_min,
        gap_s=plant.gap_s,
    )
    return wrap_events(tape)
