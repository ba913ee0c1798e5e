"""What costs web once each time it happens: restarts and changeovers, from the tape."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from datetime import datetime

import polars as pl

STANDING = ("short stop", "stop", "changeover", "break")


@dataclass(frozen=True)
class WrapEvents:
    """When a machine restarted after standing, and when a changeover began [UTC]."""

    restarts: tuple[datetime, ...]
    changeovers: tuple[datetime, ...]


def wrap_events(tape: pl.DataFrame) -> WrapEvents:
    """Find restarts and changeovers on a tape.

    Parameters
    ----------
    tape : polars.DataFrame
        TAPE of a cut-and-wrap machine.

    Returns
    -------
    WrapEvents
        A restart is a stretch of running or slow that follows one of standing; what follows unseen time is
        not counted, for nobody saw whether it stood.
    """
    ordered = tape.sort("start").with_columns(before=pl.col("state").shift(1))
    restarts = ordered.filter(
        pl.col("state").is_in(["running", "slow"]) & pl.col("before").is_in(list(STANDING))
    )["start"].to_list()
    changeovers = ordered.filter(
        (pl.col("state") == "changeover") & (pl.col("before").fill_null("") != "changeover")
    )["start"].to_list()
    return WrapEvents(tuple(restarts), tuple(changeovers))


def count_within(moments: tuple[datetime, ...], start: datetime, end: datetime) -> int:
    """Count the moments, given in order, from `start` up to, not including, `end`.

    Parameters
    ----------
    moments : tuple of datetime
        When it happened [UTC].
    start : datetime
        From when [UTC].
    end : datetime
        Up to when [UTC].
    """
    return max(bisect_left(moments, end) - bisect_left(moments, start), 0)
