"""A machine's tape straight from its readings: picks the counter, finds the changeovers."""

from __future__ import annotations

import polars as pl

from lineview.columns import READINGS, STOP_LOG, require
from lineview.measures.changeovers import find_changeovers, product_changes
from lineview.measures.counts import increments, known_modulus
from lineview.measures.cycles import clock_with_blanks
from lineview.measures.state_codes import state_log
from lineview.measures.states import Clock, clock
from lineview.measures.tape import lay
from lineview.plant import Counter, Machine


def piece_counter(machine: Machine) -> Counter | None:
    """Give the counter that shows whether the machine runs: all pieces, or else good ones."""
    return machine.counter("pieces") or machine.counter("good pieces")


def channel_increments(readings: pl.DataFrame, counter: Counter) -> pl.DataFrame:
    """Give the INCREMENTS of one counter in what it counts (pieces, metres).

    Parameters
    ----------
    readings : polars.DataFrame
        READINGS of one machine. Only good ones are used: an uncertain value may be an old one repeated.
    counter : Counter
        Its `unit_value` is what one count stands for.
    """
    own = readings.filter((pl.col("channel") == counter.id) & (pl.col("quality") == "good"))
    steps = increments(
        own.select("at", "value"), modulus=known_modulus(counter), fastest_per_min=counter.fastest_per_min
    )
    if counter.unit_value == 1.0:
        return steps
    return steps.with_columns(pl.col("n", "low", "high") * counter.unit_value)


def machine_clock(machine: Machine, readings: pl.DataFrame, *, gap_s: float) -> Clock:
    """Split a machine's clock by its wraps, or by its pieces; empty where neither is counted."""
    counter = piece_counter(machine)
    own = readings if counter is not None else readings.clear()
    steps = channel_increments(own, counter or Counter(id="none", counts="pieces", fastest_per_min=1))
    band_low = machine.nominal_per_min[0]
    blank = machine.counter("blank wraps")
    if blank is None:
        return clock(steps, band_low_per_min=band_low, gap_s=gap_s)
    blanks = channel_increments(own, blank)
    return clock_with_blanks(steps, blanks, band_low_per_min=band_low, gap_s=gap_s)


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
    require(readings, READINGS, "readings")
    require(stop_log, STOP_LOG, "stop_log")
    seen = machine_clock(machine, readings, gap_s=gap_s)
    return lay(
        seen,
        cal,
        short_stop_min=short_stop_min,
        changeovers=find_changeovers(seen, product_changes(machine, readings, batches)),
        stop_log=stop_log.filter(pl.col("machine") == machine.id),
        state_log=state_log(machine, readings),
    )
