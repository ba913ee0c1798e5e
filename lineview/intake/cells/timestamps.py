"""Which formats of date and time a cell could be written in."""

from __future__ import annotations

import operator
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache, reduce

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import UTC_US
from lineview.core.language import mark, tr
from lineview.intake.detect.zones import ABBREVIATIONS
from lineview.plant import Layout

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
#: Offsets at the ends of cells; a zone has two in a year, and a third where its law changed.
_OFFSET, _MOST_OFFSETS = re.compile(r"(?<=\d)[+-]\d{2}:?\d{2}$"), 3
_ABBREVIATED = re.compile(rf" ?\(?(?P<name>{'|'.join(ABBREVIATIONS)})\)?")


#: One figure for each digit: a format depends on how many there are, not on which.
_FIGURES = str.maketrans("123456789", "000000000")


def formats_of(text: str) -> tuple[str, ...]:
    """Every format a cell could be written in: two where day and month could be either."""
    return _formats_of(text.translate(_FIGURES))


@lru_cache(maxsize=1024)
def _formats_of(text: str) -> tuple[str, ...]:
    date = _DATE.match(text)
    dates, tail = (_date_formats(date), text[date.end() :]) if date else ((), text)
    time, tail = _time_format(tail, alone=not dates)
    if tail and (dates or time) and _ABBREVIATED.fullmatch(tail) and not _ZONE.fullmatch(tail):
        return tuple(f"{day_form}{time} %Z" for day_form in dates or ("",))
    if (not dates and not time) or (tail and not _ZONE.fullmatch(tail)):
        return ()
    zone = "" if not tail else tail[: len(tail) - len(tail.lstrip())] + ("Z" if tail.strip() in _UTC else "%z")
    return tuple(f"{day_form}{time}{zone}" for day_form in dates or ("",))


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
    if mark == ".":
        return (day_first,)
    year_first = (f"%y{mark}%m{mark}%d",) if year == "%y" and len(part["first"]) == 2 else ()
    return (day_first, month_first, *year_first)


def _time_format(tail: str, *, alone: bool) -> tuple[str, str]:
    match = _TIME.match(tail)
    if not match or not match[0]:
        return "", tail
    part = match.groupdict()
    gap = part["gap"] or part["gap2"] or ""
    if not alone and not gap and not part["compact"]:
        return "", tail
    fraction = "%.f" if part["fraction"] or part["fraction2"] else ""
    if part["compact"]:
        form = "%H%M%S" if len(part["compact"]) == 6 else "%H%M"
    else:
        mark, hour = part["sep"], "%I" if part["half"] else "%H"
        form = f"{hour}{mark}%M" + (f"{mark}%S" if part["second"] else "")
    half = part["half"] or ""
    return gap + form + fraction + (" %p" if half.startswith(" ") else "%p" if half else ""), tail[match.end() :]


def formats_in(sample: Iterable[str]) -> list[tuple[str, ...]]:
    """The formats of a sample of cells, commonest first, each with its day-or-month twin.

    Clocks that differ all the time behind a minus sign are no offsets from UTC: `06:00-06:15` is a stretch of time.
    """
    texts = list(sample)
    counts = Counter(formats for text in texts if (formats := formats_of(text)))
    offsets = {match[0] for text in texts if (match := _OFFSET.search(text))}
    are_offsets = len(offsets) <= _MOST_OFFSETS
    return [formats for formats, _ in counts.most_common() if are_offsets or not formats[0].endswith("%z")]


_NAMES = {
    "Jan": "januar jänner januari janvier janv enero ene gennaio gen",
    "Feb": "februar februari février fevrier févr fév febrero febbraio",
    "Mar": "märz mrz mär maart mrt mars marzo",
    "Apr": "avril avr abril abr aprile",
    "May": "mai mayo maggio mag mei",
    "Jun": "juni juin junio giugno giu",
    "Jul": "juli juillet juil julio luglio lug",
    "Aug": "août aout agosto ago augustus",
    "Sep": "septembre septiembre settembre set sept",
    "Oct": "oktober okt octobre octubre ottobre ott",
    "Nov": "novembre noviembre",
    "Dec": "dezember dez décembre déc diciembre dicembre dic",
}
ENGLISH = {name: english for english, names in _NAMES.items() for name in names.split()}


