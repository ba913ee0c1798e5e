"""A machine's tape straight from its readings: picks the counter, finds the changeovers."""

from __future__ import annotations

import polars as pl

from lineview.columns import STOP_LOG, require
from lineview.measures.changeovers import find_changeovers, product_changes
from lineview.measures.machine_counts import MachineCounts, count_machine
from lineview.measures.tape import lay
from lineview.plant import Machine


def machine_tape(
    machine: Machine,
    readings: pl.DataFrame,
    batches: pl.DataFrame,
    stop_log: pl.DataFrame,
    cal: pl.DataFrame,
    *,
    short_stop_min: float,
    gap_s: float,
) -> pl.DataFrame:
    """Give a machine's tape over a calendar.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    readings : polars.DataFrame
        READINGS of this machine, from a little before the calendar to a little after it.
    batches : polars.DataFrame
        BATCHES; changes of product make standing a changeover.
    stop_log : polars.DataFrame
        STOP_LOG; rows of other machines are passed over.
    cal : polars.DataFrame
        CALENDAR.
    short_stop_min, gap_s : float
        As in lineview.measures.tape.tape.

    Returns
    -------
    polars.DataFrame
        TAPE; all of it unseen where the machine has no piece counter or no readings.

    Raises
    ------
    MeasureError
        Where a frame lacks a column.
    """
    counts = count_machine(machine, readings, gap_s=gap_s)
    return tape_of(counts, readings, batches, stop_log, cal, short_stop_min=short_stop_min)


def tape_of(
    counts: MachineCounts,
    readings: pl.DataFrame,
    batches: pl.DataFrame,
    stop_log: pl.DataFrame,
    cal: pl.DataFrame,
    *,
    short_stop_min: float,
) -> pl.DataFrame:
    """Give the tape of a machine whose counters are worked out.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    readings, batches, stop_log, cal, short_stop_min
        As in machine_tape.

    Returns
    -------
    polars.DataFrame
        TAPE.
    """
    require(stop_log, STOP_LOG, "stop_log")
    machine = counts.machine
    changes = product_changes(machine, readings, batches)
    return lay(
        counts.seen,
        cal,
        short_stop_min=short_stop_min,
        changeovers=find_changeovers(counts.seen, changes),
        stop_log=stop_log.filter(pl.col("machine") == machine.id),
        spells=counts.spells,
    )
