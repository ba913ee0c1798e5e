"""Periods in words, as the address bar and the command line use them, and the moments they mean."""

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
            if DAYS[day.weekday()] not in shift.days:
                continue
            period = _shift_period(shift, day, zone)
            if period.start <= span.end and period.end > span.start:
                listed.append((f"{day.isoformat()}.{shift.id}", f"{_day_label(day)}, {shift.id}", period))
    return sorted(listed, key=lambda item: item[2].start)


def _day_label(day: date) -> str:
    """A local day as "Tue 9 June"."""
    return f"{day:%a} {day.day} {day:%B}"


def resolve(token: str, shifts: tuple[Shift, ...], zone: ZoneInfo, span: Period) -> tuple[Period, str]:
    """Moments of a period named by a word.

    Parameters
    ----------
    token : str
        One of WORDS, a shift ("2026-06-09.early"), a day ("2026-06-09") or days ("2026-06-08..2026-06-12").
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
        For an unknown period.
    """
    now = span.end
    if token == "last-shift":  # noqa: S105 - a period, no secret
        return _last_shift(shifts, zone, span)
    if token == "all":  # noqa: S105 - likewise
        return Period(span.start, now + timedelta(microseconds=1)), "all readings"
    today = now.astimezone(zone).date()
    if token == "this-week":  # noqa: S105 - likewise
        monday = today - timedelta(days=today.weekday())
        return Period(_utc(monday, time(0), zone), _after(now)), f"since {_day_label(monday)}"
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
    day = span.end.astimezone(zone).date()  # without shifts: what was read of the last day
    return Period(max(_utc(day, time(0), zone), span.start), _after(span.end)), _day_label(day)


def _one_shift(token: str, shifts: tuple[Shift, ...], zone: ZoneInfo) -> tuple[Period, str]:
    day_text, _, shift_id = token.partition(".")
    shift = next((s for s in shifts if s.id == shift_id), None)
    if shift is None:
        names = ", ".join(s.id for s in shifts) or "none in the plant description"
        raise AskError(Fault(f"unknown shift '{shift_id}'", "period", f"one of {names}"))
    day = _day(day_text)
    return _shift_period(shift, day, zone), f"{_day_label(day)}, {shift.id}"


def _days(token: str, zone: ZoneInfo) -> tuple[Period, str]:
    first_text, _, last_text = token.partition("..")
    first = _day(first_text)
    last = _day(last_text) if last_text else first
    if last < first:
        raise AskError(Fault(f"'{token}' ends before it starts", "period", "the earlier day first"))
    period = Period(_utc(first, time(0), zone), _utc(last + timedelta(days=1), time(0), zone))
    label = _day_label(first) if first == last else f"{_day_label(first)} to {_day_label(last)}"
    return period, label


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        expected = f"one of {', '.join(WORDS)}, a day such as 2026-06-09, or a shift such as 2026-06-09.early"
        raise AskError(Fault(f"unknown period '{text}'", "period", expected)) from None


def moment(text: str, zone: ZoneInfo, where: str) -> datetime:
    """Moment that a person typed, in UTC.

    Parameters
    ----------
    text : str
        "2026-06-09", "2026-06-09 06:00" or with an offset; without one, the plant's wall time.
    zone : zoneinfo.ZoneInfo
        The plant's zone.
    where : str
        The option's name, for the message.

    Raises
    ------
    AskError
        Where it is not a date and time.
    """
    try:
        read = datetime.fromisoformat(text.strip())
    except ValueError:
        raise AskError(
            Fault(f"'{text}' is not a date and time", where, "for instance 2026-06-09 06:00")
        ) from None
    return (read if read.tzinfo else read.replace(tzinfo=zone)).astimezone(UTC)
