"""Times that a clock which was set wrongly wrote: far from the rest of a file, or far from today."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import mark, tr
from lineview.intake import refusal_reasons
from lineview.intake.cells.dateless import date_in
from lineview.plant import Layout

#: Readings come all day, events with the season: a pause this long is none of theirs [days].
_PAUSE_D = {"readings": 60, "weights": 400, "batches": 400, "stops": 400, "reels": 400}
#: Times apart from the rest by so many times its length, or by five years, are far from it.
_TIMES, _YEARS_D = 10, 1_826
#: Fewer rows than this share are strays; more are a second stretch, and somebody has to say which is true.
_STRAY = 0.2
#: A whole file may be ahead of this computer's clock by so much before it is taken for a wrong one [days].
_AHEAD_D, _NOTED_D = 300, 2
#: A clock that lost its time starts again in these years or before; no export of today is from then.
_LOST_YEAR, _LOST_AFTER_D = 2005, 5_000
_DAY_US = 86_400_000_000
_MONTHS = 12


@dataclass(frozen=True)
class FarTimes:
    """Which rows have times that cannot be meant, as a mask, and what is to be said of the others."""

    far: pl.Series | None = None
    reason: str = ""
    notes: tuple[str, ...] = ()


def far_times(at: pl.Series, layout: Layout, now: datetime | None, where: str) -> FarTimes:
    """Find moments far from the rest of a file, and raise where all of it is far from today.

    Takes `at` [UTC] and `now`, None where nobody says what today is.
    """
    pause_d = _PAUSE_D.get(layout.kind)
    if pause_d is None or layout.any_times or at.null_count() == len(at):
        return FarTimes()
    first, last = int(at.to_physical().min()), int(at.to_physical().max())  # type: ignore[arg-type]  # whole numbers
    far, reason = None, ""
    if last - first > pause_d * _DAY_US:
        far, first, last = _apart(at, pause_d, where, layout)
        reason = refusal_reasons.FAR.format("{}", _day(first), _day(last))
    _against_name(first, last, where, layout)
    if last - first > _MONTHS * _DAY_US and len(at) < 1 << 20:  # a spreadsheet holds no more rows
        _against_swapped_days(at, where, layout)
    if now is not None and at.null_count() * 2 < len(at):  # else another format reads more of them
        _against_swapped_day(first, last, now, where, layout)
    return FarTimes(far, reason, _against_today(first, last, now, where, layout))


def _against_name(first: int, last: int, where: str, layout: Layout) -> None:
    """Raise where the times would be of the day in the file's name if day and month changed places."""
    day, near = date_in([re.split(r"[\\/]", where)[-1]]), timedelta(days=1)
    begin, end = datetime_of(first).date(), datetime_of(last).date()
    if day is None or begin - near <= day <= end + near or begin.day > _MONTHS:
        return
    if abs(begin.replace(month=begin.day, day=begin.month) - day) <= near:
        text = mark("its times begin on {begin}, its name says {named}: day and month may be swapped")
        do = mark("Correct time_format of layout '{id}' or the file's name; any_times = true takes them as read.")
        what = tr(text, begin=begin, named=day)
        raise IntakeError(Fault(what, where, tr("times of the day in its name"), tr(do, id=layout.id)))


def _against_swapped_days(at: pl.Series, where: str, layout: Layout) -> None:
    """Raise where a spreadsheet swapped day and month of the first twelve days: they scatter over the year."""
    dates = at.dt.date().drop_nulls().unique().sort().to_list()
    sure_months = {date.replace(day=1) for date in dates if date.day > _MONTHS}
    # each lies on the day that its month's number gives, in UTC perhaps a day off
    numbers = {month.month + off for month in sure_months for off in (-1, 0, 1)}
    early = [date for date in dates if date.day < _MONTHS]
    scattered = {date.replace(day=1) for date in early} - sure_months
    if not sure_months and layout.kind == "readings":  # one day or two of each month, as read: in a row
        months = sorted(scattered)
        numbers = {early[0].day + off for off in (0, 1)} if len(early) == len(dates) else set()
        follow = all(timedelta(27) < b - a < timedelta(32) for a, b in pairwise(months))
        scattered = scattered if follow else set()
    if (sure_months or numbers) and len(scattered) > 1 and all(date.day in numbers for date in early):
        lone = next(date for date in early if date.replace(day=1) in scattered)
        what = mark("some of its times lie on lone days, the first on {lone}: day and month may be swapped there")
        raise IntakeError(Fault(tr(what, lone=lone), where, tr("dates written in one way"), _correct_dates(layout)))


