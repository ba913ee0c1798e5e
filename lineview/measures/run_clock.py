"""A machine's running minutes as a clock of their own, on which its stops are events."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.columns import TAPE, UTC_US, require
from lineview.measures.clock import running_hours
from lineview.measures.rate import Floats
from lineview.measures.stops import FAILURES


@dataclass(frozen=True)
class RunClock:
    """Running minutes of a tape: how many in all, and at which of them stops began and ended."""

    run_min: float
    stops: Floats
    restarts: Floats
    changeovers: Floats
    tape: pl.DataFrame

    def at(self, moments: pl.Series) -> Floats:
        """Give moments on this clock [min]."""
        return running_hours(self.tape, moments.cast(UTC_US)).to_numpy() * 60.0


def run_clock(tape: pl.DataFrame) -> RunClock:
    """Give a tape's clock of running minutes.

    Parameters
    ----------
    tape : polars.DataFrame
        TAPE by time.

    Returns
    -------
    RunClock
        Stops and short stops that began while it ran; a stop cut by a break begins once.

    Raises
    ------
    MeasureError
        Where the tape lacks a column.
    """
    require(tape, TAPE, "tape")
    on = tape.filter(pl.col("state") != "break").with_columns(
        runs=pl.col("state").is_in(["running", "slow"]), fails=pl.col("state").is_in(FAILURES)
    )
    before = pl.col("runs").shift(1, fill_value=False)
    began = on.filter(pl.col("fails") & before)["start"]
    changed = on.filter((pl.col("state") == "changeover") & (pl.col("state").shift(1) != "changeover"))["end"]
    stood = pl.col("state").shift(1).is_in(FAILURES)
    again = on.filter(pl.col("runs") & stood)["start"]
    found = RunClock(0.0, np.empty(0), np.empty(0), np.empty(0), tape)
    runs = on.filter(pl.col("runs"))
    run_min = float((runs["end"] - runs["start"]).dt.total_microseconds().sum()) / 6e7
    return RunClock(run_min, found.at(began), found.at(again), found.at(changed), tape)
