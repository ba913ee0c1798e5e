"""Words for periods, as the address bar and the command line use them, and the moments they mean."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from lineview.core.errors import AskError, Fault
from lineview.core.figure import Period
from lineview.plant.model import Shift

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WORDS = ("last-shift", "this-week", "last-7-days", "last-28-days", "all")
DEFAULTS = {
    "rope": "last-7-days",
    "weight": "last-7-days",
    "shift": "last-shift",
    "wrap": "last-28-days",
    "order": "all",
}


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
            if DAYS[day.weekday()] not in shift.days:
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


def resolve(token: str, shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    """Turn a word for a period into its moments.

    Parameters
    ----------
    token : str
        One of WORDS, a shift ("2026-06-09.early"), a day ("2026-06-09") or days ("2026-06-08..2026-06-12").
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
        For a word that names no period.
    """
    now = span.end
    if token == "last-shift":  # noqa: S105 - a word for a period, no secret
        return _last_shift(shifts, zone, span)
    if token == "all":  # noqa: S105 - likewise
        return Period(span.start, now + timedelta(microseconds=1)), "all readings"
    today = now.astimezone(zone).date()
    if token == "this-week":  # noqa: S105 - likewise
        monday = today - timedelta(days=today.weekday())
        return Period(local(monday, time(0), zone), _after(now)), f"since {day_label(monday)}"
    if token in ("last-7-days", "last-28-days"):
        days = int(token.split("-")[1])
        return Period(now - timedelta(days=days), _after(now)), f"the last {days} days"
    if "." in token and ".." not in token:
        return _one_shift(token, shifts, zone)
    return _days(token, zone)


def _after(moment: datetime) -> datetime:
    return moment + timedelta(microseconds=1)


def _last_shift(shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    known = [s for s in shifts_between(shifts, zone, span) if s[2].start < span.end]
    if known:
        return known[-1][2], known[-1][1]
    day = span.end.astimezone(zone).date()  # no shifts to go by: what was read of the last day
    return Period(max(local(day, time(0), zone), span.start), _after(span.end)), day_label(day)


def _one_shift(token: str, shifts: tuple[Shift, ...], zone: ZoneInfo) -> tuple[Period, str]:
    day_text, _, shift_id = token.partition(".")
    shift = next((s for s in shifts if s.id == shift_id), None)
    if shift is None:
        names = ", ".join(s.id for s in shifts) or "none in the plant description"
        raise AskError(Fault(f"unknown shift '{shift_id}'", "period", f"one of {names}"))
    day = _day(day_text)
    return shift_period(shift, day, zone), f"{day_label(day)}, {shift.id}"


def _days(token: str, zone: ZoneInfo) -> tuple[Period, str]:
    first_text, _, last_text = token.partition("..")
    first = _day(first_text)
    last = _day(last_text) if last_text else first
    if last < first:
        raise AskError(Fault(f"'{token}' ends before it starts", "period", "the earlier day first"))
    period = Period(local(first, time(0), zone), local(last + timedelta(days=1), time(0), zone))
    label = day_label(first) if first == last else f"{day_label(first)} to {day_label(last)}"
    return period, label


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        expected = f"one of {', '.join(WORDS)}, a day such as 2026-06-09, or a shift such as 2026-06-09.early"
        raise AskError(Fault(f"'{text}' names no period", "period", expected)) from None


def moment(text: str, zone: ZoneInfo, where: str) -> datetime:
    """Read a moment a person typed.

    Parameters
    ----------
    text : str
        "2026-06-09", "2026-06-09 06:00" or with an offset; without one, the plant's wall time.
    zone : zoneinfo.ZoneInfo
        The plant's zone.
    where : str
        The option's name, for the message.

    Returns
    -------
    datetime.datetime
        In UTC.

    Raises
    ------
    AskError
        Where it is no moment.
    """
    try:
        read = datetime.fromisoformat(text.strip())
    except ValueError:
        raise AskError(Fault(f"'{text}' is no moment", where, "for instance 2026-06-09 06:00")) from None
    return (read if read.tzinfo else read.replace(tzinfo=zone)).astimezone(UTC)
