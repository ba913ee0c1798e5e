"""A machine's counters worked out once: increments of each, and its clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from lineview.columns import READINGS, require
from lineview.measures.counts import increments, known_modulus
from lineview.measures.states import Clock, clock
from lineview.plant import Counter, Counts, Machine


@dataclass(frozen=True)
class MachineCounts:
    """INCREMENTS of each piece counter by what it counts, in pieces, and the machine's clock."""

    machine: Machine
    steps: Mapping[Counts, pl.DataFrame]
    seen: Clock


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

    Returns
    -------
    polars.DataFrame
        INCREMENTS.
    """
    own = readings.lazy().filter((pl.col("channel") == counter.id) & (pl.col("quality") == "good"))
    steps = increments(
        own.select("at", "value").collect(),
        modulus=known_modulus(counter),
        fastest_per_min=counter.fastest_per_min,
    )
    if counter.unit_value == 1.0:
        return steps
    return steps.with_columns(pl.col("n", "low", "high") * counter.unit_value)


def count_machine(machine: Machine, readings: pl.DataFrame, *, gap_s: float) -> MachineCounts:
    """Work out a machine's counters of pieces, good pieces and rejects, and its clock.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    readings : polars.DataFrame
        READINGS of the machine.
    gap_s : float
        Longest interval between readings that still tells what happened in it [s].

    Returns
    -------
    MachineCounts
        The clock is empty where the machine has no piece counter or no readings.

    Raises
    ------
    MeasureError
        Where the readings lack a column.
    """
    require(readings, READINGS, "readings")
    kinds: tuple[Counts, ...] = ("pieces", "good pieces", "rejects")
    counters = {kind: machine.counter(kind) for kind in kinds}
    steps = {kind: channel_increments(readings, c) for kind, c in counters.items() if c is not None}
    shows = piece_counter(machine)
    nothing = increments(
        pl.DataFrame(schema={"at": READINGS["at"], "value": pl.Float64}), modulus=None, fastest_per_min=1.0
    )
    of_pieces = nothing if shows is None else steps[shows.counts]
    return MachineCounts(
        machine, steps, clock(of_pieces, band_low_per_min=machine.nominal_per_min[0], gap_s=gap_s)
    )
