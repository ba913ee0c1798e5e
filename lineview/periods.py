"""The moments that the names of periods mean in a plant's wall time."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from lineview.errors import AskError, Fault
from lineview.figure import Period
from lineview.period_names import Days, PeriodName, ShiftOfDay, read_wall_time
from lineview.plant import WEEK, Shift


def local(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """Give the moment of a wall time on a day.

    Parameters
    ----------
    day : datetime.date
        The local date.
    clock : datetime.time
        The wall time; one that the spring change skips moves on by the hour skipped.
    zone : zoneinfo.ZoneInfo
        The plant's zone.

    Returns
    -------
    datetime.datetime
        In UTC.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> from datetime import date, time
    >>> local(date(2026, 6, 8), time(6), ZoneInfo("Europe/Berlin")).isoformat()
    '2026-06-08T04:00:00+00:00'
    """
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)


def shift_period(shift: Shift, day: date, zone: ZoneInfo) -> Period:
    """Give the moments a shift that starts on a day runs from and to.

    Parameters
    ----------
    shift : Shift
        From the plant description; it ends the next day where its end is not after its start.
    day : datetime.date
        The local date it starts on.
    zone : zoneinfo.ZoneInfo
        The plant's zone.

    Returns
    -------
    Period
        In UTC.
    """
    last = day if shift.end > shift.start else day + timedelta(days=1)
    return Period(local(day, shift.start, zone), local(last, shift.end, zone))


def shifts_between(shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> list[tuple[str, str, Period]]:
    """List the shifts that touch a span, oldest first.

    Parameters
    ----------
    shifts : tuple of Shift
        From the plant description.
    zone : zoneinfo.ZoneInfo
        The plant's zone.
    span : Period
        In UTC.

    Returns
    -------
    list of (str, str, Period)
        Token ("2026-06-09.early"), label ("Tue 9 June, early") and the shift's moments.
    """
    first = span.start.astimezone(zone).date() - timedelta(days=1)
    last = span.end.astimezone(zone).date()
    found = []
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        for shift in shifts:
            if WEEK[day.weekday()] not in shift.days:
                continue
            period = shift_period(shift, day, zone)
            if period.start <= span.end and period.end > span.start:
                found.append((f"{day.isoformat()}.{shift.id}", f"{day_label(day)}, {shift.id}", period))
    return sorted(found, key=lambda item: item[2].start)


def day_label(day: date) -> str:
    """Name a day as a person would.

    Parameters
    ----------
    day : datetime.date
        The local date.

    Returns
    -------
    str
        For instance "Tue 9 June".

    Examples
    --------
    >>> from datetime import date
    >>> day_label(date(2026, 6, 9))
    'Tue 9 June'
    """
    return f"{day:%a} {day.day} {day:%B}"


def resolve(name: PeriodName, shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    """Turn the name of a period into its moments.

    Parameters
    ----------
    name : str, ShiftOfDay or Days
        From read_period.
    shifts : tuple of Shift
        From the plant description.
    zone : zoneinfo.ZoneInfo
        The plant's zone.
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
    now = span.end
    if isinstance(name, ShiftOfDay):
        return _one_shift(name, shifts, zone)
    if isinstance(name, Days):
        period = Period(local(name.first, time(0), zone), local(name.last + timedelta(days=1), time(0), zone))
        ends = [day_label(day) for day in dict.fromkeys((name.first, name.last))]
        return period, " to ".join(ends)
    if name == "last-shift":
        return _last_shift(shifts, zone, span)
    if name == "all":
        return Period(span.start, _after(now)), "all readings"
    if name == "this-week":
        today = now.astimezone(zone).date()
        monday = today - timedelta(days=today.weekday())
        return Period(local(monday, time(0), zone), _after(now)), f"since {day_label(monday)}"
    days = int(name.split("-")[1])
    return Period(now - timedelta(days=days), _after(now)), f"the last {days} days"


def _after(moment: datetime) -> datetime:
    return moment + timedelta(microseconds=1)


def _last_shift(shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    known = [s for s in shifts_between(shifts, zone, span) if s[2].start < span.end]
    if known:
        return known[-1][2], known[-1][1]
    day = span.end.astimezone(zone).date()  # no shifts to go by: what was read of the last day
    return Period(max(local(day, time(0), zone), span.start), _after(span.end)), day_label(day)


def _one_shift(name: ShiftOfDay, shifts: tuple[Shift, ...], zone: ZoneInfo) -> tuple[Period, str]:
    shift = next((s for s in shifts if s.id == name.shift), None)
    if shift is None:
        names = ", ".join(s.id for s in shifts) or "none in the plant description"
        raise AskError(Fault(f"unknown shift '{name.shift}'", "period", f"one of {names}"))
    return shift_period(shift, name.day, zone), f"{day_label(name.day)}, {shift.id}"


def at_wall_time(wall: datetime, zone: ZoneInfo, where: str) -> datetime:
    """Give the moment of a wall time.

    Parameters
    ----------
    wall : datetime.datetime
        From read_wall_time; of an hour that the autumn repeats, the first is meant.
    zone : zoneinfo.ZoneInfo
        The plant's zone, for a wall time without an offset.
    where : str
        The option's or field's name, for the message.

    Returns
    -------
    datetime.datetime
        In UTC.

    Raises
    ------
    AskError
        Where it falls in the hour that the spring leaves out.
    """
    if wall.tzinfo is not None:
        return wall.astimezone(UTC)
    at = wall.replace(tzinfo=zone).astimezone(UTC)
    if at.astimezone(zone).replace(tzinfo=None) != wall:
        expected = "a time that the spring change leaves in place"
        raise AskError(Fault(f"{wall:%Y-%m-%d %H:%M} does not exist in {zone.key}", where, expected))
    return at


def moment(text: str, zone: ZoneInfo, where: str) -> datetime:
    """Read a moment a person typed, in the plant's wall time or with an offset.

    Parameters
    ----------
    text : str
        As in read_wall_time.
    zone : zoneinfo.ZoneInfo
        The plant's zone.
    where : str
        The option's or field's name, for the message.

    Returns
    -------
    datetime.datetime
        In UTC.

    Raises
    ------
    AskError
        Where it is not a date and time, or one that the spring change leaves out.

    Examples
    --------
    >>> moment("2026-06-09 14:05", ZoneInfo("Europe/Berlin"), "--at").hour
    12
    """
    return at_wall_time(read_wall_time(text, where), zone, where)