def english_months(texts: pl.Series) -> pl.Series:
    """Write the month within date cells in English; cells without a foreign month stay as they are."""
    part = pl.col("parts").struct.field
    groups = pl.DataFrame({"parts": texts.str.extract_groups(r"^(\d{1,2})(\.? ?-?)(\pL{3,})\.?(.*)$")})
    month = part("3").str.to_lowercase().replace_strict(ENGLISH, default=None, return_dtype=pl.String)
    gap = part("2").str.replace(".", "", literal=True)
    translated = pl.concat_str([part("1"), gap, month, part("4")])
    return groups.with_columns(text=texts).select(pl.coalesce(translated, "text")).to_series()


#: What epochs count since 1970 in UTC, and how many microseconds one of it is.
_EPOCHS_US = {"epoch s": 1_000_000.0, "epoch ms": 1_000.0, "epoch us": 1.0, "epoch ns": 0.001}
#: Serial 0 of a spreadsheet's days: after the phantom 29 February 1900 (serial 60), or counted from 1904.
_SERIAL_ZERO = {"excel": datetime(1899, 12, 30), "excel 1904": datetime(1904, 1, 1)}  # noqa: DTZ001 - no zone
#: Formats that are numbers: a spreadsheet's serial days, and epochs.
NUMERIC = (*_SERIAL_ZERO, *_EPOCHS_US)
_NAIVE = pl.Datetime("us")
_FIRST_YEAR, _LAST_YEAR = 1970, 2099
#: The first moment after those years [µs since 1970].
_END_US = 4_102_444_800_000_000


@dataclass(frozen=True)
class Clock:
    """What time cells say: wall-clock times, or moments where the cell carries its offset.

    For each cell at most one of the two is there.
    """

    naive: pl.Series
    moment: pl.Series


def read_clock(texts: pl.Series, formats: Sequence[str]) -> Clock:
    """Read a column of time cells, trying each format on those no earlier one could read.

    "24:00" is midnight at the day's end. Source: iso-8601
    """
    clock = _try_all(texts, formats)
    if 0 in (clock.naive.null_count(), clock.moment.null_count()):
        return clock
    open_ = clock.naive.is_null() & clock.moment.is_null() & (texts.str.len_bytes() > 0)
    if not open_.any():
        return clock
    odd = open_.arg_true()
    odd_cells = spaced_alike(texts.gather(odd))
    again = _try_all(odd_cells, formats)
    late = odd_cells.str.contains(r"(?:^|[^\d:])24:00(?::00)?(?:[^\d:]|$)")
    if late.any():
        midnights = _try_all(odd_cells.str.replace(r"(^|[^\d:])24:00", "${1}00:00"), formats)
        day = pl.duration(days=1)
        next_day = pl.DataFrame({"n": midnights.naive, "m": midnights.moment}).select(pl.all() + day)
        again = Clock(next_day["n"].zip_with(late, again.naive), next_day["m"].zip_with(late, again.moment))
    return Clock(clock.naive.scatter(odd, again.naive), clock.moment.scatter(odd, again.moment))


def spaced_alike(texts: pl.Series) -> pl.Series:
    """Make blanks single and plain, drop a weekday in front, write months in English."""
    bare = texts.str.replace_all(r"\s+", " ").str.strip_chars()
    bare = bare.str.replace(r"^\pL{2,10}\.?,? (\d{1,4}[./-]|\d{1,2}\.? \pL)", "$1")
    return english_months(bare) if bare.str.contains(r"\pL{3}").any() else bare


def parse_one(texts: pl.Series, form: str) -> pl.Series:
    """Read cells in one format; null where one is not written so. Years outside 1970 to 2099 are none."""
    if form in NUMERIC:
        return _numeric(texts, form)
    if "%.f" in form:
        texts = texts.str.replace(r",(\d+)", ".$1")
    if "%p" in form:
        texts = texts.str.replace(r"(?i)([ap])\.?m\.?", "${1}m")
    if form.endswith(" %Z"):
        return _read_abbreviated(texts, form.removesuffix(" %Z"))
    if form.endswith("Z"):
        texts, form = texts.str.replace(r" ?(Z|UTC|GMT)$", ""), form[:-1].rstrip()
        return _sane(texts.str.to_datetime(form, time_unit="us", strict=False)).dt.replace_time_zone("UTC")
    if form.endswith("%z"):
        texts = texts.str.replace(r"([+-]\d{2})$", "${1}:00")
        return _sane(texts.str.to_datetime(form, time_unit="us", strict=False))
    # times of a log seldom repeat: looking each up among those read before is work for nothing
    return _sane(texts.str.to_datetime(form, time_unit="us", strict=False, cache=False))


