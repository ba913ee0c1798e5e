"""A machine's time cut into windows: the plant's shifts, and the time between them day by day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from lineview.core.record_frames import WINDOWS
from lineview.machine.calendar import calendar, shift_windows
from lineview.plant import Shift

#: What the time outside every shift is called.
BETWEEN = ""


def windows(shifts: Sequence[Shift], zone: str, start: datetime, end: datetime) -> pl.DataFrame:
    """Cut time into windows.

    Parameters
    ----------
    shifts : sequence of Shift
        Of the plant description; without any, each day of the plant's zone is a window.
    zone : str
        The plant's time zone.
    start, end : datetime
        What is to be covered [UTC].

    Returns
    -------
    polars.DataFrame
        WINDOWS by time, without gap or overlap, from the one that holds `start` to the one that holds `end`.
        Time between shifts is cut at midnight and has the shift "".

    Examples
    --------
    >>> from datetime import time
    >>> early = Shift(id="early", start=time(6), end=time(14))
    >>> day = datetime(2026, 6, 9, 5, tzinfo=UTC), datetime(2026, 6, 9, 15, tzinfo=UTC)
    >>> windows([early], "UTC", *day)["shift"].to_list()
    ['', 'early', '']
    """
    around = (start - timedelta(days=3), end + timedelta(days=3))
    planned = shift_windows(calendar(shifts, zone, *around)).select(list(WINDOWS))
    rows = list(planned.iter_rows())
    filled = []
    at = around[0]
    for first, last, shift, day in rows:
        filled += _between(at, first, ZoneInfo(zone))
        filled.append((first, last, shift, day))
        at = last
    filled += _between(at, around[1], ZoneInfo(zone))
    frame = pl.DataFrame(filled, schema=WINDOWS, orient="row")
    return frame.filter((pl.col("end") > start) & (pl.col("start") <= end))


def _between(start: datetime, end: datetime, tz: ZoneInfo) -> list[tuple[datetime, datetime, str, date]]:
    """Windows of the time between two shifts, one a day."""
    rows = []
    while start < end:
        day = start.astimezone(tz).date()
        midnight = datetime.combine(day + timedelta(days=1), datetime.min.time(), tzinfo=tz).astimezone(UTC)
        stop = min(midnight, end)
        rows.append((start, stop, BETWEEN, day))
        start = stop
    return rows


def cut(frame: pl.DataFrame, moments: Sequence[datetime]) -> pl.DataFrame:
    """Cut windows at moments that lie within them.

    Parameters
    ----------
    frame : polars.DataFrame
        WINDOWS.
    moments : sequence of datetime
        Such as the ends of the period asked for [UTC].

    Returns
    -------
    polars.DataFrame
        WINDOWS; the parts keep the shift's name and day.
    """
    for moment in moments:
        at = pl.lit(moment, dtype=WINDOWS["start"])
        inside = (pl.col("start") < at) & (pl.col("end") > at)
        halves = frame.filter(inside)
        if halves.height:
            uncut = frame.filter(~inside)
            frame = pl.concat([uncut, halves.with_columns(end=at), halves.with_columns(start=at)]).sort("start")
    return frame
