"""Running hours as the gauge itself shows them, where no counter does."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def live_hours(readings: pl.DataFrame, at: pl.Series, gap_s: float) -> Floats:
    """Give hours of live gauge readings since the first, at given moments.

    Parameters
    ----------
    readings : polars.DataFrame
        Column at [UTC], usable gauge readings in order of time.
    at : polars.Series
        Moments [UTC].
    gap_s : float
        Longest time between two readings that still counts as running [s]; where the readings are usually
        further apart, three times their usual distance.

    Returns
    -------
    numpy.ndarray, shape (len(at),)
        Hours [h].

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> import polars as pl
    >>> start = datetime(2026, 6, 9, 6, tzinfo=UTC)
    >>> minutes = (0, 1, 2, 62, 63)
    >>> times = pl.Series([start + timedelta(minutes=m) for m in minutes], dtype=pl.Datetime("us", "UTC"))
    >>> (live_hours(pl.DataFrame({"at": times}), times, 120) * 60).round(1).tolist()
    [0.0, 1.0, 2.0, 2.0, 3.0]
    """
    seconds = readings["at"].dt.epoch("us").to_numpy() / 1e6
    wanted = at.dt.epoch("us").to_numpy() / 1e6
    if seconds.size < 2:
        return np.zeros(wanted.size)
    between = np.diff(seconds)
    longest = max(gap_s, 3 * float(np.median(between)))
    hours = np.r_[0.0, np.cumsum(np.where(between <= longest, between, 0.0))] / 3600
    inside = np.clip(np.searchsorted(seconds, wanted, side="right") - 1, 0, seconds.size - 1)
    room = np.where(inside < between.size, between[np.minimum(inside, between.size - 1)], 0.0)
    extra = np.clip(wanted - seconds[inside], 0.0, np.where(room <= longest, room, 0.0))
    return np.asarray(hours[inside] + extra / 3600)