def _read_abbreviated(texts: pl.Series, form: str) -> pl.Series:
    """Read cells that end with the abbreviation of a zone; null where nobody knows it."""
    parts = texts.str.extract_groups(r"^(.*?) ?\(?([A-Z]{3,5})\)?$").struct.unnest()
    ahead = parts["2"].replace_strict(ABBREVIATIONS, default=None, return_dtype=pl.Int64)
    naive = _sane(parts["1"].str.to_datetime(form, time_unit="us", strict=False))
    return (naive - (ahead * 60_000_000).cast(pl.Duration("us"))).dt.replace_time_zone("UTC")


def _sane(times: pl.Series) -> pl.Series:
    if times.null_count() == len(times):
        return times
    # as microseconds, for the years of millions of times are a quarter of the work of reading them
    moments = times.to_physical()
    if int(moments.min()) >= 0 and int(moments.max()) < _END_US:  # type: ignore[arg-type]  # whole numbers
        return times
    return times.set(~times.dt.year().is_between(_FIRST_YEAR, _LAST_YEAR), None)


def _numeric(texts: pl.Series, form: str) -> pl.Series:
    integers = texts.cast(pl.Int64, strict=False)
    if form not in _SERIAL_ZERO and integers.null_count() == texts.null_count():
        steps = _EPOCHS_US[form]
        moments = integers * int(steps) if steps >= 1 else integers // round(1 / steps)
        return _sane(_in_range(integers.cast(pl.Float64), form, moments).cast(UTC_US))
    number = texts.str.strip_chars().str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
    number = number.set(~number.is_finite(), None)
    if form in _SERIAL_ZERO:
        milliseconds = _in_range(number, form, (number * 86_400_000.0).round())
        zero = pl.Series([_SERIAL_ZERO[form]], dtype=_NAIVE)
        return _sane(zero + (milliseconds.cast(pl.Int64) * 1000).cast(pl.Duration("us")))
    return _sane(_in_range(number, form, (number * _EPOCHS_US[form]).round()).cast(pl.Int64).cast(UTC_US))


def _in_range(number: pl.Series, form: str, value: pl.Series) -> pl.Series:
    """Null out what is no plausible serial or epoch before it is turned into a time."""
    high = 8e4 if form in _SERIAL_ZERO else 4.2e15 / _EPOCHS_US[form]
    wild = ~number.is_between(0, high)
    return value.set(wild, None) if wild.any() else value


def _try_all(texts: pl.Series, formats: Sequence[str]) -> Clock:
    size = len(texts)
    naive = moment = None
    open_ = None
    for form in formats:
        some = texts if open_ is None else texts.gather(open_)
        if not len(some):
            break
        read = parse_one(some, form)
        is_moment = read.dtype == UTC_US
        if open_ is None:
            naive, moment = (None, read) if is_moment else (read, None)
        elif read.null_count() < len(read):
            old = moment if is_moment else naive
            filled = _nothing(size, is_moment) if old is None else old
            filled = filled.scatter(open_, read)
            naive, moment = (naive, filled) if is_moment else (filled, moment)
        if not read.null_count():
            break
        unread = read.is_null().arg_true()
        open_ = unread if open_ is None else open_.gather(unread)
    return Clock(_nothing(size, False) if naive is None else naive, _nothing(size, True) if moment is None else moment)


def _nothing(size: int, is_moment: bool) -> pl.Series:
    return pl.Series("t", [None], dtype=UTC_US if is_moment else _NAIVE).new_from_index(0, size)


_ISO = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%d", "%Y-%m-%dT%H:%M:%S%.f")
_SAMPLE = 150


@dataclass(frozen=True)
class ClockPlan:
    """The formats to try in turn, and the two between which nothing decides.

    `formats`: "excel", "excel 1904", "epoch s", "epoch ms" or patterns of polars; `undecided`: day first, month
    first or year first, where every cell fits several; () where they are settled; `example`: a cell that fits all
    of them.
    """

    formats: tuple[str, ...]
    undecided: tuple[str, ...] = ()
    example: str = ""


