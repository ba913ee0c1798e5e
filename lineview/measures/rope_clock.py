"""Running hours of a rope: by its own counter, by the cut-and-wrap machine's, or by its gauge."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.measures.clock import calendar, running_hours
from lineview.measures.machine_counts import channel_increments, piece_counter
from lineview.measures.machine_tape import machine_tape
from lineview.measures.rope_hours import live_hours
from lineview.plant import Machine

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RopeClock:
    """Running hours at moments, and what they come from."""

    hours: Callable[[pl.Series], Floats]
    source: str


def rope_clock(
    sizer: Machine,
    wrappers: Sequence[Machine],
    readings: Mapping[str, pl.DataFrame],
    stop_log: pl.DataFrame,
    batches: pl.DataFrame,
    gauge: pl.DataFrame,
    period: tuple[datetime, datetime],
    *,
    short_stop_min: float,
    gap_s: float,
) -> RopeClock:
    """Choose the best clock there is for the wear of a sizer's rollers.

    Parameters
    ----------
    sizer : Machine
        The sizer.
    wrappers : sequence of Machine
        Cut-and-wrap machines of its line.
    readings : mapping of str to polars.DataFrame
        READINGS a machine.
    stop_log, batches : polars.DataFrame
        STOP_LOG and BATCHES of the line.
    gauge : polars.DataFrame
        Column at [UTC], usable gauge readings in order.
    period : (datetime, datetime)
        From and to [UTC].
    short_stop_min, gap_s : float
        As in the plant description.

    Returns
    -------
    RopeClock
        By the sizer's rope counter, else by a cut-and-wrap machine's pieces, else by live gauge readings;
        a counter that is unseen for much of the time the gauge is live is passed over.

    Notes
    -----
    Source: derived-rope
    """
    probe = _probe(gauge)

    def live(at: pl.Series) -> Floats:
        return live_hours(gauge, at, gap_s)

    wanted = float(np.ptp(live(probe))) if len(probe) else 0.0
    rope = sizer.counter("rope")
    if rope is not None and sizer.id in readings:
        steps = channel_increments(readings[sizer.id], rope)
        long = (pl.col("end") - pl.col("start")).dt.total_seconds() > gap_s
        moving = (pl.col("n").fill_null(pl.col("low")) > 0) & ~long
        states = steps.select(
            "start", "end", state=pl.when(moving).then(pl.lit("running")).otherwise(pl.lit("stop"))
        )
        chosen = _by_tape(states, f"{rope.id} of {sizer.shown}")
        if _covers(chosen, probe, wanted):
            return chosen
    cal = calendar((), "UTC", *period)
    for wrapper in wrappers:
        if piece_counter(wrapper) is None or wrapper.id not in readings:
            continue
        laid = machine_tape(
            wrapper, readings[wrapper.id], batches, stop_log, cal, short_stop_min=short_stop_min, gap_s=gap_s
        )
        chosen = _by_tape(laid, f"pieces of {wrapper.shown}")
        if _covers(chosen, probe, wanted):
            return chosen
    return RopeClock(live, "live gauge readings")


def _probe(gauge: pl.DataFrame) -> pl.Series:
    return gauge["at"].gather_every(max(1, gauge.height // 200))


def _by_tape(tape: pl.DataFrame, source: str) -> RopeClock:
    def hours(at: pl.Series) -> Floats:
        return running_hours(tape, at).to_numpy().astype(np.float64)

    return RopeClock(hours, source)


def _covers(clock: RopeClock, probe: pl.Series, wanted: float) -> bool:
    """Whether a counter saw at least 60 % of the hours in which the gauge was live."""
    return len(probe) > 1 and float(np.ptp(clock.hours(probe))) >= 0.6 * wanted > 0
