"""The shift calendar on the plant's wall clock, as moments of one unbroken clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from itertools import accumulate, pairwise
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from lineview.core.errors import Fault, MeasureError
from lineview.core.frames import CALENDAR, STATE_TIMELINE, empty, require
from lineview.core.language import mark, tr
from lineview.plant import WEEK, Break, Shift

#: Shift, its day, start and end [µs since 1970], part.
_Stretch = tuple[str, date, int, int, str]
_EPOCH, _EPOCH_DAY = datetime(1970, 1, 1, tzinfo=UTC), date(1970, 1, 1).toordinal()
#: What a works without shifts calls its days.
ALL_DAY = mark("all day")
_WHOLE_DAY = Shift(id=ALL_DAY, start=time(0), end=time(0), days=WEEK)


def calendar(shifts: Sequence[Shift], zone: str, start: datetime, end: datetime) -> pl.DataFrame:
    """The planned stretches and breaks of the shifts between two moments.

    Parameters
    ----------
    shifts : sequence of Shift
        As in the plant description; none means that the whole period is planned, day by day.
    zone : str
        The plant's time zone.
    start, end : datetime
        The period, with offset; stretches are cut to it.

    Returns
    -------
    polars.DataFrame
        CALENDAR by time; the stretches of a shift are without gap or overlap. `date` is the day on which
        the shift starts.

    Raises
    ------
    MeasureError
        Where a moment has no offset, the period ends before it starts, or shifts overlap.

    Notes
    -----
    Shifts are laid out in wall time and then turned into moments, so a night shift over the end of summer
    time has an hour more. A wall time that comes twice means the first, one that is skipped the moment an
    hour after the one before it.

    Examples
    --------
    >>> night = Shift(id="night", start=time(22), end=time(6), days=("sat",))
    >>> days = datetime(2026, 10, 24, tzinfo=UTC), datetime(2026, 10, 26, tzinfo=UTC)
    >>> row = calendar([night], "Europe/Vienna", *days).row(0, named=True)
    >>> row["end"] - row["start"]
    datetime.timedelta(seconds=32400)
    """
    _check(start, end)
    tz = ZoneInfo(zone)
    first = start.astimezone(tz).date() - timedelta(days=2)
    last = end.astimezone(tz).date() + timedelta(days=1)
    rows: list[_Stretch] = []
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        for shift in shifts or (_WHOLE_DAY,):
            if WEEK[day.weekday()] in shift.days:
                rows += _stretches(shift, day, tz)
    low, high = _micros(start), _micros(end)
    cut = [(s, d, max(a, low), min(b, high), part) for s, d, a, b, part in rows if a < high and b > low]
    cut.sort(key=lambda row: row[2])
    _refuse_overlaps(cut)
    if not cut:
        return empty(CALENDAR)
    ids, days, begins, finishes, parts = zip(*cut, strict=True)  # columns of numbers take a tenth of rows of moments
    dates = [day.toordinal() - _EPOCH_DAY for day in days]
    columns = {"shift": ids, "date": dates, "start": begins, "end": finishes, "part": parts}
    return pl.DataFrame(columns).cast(pl.Schema(CALENDAR))


def _check(start: datetime, end: datetime) -> None:
    faults = [
        Fault(tr("{name} {moment} has no offset", name=name, moment=moment), name, tr("a moment with its offset"))
        for name, moment in (("start", start), ("end", end))
        if moment.tzinfo is None
    ]
    if not faults and end < start:
        faults.append(Fault(tr("the period ends at {end}, before its start {start}", end=end, start=start), "end"))
    if faults:
        raise MeasureError(faults)


def _micros(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


@lru_cache(maxsize=2048)
def _stretches(shift: Shift, day: date, tz: ZoneInfo) -> tuple[_Stretch, ...]:
    """One shift's planned stretches and breaks in order; an answer asks for each of its days several times."""
    begin = datetime.combine(day, shift.start)
    finish = datetime.combine(day, shift.end)
    if finish <= begin:
        finish += timedelta(days=1)
    parts = [(begin, "planned")]
    for pause_start, pause_end in _pauses(shift.breaks, begin, finish):
        parts += [(pause_start, "break"), (pause_end, "planned")]
    # A break that touches the hour skipped in spring must not end before it starts.
    edges = list(accumulate((_micros(at.replace(tzinfo=tz, fold=0)) for at in (*(at for at, _ in parts), finish)), max))
    rows = [(shift.id, day, a, b, part) for (a, b), (_, part) in zip(pairwise(edges), parts, strict=True)]
    return tuple(row for row in rows if row[3] > row[2])


