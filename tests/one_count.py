"""The one count over all readings at once, from frames: what records work out window by window."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineview.core.frames import READINGS, UTC_US, empty, require
from lineview.machine.activity import Activity, activity_from_counter
from lineview.machine.counter_repair import Floats, Ints
from lineview.machine.counters import NO_PLAN
from lineview.machine.increments import steps_and_kinds, steps_between
from lineview.machine.likeliest import PlannedTime
from lineview.machine.pieces import MachineCounts, count_channels
from lineview.machine.steps import Steps
from lineview.plant import Counter, Machine

#: What one counter did between two successive readings: `n` whole counts added where it is known, else null
#: with `low` and `high` as bounds (high null: unbounded). `kind` is step, rollover, reset, glitch, torn or
#: several turns.
INCREMENTS: dict[str, pl.DataType] = {
    "start": UTC_US,
    "end": UTC_US,
    "n": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "kind": pl.String(),
}
_KINDS = ("step", "rollover", "reset", "glitch", "torn", "several turns")


def increments(
    readings: pl.DataFrame, *, modulus: int | None, fastest_per_min: float, margin: float = 0.05, kinds: bool = True
) -> pl.DataFrame:
    """INCREMENTS of one counter's readings (at, value), with the kind of each."""
    at_us, value = in_order(readings)
    steps_between(at_us[:0], value[:0], modulus=modulus, fastest_per_min=fastest_per_min, margin=margin)
    if len(value) < 2:
        return empty(INCREMENTS)
    steps, kind = steps_and_kinds(at_us, value, modulus, fastest_per_min, margin)
    frame = steps.frame().with_columns(low=pl.Series(steps.low), high=pl.Series(steps.high))
    return frame.with_columns(kind=pl.Series(_KINDS).gather(kind)) if kinds else frame


def in_order(readings: pl.DataFrame) -> tuple[Ints, Floats]:
    """Give moments [µs] and values by time, each moment once; moments with two values are left out."""
    usable = readings.select("at", "value").filter(pl.col("value").is_finite() & pl.col("at").is_not_null())
    if not usable["at"].is_sorted():
        usable = usable.sort("at", "value")
    at_us = usable["at"].dt.epoch("us").to_numpy()
    value = usable["value"].cast(pl.Float64).to_numpy()
    same = np.diff(at_us) == 0
    if same.any():
        usable = usable.unique()
        usable = usable.filter(usable["at"].is_unique()).sort("at")
        at_us = usable["at"].dt.epoch("us").to_numpy()
        value = usable["value"].cast(pl.Float64).to_numpy()
    return at_us, value


def good_values(readings: pl.DataFrame, counter: Counter) -> tuple[Ints, Floats]:
    """Moments [µs] and values of a counter's good readings among READINGS of its machine, by time.

    An uncertain value may be an old one repeated. Two values at one moment are both left out.
    """
    good = (pl.col("channel") == counter.id) & (pl.col("quality") == "good")
    return in_order(readings.lazy().filter(good).select("at", "value").collect())


def steps_of(frame: pl.DataFrame) -> Steps:
    """The arrays of INCREMENTS; a null is nan."""
    start, end = (frame[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    return Steps(start, end, *(frame[name].cast(pl.Float64).to_numpy() for name in ("n", "low", "high")))


def clock(
    increments: pl.DataFrame, *, band_low_per_min: float, gap_s: float, made: pl.Series | None = None
) -> Activity:
    """The activity by INCREMENTS of the piece counter."""
    pieces = None if made is None else made.cast(pl.Float64).to_numpy()  # a null is nan
    return activity_from_counter(
        steps_of(increments), band_low_per_min=band_low_per_min, gap_s=gap_s, pieces_made=pieces
    )


def count_machine(
    machine: Machine, readings: pl.DataFrame, *, gap_s: float, planned: PlannedTime = NO_PLAN
) -> MachineCounts:
    """Work out a machine's counters and its activity from its readings.

    A machine runs while it makes cycles: pieces, or good pieces and rejects, and blank wraps.
    """
    require(readings, READINGS, "readings")
    read = {counter.id: good_values(readings, counter) for counter in machine.counters}
    good = int((readings["quality"] == "good").sum())
    return count_channels(machine, read, readings, good, gap_s=gap_s, planned=planned)