def _against_swapped_day(first: int, last: int, now: datetime, where: str, layout: Layout) -> None:
    """Raise where the times of one day are ahead of today, and would not be if day and month changed places."""
    begin, end = datetime_of(first), datetime_of(last)
    if not layout.time_format.startswith(("%d", "%m")) or begin.day > _MONTHS or end - begin > timedelta(days=1):
        return
    swapped_day = begin.replace(month=begin.day, day=begin.month).date()
    if begin.date() > now.date() + timedelta(days=1) and swapped_day <= now.date():
        text = mark("its times lie in the future, on {begin}: day and month may be swapped, it would be {meant}")
        what = tr(text, begin=begin.date(), meant=swapped_day)
        expected = tr("times up to today, {now:%Y-%m-%d}", now=now)
        raise IntakeError(Fault(what, where, expected, _correct_dates(layout)))


def _correct_dates(layout: Layout) -> str:
    return tr("Correct the dates in the export; any_times = true in layout '{id}' takes them as read.", id=layout.id)


def _apart(at: pl.Series, pause_d: int, where: str, layout: Layout) -> tuple[pl.Series | None, int, int]:
    """Which moments stand apart from the longest stretch, and that stretch [µs]."""
    moments = at.to_physical()
    ordered = moments.drop_nulls().sort().to_numpy()
    edges = np.flatnonzero(np.diff(ordered) > pause_d * _DAY_US) + 1
    starts, ends = np.concatenate(([0], edges)), np.concatenate((edges, [len(ordered)]))
    main = int(np.argmax(ends - starts))
    first, last = int(ordered[starts[main]]), int(ordered[ends[main] - 1])
    limit = min(max(_TIMES * (last - first), pause_d * _DAY_US), _YEARS_D * _DAY_US)
    low, high = first - limit, last + limit
    if low <= ordered[0] and ordered[-1] <= high:
        return None, int(ordered[0]), int(ordered[-1])
    outside = (ordered < low) | (ordered > high)
    if outside.mean() >= _STRAY:
        strays = ordered[outside]
        if max(first - int(strays[0]), int(strays[-1]) - last) < _YEARS_D * _DAY_US:
            return None, int(ordered[0]), int(ordered[-1])  # two campaigns in one file
        days = [_day(at) for at in (strays[0], strays[-1], first, last)]
        text = mark("its times lie far apart: {first} to {last}, and {later_first} to {later_last}")
        what = tr(text, first=days[0], last=days[1], later_first=days[2], later_last=days[3])
        do = mark("Correct the clock's times or split the file; any_times = true in layout '{id}' takes them all.")
        raise IntakeError(Fault(what, where, tr("the times of one stretch"), tr(do, id=layout.id)))
    inside = ordered[~outside]
    far = ((moments < low) | (moments > high)).fill_null(False)
    return far, int(inside[0]), int(inside[-1])


def _against_today(first: int, last: int, now: datetime | None, where: str, layout: Layout) -> tuple[str, ...]:
    """Raise where the times lie far ahead of today or before lost clocks begin; else what to note."""
    if now is None:
        return ()
    today = round(now.timestamp() * 1e6)
    ahead = first > today + _AHEAD_D * _DAY_US
    is_lost = datetime_of(last).year <= _LOST_YEAR and today - last > _LOST_AFTER_D * _DAY_US
    if ahead or is_lost:
        what = (
            mark("its times, {first} to {last}, lie in the future")
            if ahead
            else mark("its times, {first} to {last}, lie where a clock that lost its time begins")
        )
        do = tr("Set the machine's clock; any_times = true in layout '{id}' takes them as they are.", id=layout.id)
        expected = tr("times up to today, {now:%Y-%m-%d}", now=now)
        raise IntakeError(Fault(tr(what, first=_day(first), last=_day(last)), where, expected, do))
    if last > today + _NOTED_D * _DAY_US:
        return (tr("its times lie ahead of this computer's clock, up to {day}", day=_day(last)),)
    return ()


def datetime_of(us: int) -> datetime:
    """A moment [µs since 1970] as a wall clock in UTC."""
    return datetime(1970, 1, 1) + timedelta(microseconds=int(us))  # noqa: DTZ001 - shown to the day only


def _day(us: int) -> str:
    return f"{datetime_of(us):%Y-%m-%d}"
