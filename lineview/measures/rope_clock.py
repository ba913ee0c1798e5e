"""Running hours of a rope: by its own counter, by the cut-and-wrap machine's, or by its gauge."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.machine.pieces import MachineCounts, micros
from lineview.measures.rope_hours import live_hours
from lineview.measures.states import RUNNING, SLOW

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RopeClock:
    """Running hours at moments, and what they come from."""

    hours: Callable[[pl.Series], Floats]
    source: str


def rope_clock(
    sizer: MachineCounts | None,
    wrappers: Sequence[MachineCounts],
    gauge: pl.DataFrame,
    period: tuple[datetime, datetime],
    *,
    gap_s: float,
) -> RopeClock:
    """Choose the best clock there is for the wear of a sizer's rollers.

    Parameters
    ----------
    sizer : MachineCounts or None
        Of the sizer.
    wrappers : sequence of MachineCounts
        Of the cut-and-wrap machines of its line.
    gauge : polars.DataFrame
        Column at [UTC], usable gauge readings in order.
    period : (datetime, datetime)
        From and to [UTC].
    gap_s : float
        Longest time between two readings that still counts as running [s].

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
    rope = None if sizer is None else sizer.machine.counter("rope")
    if sizer is not None and rope is not None and sizer.has_read("rope"):
        chosen = _by_activity(sizer, period, f"{rope.id} of {sizer.machine.shown}")
        if _covers(chosen, probe, wanted):
            return chosen
    for wrapper in wrappers:
        if not len(wrapper.seen.code):
            continue
        chosen = _by_activity(wrapper, period, f"pieces of {wrapper.machine.shown}")
        if _covers(chosen, probe, wanted):
            return chosen
    return RopeClock(live, "live gauge readings")


def _probe(gauge: pl.DataFrame) -> pl.Series:
    return gauge["at"].gather_every(max(1, gauge.height // 200))


def _by_activity(counts: MachineCounts, period: tuple[datetime, datetime], source: str) -> RopeClock:
    """Hours run, slow ones too, since the period's start."""
    seen = counts.seen
    start, end = micros(period)
    edge = np.clip(seen.edge, start, end)
    ran = np.where(np.isin(seen.code, (RUNNING, SLOW)), np.diff(edge) / 3.6e9, 0.0)
    so_far = np.concatenate(([0.0], np.cumsum(ran)))

    def hours(at: pl.Series) -> Floats:
        return np.asarray(np.interp(at.dt.epoch("us").to_numpy(), edge, so_far))

    return RopeClock(hours, source)


def _covers(clock: RopeClock, probe: pl.Series, wanted: float) -> bool:
    """Whether a counter saw at least 60 % of the hours in which the gauge was live."""
    return len(probe) > 1 and float(np.ptp(clock.hours(probe))) >= 0.6 * wanted > 0
