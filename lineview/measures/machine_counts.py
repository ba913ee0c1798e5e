"""A machine's counters worked out once: increments of each, and its clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from lineview.columns import INCREMENTS, READINGS, empty, require
from lineview.measures.coded_clock import Contradictions, clock_with_states, contradictions
from lineview.measures.counts import increments, known_modulus
from lineview.measures.state_spells import Spells, set_aside, state_spells
from lineview.measures.states import Clock, clock
from lineview.plant import Counter, Counts, Machine


@dataclass(frozen=True)
class MachineCounts:
    """A machine's counters and clock.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    steps : mapping
        INCREMENTS, without `kind`, of each piece counter by what it counts, in pieces; what was counted in
        maintenance is not in them but in `aside`, with columns start, end, n.
    seen : Clock
        By the counter, and by the machine's states where there are no readings of it.
    spells : Spells
        What its states said.
    against : Contradictions
        Where they said otherwise than the counter.
    """

    machine: Machine
    steps: Mapping[Counts, pl.DataFrame]
    seen: Clock
    spells: Spells
    against: Contradictions
    aside: Mapping[Counts, pl.DataFrame]


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
        INCREMENTS without `kind`.
    """
    own = readings.lazy().filter((pl.col("channel") == counter.id) & (pl.col("quality") == "good"))
    steps = increments(
        own.select("at", "value").collect(),
        modulus=known_modulus(counter),
        fastest_per_min=counter.fastest_per_min,
        kinds=False,
    )
    if counter.unit_value == 1.0:
        return steps
    return steps.with_columns(pl.col("n", "low", "high") * counter.unit_value)


def count_machine(machine: Machine, readings: pl.DataFrame, *, gap_s: float) -> MachineCounts:
    """Work out a machine's counters of pieces, good pieces, rejects and blank wraps, and its clock.

    A machine runs while it makes cycles: pieces, or good pieces and rejects, and blank wraps.

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
    kinds: tuple[Counts, ...] = ("pieces", "good pieces", "rejects", "blank wraps")
    counters = {kind: machine.counter(kind) for kind in kinds}
    spells = state_spells(machine, readings, gap_s=gap_s)
    parts = {
        kind: set_aside(channel_increments(readings, c), spells)
        for kind, c in counters.items()
        if c is not None
    }
    steps = {kind: kept for kind, (kept, _) in parts.items()}
    shows = piece_counter(machine)
    made = steps[shows.counts] if shows is not None else empty(INCREMENTS)
    if shows is not None and shows.counts == "good pieces":
        made = _together(made, steps.get("rejects"))
    cycles = _together(made, steps.get("blank wraps"))
    pieces = None if cycles is made else made["n"]
    seen = clock(cycles, band_low_per_min=machine.nominal_per_min[0], gap_s=gap_s, made=pieces)
    whole = clock_with_states(seen, spells, machine.nominal_per_min)
    aside = {kind: taken for kind, (_, taken) in parts.items()}
    return MachineCounts(machine, steps, whole, spells, contradictions(seen, spells), aside)


def _together(steps: pl.DataFrame, other: pl.DataFrame | None) -> pl.DataFrame:
    """Add what another counter of the same cycles counted between the same readings."""
    if other is None or not other.height:
        return steps
    sums = ("n", "low", "high")
    if steps.height == other.height and steps["start"].equals(other["start"]):
        return steps.with_columns(steps[name] + other[name] for name in sums)
    # Where the other lacks a reading, its share of the interval cannot be told and is left out.
    near = steps.select("start", "end").join(
        other, on=["start", "end"], how="left", maintain_order="left", validate="1:1"
    )
    return steps.with_columns(steps[name] + near[name].fill_null(0.0) for name in sums)
