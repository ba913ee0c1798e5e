"""Whether stops cluster after reel changes, changeovers or restarts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.measures.rate import Floats
from lineview.measures.run_clock import RunClock
from lineview.stats.events import RateRatio, holm, rate_ratio

#: How long after each event a stop counts as following it [running minutes].
WINDOWS_MIN = {"reel change": 10.0, "changeover": 10.0, "restart": 3.0}


@dataclass(frozen=True)
class Cluster:
    """Stops in the running minutes after an event, beside the other running minutes.

    `p_corrected` is corrected for the number of looks taken together.
    """

    after: str
    window_min: float
    events: int
    stops: int
    run_min: float
    other_stops: int
    other_run_min: float
    ratio: RateRatio
    p_corrected: float


def stop_clusters(clock: RunClock, reel_changes: Sequence[object] | pl.Series) -> tuple[Cluster, ...]:
    """Compare the rate of stops after events with the rate at other times.

    Parameters
    ----------
    clock : RunClock
        Of one machine.
    reel_changes : polars.Series
        Moments of reel changes on the machine.

    Returns
    -------
    tuple of Cluster
        One a kind of event that happened and left running minutes on both sides; probabilities corrected by
        Holm's method for how many there are.

    Notes
    -----
    Source: conditional-rate-ratio, holm-1979
    """
    reels = clock.at(pl.Series(reel_changes)) if len(reel_changes) else np.empty(0)
    moments = {"reel change": reels, "changeover": clock.changeovers, "restart": clock.restarts}
    looks = []
    for after, at in moments.items():
        window = WINDOWS_MIN[after]
        near_min, near = _near(clock, at, window)
        if len(at) and near_min > 0 and clock.run_min - near_min > 0:
            others = len(clock.stops) - near
            ratio = rate_ratio(near, near_min, others, clock.run_min - near_min)
            looks.append((after, window, len(at), near, near_min, others, clock.run_min - near_min, ratio))
    corrected = holm([look[-1].p for look in looks])
    return tuple(Cluster(*look, p) for look, p in zip(looks, corrected, strict=True))


def _near(clock: RunClock, at: Floats, window: float) -> tuple[float, int]:
    """Give the running minutes within the windows after events, and the stops that began in them."""
    begins = np.sort(at)
    ends = np.minimum(begins + window, clock.run_min)
    # Windows that overlap count once: each ends at the latest where the next one begins.
    until = np.minimum(ends, np.concatenate((begins[1:], [np.inf]))) if len(begins) else ends
    minutes = float(np.clip(until - begins, 0, None).sum())
    row = np.searchsorted(begins, clock.stops, side="left") - 1
    within = (row >= 0) & (clock.stops <= ends[np.maximum(row, 0)]) if len(begins) else np.zeros(0, bool)
    return minutes, int(np.sum(within))
