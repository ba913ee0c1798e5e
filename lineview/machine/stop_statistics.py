"""Whether stops cluster after reel changes, changeovers or restarts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.frames import STATE_TIMELINE, UTC_US, require
from lineview.core.language import mark
from lineview.machine.calendar import running_hours
from lineview.machine.speed import Floats
from lineview.machine.stops import FAILURES
from lineview.stats.events import PowerLaw, RateRatio, TrendTest, holm, laplace, mil_hdbk_189, power_law, rate_ratio


@dataclass(frozen=True)
class RunClock:
    """Running minutes of a timeline: how many in all, and at which of them stops began and ended."""

    run_min: float
    stops: Floats
    restarts: Floats
    changeovers: Floats
    timeline: pl.DataFrame

    def at(self, moments: pl.Series) -> Floats:
        """Give moments on this clock [min]."""
        return running_hours(self.timeline, moments.cast(UTC_US)).to_numpy() * 60.0


def run_clock(timeline: pl.DataFrame) -> RunClock:
    """A timeline's clock of running minutes.

    Parameters
    ----------
    timeline : polars.DataFrame
        STATE_TIMELINE by time.

    Returns
    -------
    RunClock
        Stops and short stops that began while it ran; a stop cut by a break begins once.

    Raises
    ------
    MeasureError
        Where the timeline lacks a column.
    """
    require(timeline, STATE_TIMELINE, "timeline")
    on = timeline.filter(pl.col("state") != "break").with_columns(
        runs=pl.col("state").is_in(["running", "slow"]), fails=pl.col("state").is_in(FAILURES)
    )
    before = pl.col("runs").shift(1, fill_value=False)
    began = on.filter(pl.col("fails") & before)["start"]
    changed = on.filter((pl.col("state") == "changeover") & (pl.col("state").shift(1) != "changeover"))["end"]
    after_failure = pl.col("state").shift(1).is_in(FAILURES)
    again = on.filter(pl.col("runs") & after_failure)["start"]
    on_clock = running_hours(timeline, pl.concat([began, again, changed]).cast(UTC_US)).to_numpy() * 60.0
    stops, restarts, changeovers = np.split(on_clock, [len(began), len(began) + len(again)])
    runs = on.filter(pl.col("runs"))
    run_min = float((runs["end"] - runs["start"]).dt.total_microseconds().sum()) / 6e7
    return RunClock(run_min, stops, restarts, changeovers, timeline)


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
    moments = {mark("reel change"): reels, mark("changeover"): clock.changeovers, mark("restart"): clock.restarts}
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
    """The running minutes within the windows after events, and the stops that began in them."""
    begins = np.sort(at)
    ends = np.minimum(begins + window, clock.run_min)
    # Windows that overlap count once: each ends at the latest where the next one begins.
    until = np.minimum(ends, np.concatenate((begins[1:], [np.inf]))) if len(begins) else ends
    minutes = float(np.clip(until - begins, 0, None).sum())
    row = np.searchsorted(begins, clock.stops, side="left") - 1
    within = (row >= 0) & (clock.stops <= ends[np.maximum(row, 0)]) if len(begins) else np.zeros(0, bool)
    return minutes, int(np.sum(within))


#: Stops that a trend needs.
LEAST_STOPS = 5


@dataclass(frozen=True)
class StopTrend:
    """Two tests of a constant rate and the power law of the stops, over `run_min` running minutes."""

    laplace: TrendTest
    handbook: TrendTest
    law: PowerLaw
    stops: int
    run_min: float

    @property
    def verdict(self) -> str:
        """What the tests say at 5 %, both of them agreeing."""
        low = max(self.laplace.p_two_sided, self.handbook.p_two_sided)
        if low > 0.05:
            return mark("no trend shown")
        return mark("more and more often") if self.laplace.statistic > 0 else mark("more and more rarely")


def stop_trend(clock: RunClock) -> StopTrend | None:
    """Test whether stops come more often.

    Parameters
    ----------
    clock : RunClock
        Of one machine.

    Returns
    -------
    StopTrend or None
        None where fewer than `LEAST_STOPS` began while it ran.

    Notes
    -----
    Source: nist-handbook, mil-hdbk-189
    """
    times = sorted(float(t) for t in clock.stops if 0 < t <= clock.run_min)
    if len(times) < LEAST_STOPS or times[0] >= clock.run_min:
        return None
    end = clock.run_min
    return StopTrend(laplace(times, end), mil_hdbk_189(times, end), power_law(times, end), len(times), end)