def plan_clock(texts: pl.Series, declared: str, *, typed: bool = False) -> ClockPlan:
    """Settle the formats of a file's times."""
    sample = _sample(texts)
    if declared not in ("", "auto", "iso"):
        return ClockPlan(_formats_declared(declared, sample, typed))
    forms = formats_in(sample)
    if declared == "iso":
        forms = [formats for formats in forms if formats[0].startswith("%Y")]
        return ClockPlan(tuple(dict.fromkeys([f[0] for f in forms] + list(_ISO[:2]))))
    numeric = _numeric_kind(sample)
    if numeric and not forms:
        return ClockPlan((numeric, *(_ISO if typed else ())))
    twins = [formats for formats in forms if len(formats) > 1]
    orders = _orders(texts, twins) if twins else [0]
    if len(orders) != 1:
        options = tuple(twins[0][order] for order in orders) or twins[0]
        fits = texts.filter(parse_one(texts, options[0]).is_not_null())
        return ClockPlan(tuple(f[0] for f in forms), options, fits[0] if len(fits) else "")
    chosen = [formats[orders[0]] if len(formats) > 1 else formats[0] for formats in forms]
    return ClockPlan(tuple(dict.fromkeys([*chosen, *((numeric,) if numeric else ())])))


def _sample(texts: pl.Series) -> list[str]:
    """Give cells from the start, the middle and the end."""
    middle = len(texts) // 2
    parts = [texts.head(_SAMPLE), texts.slice(middle, _SAMPLE), texts.tail(_SAMPLE)]
    return [cell for cell in spaced_alike(pl.concat(parts)).to_list() if cell]


def _formats_declared(declared: str, sample: list[str], typed: bool) -> tuple[str, ...]:
    if declared in NUMERIC:
        return (declared, *(_ISO if typed else ()))
    # a pattern stands for its date order too: rows with or without seconds are no reason to refuse
    date = re.split(r"[T ,_]*%[HI]", declared)[0]
    akin = [f for formats in formats_in(sample) for f in formats if date and f.startswith(date)]
    return tuple(dict.fromkeys([declared, *akin, *(_ISO if typed else ())]))


def _numeric_kind(sample: list[str]) -> str:
    numbers = [float(c.replace(",", ".")) for c in sample if re.fullmatch(r"\d+([.,]\d+)?(E0)?", c)]
    if not numbers or len(numbers) < len(sample) / 2:
        return ""
    middle = sorted(numbers)[len(numbers) // 2]
    spans = {"excel": (2.5e4, 8e4)} | {name: (1e14 / us, 4.2e15 / us) for name, us in _EPOCHS_US.items()}
    return next((kind for kind, (low, high) in spans.items() if low < middle < high), "")


def _orders(texts: pl.Series, twins: list[tuple[str, ...]]) -> list[int]:
    """Which orders of day, month and year read all that any of them reads: 0 day, 1 month, 2 year first.

    None where cells contradict each other; the first alone where all of them read the same.
    """
    count = min(map(len, twins))
    fine, differ = [True] * count, False
    for formats in twins:
        read = [parse_one(texts, form) for form in formats[:count]]
        there = [moments.is_not_null() for moments in read]
        some = reduce(operator.or_, there)
        fine = [ok and bool((some == mine).all()) for ok, mine in zip(fine, there, strict=True)]
        differ |= any(bool((moments != read[0]).any()) for moments in read[1:])
    fitting = [order for order, ok in enumerate(fine) if ok]
    return fitting[:1] if fitting and not differ else fitting


def first_of(form: str) -> str:
    """What comes first in a date of a format: "day first", "month first" or "year first"."""
    return tr({"d": mark("day first"), "m": mark("month first")}.get(form[1:2], mark("year first")))


def settled_clock(cells: pl.Series, layout: Layout, where: str, *, typed: bool) -> ClockPlan:
    """Settle the time formats of a table that a layout fits."""
    plan = plan_clock(cells, layout.time_format, typed=typed)
    if plan.undecided:
        readings = tr(" or ").join(first_of(form) for form in plan.undecided)
        forms = tr(" or ").join(f"'{form}'" for form in plan.undecided)
        what = tr("'{example}' can be read {readings}, and no row decides", example=plan.example, readings=readings)
        raise IntakeError(Fault(what, where, tr("time_format = {forms} in layout '{id}'", forms=forms, id=layout.id)))
    return plan
