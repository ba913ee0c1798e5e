"""Names of periods, as the address bar and the command line write them, and the moments they mean."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal, TypeVar, get_args
from zoneinfo import ZoneInfo

from lineview.core.errors import AskError, Fault
from lineview.core.figure import Period
from lineview.core.language import month_name, tr, weekday_name
from lineview.plant.checks import WEEK
from lineview.plant.model import Shift

PeriodWord = Literal["last-shift", "this-week", "last-week", "last-7-days", "last-28-days", "all"]
WORDS: tuple[PeriodWord, ...] = get_args(PeriodWord)
#: The period that suits a question.
DEFAULTS: dict[str, PeriodWord] = {
    "rope": "last-7-days",
    "weight": "last-7-days",
    "shift": "last-shift",
    "wrap": "last-28-days",
    "order": "all",
    "week": "last-week",
}


#: A shift that was read for less than this is not the last one worth reading.
_JUST_STARTED = timedelta(minutes=5)
_TIME = re.compile(r"\d{1,2}:\d\d")
#: Years in which readings and plans may lie.
YEARS = range(1971, 2200)
#: Of one period: twenty years, as each planned minute in it is looked at.
MOST_DAYS = 7_320
D = TypeVar("D", bound=date)
_WEEK = re.compile(r"\d{4}-W\d\d$")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})( +\d{1,2}:\d\d)?")


@dataclass(frozen=True)
class ShiftOfDay:
    """A shift by the day it starts on and its id: "2026-06-09.early"."""

    day: date
    shift: str


@dataclass(frozen=True)
class Days:
    """Whole days, both included: "2026-06-08..2026-06-12", or one: "2026-06-09"."""

    first: date
    last: date


#: A period as a person names it; which moments it means depends on the plant and on what was read.
PeriodName = PeriodWord | ShiftOfDay | Days


def read_period(text: str) -> PeriodName:
    """Read the name of a period.

    Parameters
    ----------
    text : str
        One of WORDS, a shift ("2026-06-09.early"), a day ("2026-06-09"), days ("2026-06-08..2026-06-12")
        or an ISO week ("2026-W24").

    Raises
    ------
    AskError
        For an unknown period, or one that ends before it starts.

    Examples
    --------
    >>> read_period("2026-06-09.early")
    ShiftOfDay(day=datetime.date(2026, 6, 9), shift='early')
    """
    for word in WORDS:
        if text == word:
            return word
    first_text, dots, last_text = text.partition("..")
    if not dots and "." in text:
        day_text, _, shift = text.partition(".")
        return ShiftOfDay(_day(day_text, text), shift)
    first = _day(_WEEK.sub(r"\g<0>-1", first_text), text)
    last = _day(_WEEK.sub(r"\g<0>-7", last_text or first_text), text)
    if last < first:
        raise AskError(Fault(tr("'{text}' ends before it starts", text=text), "period", tr("the earlier day first")))
    if (last - first).days > MOST_DAYS:
        what = tr("'{text}' is {days:,} days", text=text, days=(last - first).days)
        raise AskError(Fault(what, "period", tr("up to {most:,}", most=MOST_DAYS)))
    return Days(first, last)


def read_wall_time(text: str, where: str) -> datetime:
    """Read a moment as a person types it.

    Parameters
    ----------
    text : str
        "2026-06-09", "2026-06-09 06:00" or with an offset; "09.06.2026 06:00" too.
    where : str
        The option's or field's name, for the message.

    Returns
    -------
    datetime.datetime
        Without a zone unless an offset was typed.

    Raises
    ------
    AskError
        Where it is not a date and time.
    """
    dotted = _DOTTED.fullmatch(text.strip())
    day_first = f"{dotted[3]}-{int(dotted[2]):02}-{int(dotted[1]):02}{_clock(dotted[4])}" if dotted else ""
    try:
        return _of_our_time(datetime.fromisoformat(day_first or text.strip()))
    except ValueError:
        expected = tr("for instance 2026-06-09 06:00")
        raise AskError(Fault(tr("'{text}' is not a date and time", text=text), where, expected)) from None


def _of_our_time(at: D) -> D:
    """A day or moment as it is; a ValueError where no machine of ours ran and no calendar is sure."""
    if at.year not in YEARS:
        raise ValueError(at.year)
    return at


def _clock(text: str | None) -> str:
    """Time of day as ISO 8601 has it: 9:05 as 09:05."""
    return "" if text is None else f" {text.strip():0>5}"


def _day(text: str, period_text: str) -> date:
    try:
        return _of_our_time(date.fromisoformat("" if _WEEK.match(text) else text))  # which takes it for its Monday
    except ValueError:
        expected = tr(
            "one of {words}, a day such as 2026-06-09, a week such as 2026-W24, or a shift such as 2026-06-09.early",
            words=", ".join(WORDS),
        )
        raise AskError(Fault(tr("unknown period '{period}'", period=period_text), "period", expected)) from None


def _utc(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """A wall time of a local day in UTC; one that the spring change skips moves on by the hour skipped."""
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)


def _shift_period(shift: Shift, day: date, zone: ZoneInfo) -> Period:
    """The moments of a shift that starts on a local day, in UTC."""
    last = day if shift.end > shift.start else day + timedelta(days=1)
    return Period(_utc(day, shift.start, zone), _utc(last, shift.end, zone))


def shifts_between(shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> list[tuple[str, str, Period]]:
    """List the shifts that touch a span, oldest first.

    Parameters
    ----------
    shifts, zone
        Of the plant description.
    span : Period
        In UTC.

    Returns
    -------
    list of (str, str, Period)
        Token ("2026-06-09.early"), label ("Tue 9 June, early") and the shift's moments.
    """
    first = span.start.astimezone(zone).date() - timedelta(days=1)
    last = span.end.astimezone(zone).date()
    listed = []
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        for shift in shifts:
            if WEEK[day.weekday()] not in shift.days:
                continue
            period = _shift_period(shift, day, zone)
            if period.start <= span.end and period.end > span.start:
                listed.append((f"{day.isoformat()}.{shift.id}", _shift_label(day, shift, last), period))
    return sorted(listed, key=lambda item: item[2].start)


def day_label(day: date, today: date) -> str:
    """A local day as "Tue 9 June".

    Parameters
    ----------
    day, today : datetime.date
        In the plant's zone; a day of another year than today's has its year.
    """
    weekday, month = weekday_name(day.weekday(), short=True), month_name(day.month)
    year = "" if day.year == today.year else f" {day.year}"
    return tr("{weekday} {day} {month}", weekday=weekday, day=day.day, month=month) + year


def days_label(first: date, last: date, today: date) -> str:
    """Local days from one to another; one day alone is named once.

    Parameters
    ----------
    first, last, today : datetime.date
        In the plant's zone; days of another year than today's have theirs.
    """
    start, end = day_label(first, today), day_label(last, today)
    return start if start == end else tr("{start} to {end}", start=start, end=end)


def _shift_label(day: date, shift: Shift, today: date) -> str:
    return tr("{day}, {shift}", day=day_label(day, today), shift=shift.id)


def resolve(name: PeriodName, shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    """Moments of a named period, and how a person names them.

    Parameters
    ----------
    name : str, ShiftOfDay or Days
        From read_period.
    shifts, zone
        Of the plant description.
    span : Period
        From the first to the last reading known [UTC]; the last is what "now" means.

    Returns
    -------
    (Period, str)
        The moments and how a person names them.

    Raises
    ------
    AskError
        For a shift that the plant does not have.
    """
    now, today = span.end, span.end.astimezone(zone).date()
    if isinstance(name, ShiftOfDay):
        return _shift_of_day(name, shifts, zone, today)
    if isinstance(name, Days):
        period = Period(_utc(name.first, time(0), zone), _utc(name.last + timedelta(days=1), time(0), zone))
        return period, days_label(name.first, name.last, today)
    if name == "last-shift":
        return _last_shift(shifts, zone, span)
    if name == "all":
        return Period(span.start, _after(now)), tr("all readings")
    if name in ("this-week", "last-week"):
        return _this_week(zone, span) if name == "this-week" else _last_week(shifts, zone, span)
    days = int(name.split("-")[1])
    start = max(now - timedelta(days=days), span.start)
    return Period(start, _after(now)), tr("the last {days} days", days=days)


def _this_week(zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    today = span.end.astimezone(zone).date()
    monday = today - timedelta(days=today.weekday())
    return Period(max(_utc(monday, time(0), zone), span.start), _after(span.end)), tr(
        "since {day}", day=day_label(monday, today)
    )


def _last_week(shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    """The last week, Monday to Sunday, that is over or has no shift left; this one where there is none before."""
    today = span.end.astimezone(zone).date()
    monday = today - timedelta(days=today.weekday())
    following = _utc(monday + timedelta(days=7), time(0), zone)
    shifts_ahead = [p for _, _, p in shifts_between(shifts, zone, Period(span.end, following)) if p.end <= following]
    ahead = [p for p in shifts_ahead if p.end > span.end + timedelta(hours=1)]
    before = _utc(monday, time(0), zone)
    if (ahead or not shifts) and span.start < before:
        monday -= timedelta(days=7)
    start = _utc(monday, time(0), zone)
    end = _utc(monday + timedelta(days=7), time(0), zone)
    return Period(max(start, span.start), end), tr("the week of {day}", day=day_label(monday, today))


def _after(moment: datetime) -> datetime:
    return moment + timedelta(microseconds=1)


def _last_shift(shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    candidates = [s for s in shifts_between(shifts, zone, span) if s[2].start < span.end]
    if len(candidates) > 1 and span.end - candidates[-1][2].start < _JUST_STARTED:
        candidates.pop()  # it has only just begun: the one before has more to say
    if candidates:
        return candidates[-1][2], candidates[-1][1]
    day = span.end.astimezone(zone).date()  # without shifts: what was read of the last day
    return Period(max(_utc(day, time(0), zone), span.start), _after(span.end)), day_label(day, day)


def _shift_of_day(name: ShiftOfDay, shifts: tuple[Shift, ...], zone: ZoneInfo, today: date) -> tuple[Period, str]:
    shift = next((s for s in shifts if s.id == name.shift), None)
    if shift is None:
        names = ", ".join(s.id for s in shifts) or tr("none in the plant description")
        raise AskError(
            Fault(tr("unknown shift '{shift}'", shift=name.shift), "period", tr("one of {names}", names=names))
        )
    if WEEK[name.day.weekday()] not in shift.days:
        that_day = ", ".join(s.id for s in shifts if WEEK[name.day.weekday()] in s.days)
        what = tr("no '{shift}' shift starts on {day}", shift=shift.id, day=day_label(name.day, today))
        expected = tr("one of {names}", names=that_day) if that_day else tr("a day with shifts")
        raise AskError(Fault(what, "period", expected))
    return _shift_period(shift, name.day, zone), _shift_label(name.day, shift, today)


def at_wall_time(wall: datetime, zone: ZoneInfo, where: str) -> datetime:
    """Moment of a wall time, in UTC.

    Parameters
    ----------
    wall : datetime.datetime
        From read_wall_time; of an hour that the autumn repeats, the first is meant.
    zone : zoneinfo.ZoneInfo
        The plant's zone, for a wall time without an offset.
    where : str
        The option's or field's name, for the message.

    Raises
    ------
    AskError
        Where it falls in the hour that the spring leaves out.
    """
    if wall.tzinfo is not None:
        return wall.astimezone(UTC)
    at = wall.replace(tzinfo=zone).astimezone(UTC)
    if at.astimezone(zone).replace(tzinfo=None) != wall:
        expected = tr("a time that the spring change leaves in place")
        what = tr("{moment} does not exist in {zone}", moment=f"{wall:%Y-%m-%d %H:%M}", zone=zone.key)
        raise AskError(Fault(what, where, expected))
    return at


def moment(text: str, zone: ZoneInfo, where: str, now: datetime | None = None, *, timed: bool = False) -> datetime:
    """Moment that a person typed, in the plant's wall time or with an offset.

    Parameters
    ----------
    text : str
        As in read_wall_time.
    zone : zoneinfo.ZoneInfo
        The plant's zone.
    where : str
        The option's or field's name, for the message.
    now : datetime.datetime, optional
        With its zone; a time alone, such as "10:30", is of this day.
    timed : bool
        Whether it is of what is over, to the minute: a day alone, or a time alone that is still to come, is refused.

    Raises
    ------
    AskError
        Where it is not a date and time, or one that the spring change leaves out.

    Examples
    --------
    >>> moment("2026-06-09 14:05", ZoneInfo("Europe/Berlin"), "--at").hour
    12
    """
    if now is not None and _TIME.fullmatch(text.strip()):
        text = f"{now.astimezone(zone):%Y-%m-%d}{_clock(text)}"
        at = at_wall_time(read_wall_time(text, where), zone, where)
        if timed and at > now:
            before = at.astimezone(zone) - timedelta(days=1)
            expected = tr("its day too, for instance {moment}", moment=f"{before:%Y-%m-%d %H:%M}")
            raise AskError(Fault(tr("this moment is in the future"), where, expected))
        return at
    wall = read_wall_time(text, where)
    if timed and ":" not in text:
        expected = tr("its time of day too, for instance {moment}", moment=f"{wall:%Y-%m-%d} 06:00")
        raise AskError(Fault(tr("'{text}' is a day alone", text=text), where, expected))
    return at_wall_time(wall, zone, where)