def _pauses(breaks: Sequence[Break], begin: datetime, finish: datetime) -> list[tuple[datetime, datetime]]:
    """The breaks within a shift in wall time, overlapping ones joined."""
    pauses: list[tuple[datetime, datetime]] = []
    placed = []
    for pause in breaks:
        start = datetime.combine(begin.date(), pause.start)
        if start < begin:
            start += timedelta(days=1)
        end = datetime.combine(start.date(), pause.end)
        if end <= start:
            end += timedelta(days=1)
        if start < finish:
            placed.append((start, min(end, finish)))
    for start, end in sorted(placed):
        if pauses and start <= pauses[-1][1]:
            pauses[-1] = (pauses[-1][0], max(end, pauses[-1][1]))
        else:
            pauses.append((start, end))
    return pauses


def _refuse_overlaps(rows: list[_Stretch]) -> None:
    faults = {
        (a[0], b[0]): Fault(
            tr("shifts '{shift}' and '{other}' overlap on {day}", shift=a[0], other=b[0], day=b[1]),
            "shifts",
            tr("shifts that follow each other"),
            tr("Change their times in plant.toml; minutes would count twice."),
        )
        for a, b in pairwise(rows)
        if b[2] < a[3]
    }
    if faults:
        raise MeasureError(faults.values())


def shift_windows(cal: pl.DataFrame) -> pl.DataFrame:
    """One row a shift of a calendar.

    Parameters
    ----------
    cal : polars.DataFrame
        CALENDAR.

    Returns
    -------
    polars.DataFrame
        Columns shift, date, start, end, planned_min and break_min [min], by time.

    Examples
    --------
    >>> pause = Break(start=time(9), end=time(9, 25))
    >>> early = Shift(id="early", start=time(6), end=time(14), breaks=(pause,))
    >>> day = datetime(2026, 6, 9, tzinfo=UTC), datetime(2026, 6, 10, tzinfo=UTC)
    >>> shift_windows(calendar([early], "UTC", *day))["planned_min"].to_list()
    [455.0]
    """
    require(cal, CALENDAR, "cal")
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    sums = {f"{part}_min": minutes.filter(pl.col("part") == part).sum() for part in ("planned", "break")}
    windows = cal.group_by("shift", "date", maintain_order=True)
    return windows.agg(pl.col("start").min(), pl.col("end").max(), **sums).sort("start")


def running_hours(timeline: pl.DataFrame, at: pl.Series) -> pl.Series:
    """The hours run, slow ones too, from a timeline's start up to each moment.

    Gives [h].
    """
    require(timeline, {name: STATE_TIMELINE[name] for name in ("start", "end", "state")}, "timeline")
    if not timeline.height:
        return pl.Series("running_h", np.zeros(len(at))).set(at.is_null(), None)
    start = timeline["start"].dt.epoch("us").to_numpy()
    end = timeline["end"].dt.epoch("us").to_numpy()
    runs = timeline["state"].is_in(["running", "slow"]).to_numpy()
    hours = np.concatenate(([0.0], np.cumsum(np.where(runs, (end - start) / 3.6e9, 0.0))))
    moments = at.dt.epoch("us").fill_null(int(start[0])).to_numpy()
    row = np.clip(np.searchsorted(start, moments, side="right") - 1, 0, len(start) - 1)
    within = np.clip(moments - start[row], 0, end[row] - start[row]) / 3.6e9
    total = hours[row] + np.where(runs[row], within, 0.0)
    return pl.Series("running_h", total).set(at.is_null(), None)
