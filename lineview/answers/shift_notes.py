"""The shift's notes: what cannot be told, what was left out, and where two sources disagree."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from lineview.answers.shift import ShiftInputs
from lineview.measures.changeovers_found import LEAST_MIN
from lineview.measures.shift_measures import ShiftMeasures
from lineview.plant import Machine

#: Slow minutes told no closer than within so much of the planned minutes are said not to be told well.
CLOSE_SHARE = 0.015


def notes(
    measured: ShiftMeasures, machine: Machine, inputs: ShiftInputs, unknown_states: Sequence[str]
) -> tuple[str, ...]:
    """Say what cannot be told and which export would tell it.

    Parameters
    ----------
    measured : ShiftMeasures
        Of the period.
    machine : Machine
        As in the plant description.
    inputs : ShiftInputs
        What was given.
    unknown_states : sequence of str
        States of the machine's channel that nobody declared.

    Returns
    -------
    tuple of str
        Plain sentences.
    """
    told: list[str] = []
    known_products = machine.gauge("product") or machine.gauge("batch")
    if not inputs.batches.height and known_products is None:
        told.append(_unmarked(measured))
    if not inputs.stop_log.height:
        told.append("No stop log: stops have no reasons until somebody sets them.")
    if not inputs.plan.height:
        told.append("No plan: the pace needed for it cannot be told.")
    if not inputs.reels.height:
        told.append("No reel log: the next reel change cannot be told.")
    if machine.counter("rejects") is None and machine.counter("good pieces") is None:
        told.append("No counter of rejects or good pieces: good pieces are at most the pieces made.")
    if machine.set_per_min is None:
        told.append("No set rate in plant.toml: the ladder starts from the middle of the nominal band.")
    if unknown_states:
        told.append(
            f"What the states {', '.join(unknown_states[:6])} mean is not declared in plant.toml; published "
            "lists number the same names differently, so a number is not guessed."
        )
    made = measured.so_far
    ran = made.counted_run_min
    if ran > 1e-9 and (made.made["running"] + made.made["slow"]) / ran > made.nominal_per_min:
        told.append(
            f"It ran faster than nominal, so effectiveness is above 100 %: {made.nominal_per_min:g} a minute "
            "is too low a nominal rate for this period. Nothing is capped."
        )
    told += _states(measured)
    told += _slow(measured)
    if abs(made.counters_differ) >= 0.5:
        told.append(
            f"Good pieces differ by {made.counters_differ:+,.0f} from pieces made less rejects: "
            "the counters disagree."
        )
    return tuple(told)


def _unmarked(measured: ShiftMeasures) -> str:
    """Say where changeovers come from without batch marks."""
    found = measured.changeovers.filter(pl.col("sure").is_not_null()).height
    start = "No batch sheet and no product channel: "
    if not found:
        return start + "changeovers are not told apart from stops."
    many = "one changeover was" if found == 1 else f"{found} changeovers were"
    return (
        f"{start}{many} found, not recorded, where the line stood for {LEAST_MIN:g} planned minutes or "
        "longer and the rope began anew after it. Between which flavours is unknown; a long pause between "
        "two batches of one flavour looks the same."
    )


def _states(measured: ShiftMeasures) -> list[str]:
    """Say what the machine's states added, and where they contradict its counter."""
    told, account, against = [], measured.so_far, measured.against
    coded = account.coded_run_min + account.coded_stand_min
    if coded >= 0.5:
        told.append(
            f"{coded:,.0f} minutes have no counter readings and are told by the machine's own states: "
            f"{account.coded_run_min:,.0f} running, {account.coded_stand_min:,.0f} standing."
        )
    if against.count:
        times = "once" if against.count == 1 else f"{against.count:,} times"
        told.append(
            f"The machine's state and its counter disagreed {times} for longer than a minute, "
            f"{against.minutes:,.0f} minutes in all: the counter goes before."
        )
    return told


def _slow(measured: ShiftMeasures) -> list[str]:
    """Say that slow minutes cannot be told well, where the readings are too far apart for it."""
    low, high = measured.slow_bounds_min
    if (high - low) / 2 <= CLOSE_SHARE * measured.so_far.planned_min:
        return []
    return [
        f"Slow minutes cannot be told closer than {low:,.0f} to {high:,.0f}: the counter is read too seldom, "
        "and a slow minute looks like one with a short stop in it."
    ]


def maintenance_note(pieces: float | None) -> tuple[str, ...]:
    """Say that the counter went on in maintenance, where it did."""
    if pieces is None or pieces < 0.5:
        return ()
    return (
        f"{pieces:,.0f} pieces were counted while the machine's state said maintenance or manual: they are "
        "taken out of the pieces made and the good pieces.",
    )
