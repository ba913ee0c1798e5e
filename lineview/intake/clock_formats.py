"""Which formats of date and time a cell could be written in."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

_DATE = re.compile(
    r"(?P<iso>\d{4}(?P<s1>[-/.])\d{1,2}(?P=s1)\d{1,2})|(?P<compact>\d{8})"
    r"|(?P<first>\d{1,2})(?P<s2>[-/.])\d{1,2}(?P=s2)(?P<year>\d{4}|\d{2})(?!\d)"
    r"|(?P<named>\d{1,2}(?P<s3>[- .]\s?)[A-Za-z]{3,}(?P<s4>[- .,]\s?)(?P<year2>\d{4}|\d{2}))(?!\d)"
    r"|(?P<us>[A-Za-z]{3,}\s\d{1,2},?\s\d{4})"
)
_TIME = re.compile(
    r"(?P<gap>[T ]|, ?|_)?(?P<hour>\d{1,2})(?P<sep>[:.h])(?P<minute>\d{2})(?:(?P=sep)(?P<second>\d{2})"
    r"(?P<fraction>[.,]\d+)?)?(?P<half> ?[AaPp]\.?[Mm]\.?)?"
    r"|(?P<gap2>[T ])?(?P<compact>\d{6}|\d{4})(?P<fraction2>[.,]\d+)?"
)
_ZONE = re.compile(r" ?(?P<zone>Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)")


def formats_of(text: str) -> tuple[str, ...]:
    """Give every format a cell could be written in: two where day and month cannot be told apart.

    Parameters
    ----------
    text : str
        A cell, blanks at its ends taken off. An offset is written as in ISO 8601.

    Returns
    -------
    tuple of str
        Patterns of polars' `str.to_datetime`; a final "Z" stands for a moment in UTC.

    Examples
    --------
    >>> formats_of("24.12.2026 06:00"), formats_of("5/1/2026 6:00:00 PM")
    (('%d.%m.%Y %H:%M',), ('%d/%m/%Y %I:%M:%S %p', '%m/%d/%Y %I:%M:%S %p'))
    """
    date = _DATE.match(text)
    dates, rest = (_date_formats(date), text[date.end() :]) if date else ((), text)
    time, rest = _time_format(rest, alone=not dates)
    if (not dates and not time) or (rest and not _ZONE.fullmatch(rest)):
        return ()
    zone = (
        "" if not rest else rest[: len(rest) - len(rest.lstrip())] + ("Z" if rest.strip() in _UTC else "%z")
    )
    return tuple(f"{one}{time}{zone}" for one in dates or ("",))


_UTC = ("Z", "UTC", "GMT")


def _date_formats(match: re.Match[str]) -> tuple[str, ...]:
    part = match.groupdict()
    if part["iso"]:
        mark = part["s1"]
        return (f"%Y{mark}%m{mark}%d",)
    if part["compact"]:
        return ("%Y%m%d",)
    if part["named"]:
        year = "%Y" if len(part["year2"]) == 4 else "%y"
        month = "%b" if re.search(r"[-. ][A-Za-z]{3}\b", part["named"]) else "%B"
        return (f"%d{part['s3']}{month}{part['s4']}{year}",)
    if part["us"]:
        comma = "," if "," in part["us"] else ""
        month = "%b" if re.match(r"[A-Za-z]{3}\b", part["us"]) else "%B"
        return (f"{month} %d{comma} %Y",)
    mark, year = part["s2"], "%Y" if len(part["year"]) == 4 else "%y"
    day_first, month_first = f"%d{mark}%m{mark}{year}", f"%m{mark}%d{mark}{year}"
    return (day_first,) if mark == "." else (day_first, month_first)


def _time_format(rest: str, *, alone: bool) -> tuple[str, str]:
    match = _TIME.match(rest)
    if not match or not match[0]:
        return "", rest
    part = match.groupdict()
    gap = part["gap"] or part["gap2"] or ""
    if not alone and not gap and not part["compact"]:
        return "", rest
    fraction = "%.f" if part["fraction"] or part["fraction2"] else ""
    if part["compact"]:
        form = "%H%M%S" if len(part["compact"]) == 6 else "%H%M"
    else:
        mark, hour = part["sep"], "%I" if part["half"] else "%H"
        form = f"{hour}{mark}%M" + (f"{mark}%S" if part["second"] else "")
    half = part["half"] or ""
    return gap + form + fraction + (" %p" if half.startswith(" ") else "%p" if half else ""), rest[
        match.end() :
    ]


def formats_in(sample: Iterable[str]) -> list[tuple[str, ...]]:
    """Give the formats of a sample of cells, commonest first, each with its day-or-month twin."""
    counts = Counter(formats for text in sample if (formats := formats_of(text)))
    return [formats for formats, _ in counts.most_common()]
