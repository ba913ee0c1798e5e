"""Cells to times: wall-clock times and moments, in formats that are known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from lineview.columns import UTC_US
from lineview.intake.months import english_months

#: Formats that are numbers: a spreadsheet's serial days, seconds and milliseconds since 1970 in UTC.
NUMERIC = ("excel", "epoch s", "epoch ms")
_NAIVE = pl.Datetime("us")
_FIRST_YEAR, _LAST_YEAR = 1970, 2099
#: The first moment after those years [µs since 1970].
_END_US = 4_102_444_800_000_000
#: Serial 0 of the 1900 date system for days after its phantom 29 February 1900 (serial 60).
_SERIAL_ZERO = datetime(1899, 12, 30)  # noqa: DTZ001 - a spreadsheet's days have no zone


@dataclass(frozen=True)
class Clock:
    """What time cells say: wall-clock times, or moments where the cell carries its offset.

    For each cell at most one of the two is there.
    """

    naive: pl.Series
    moment: pl.Series


def read_clock(texts: pl.Series, formats: Sequence[str]) -> Clock:
    """Read a column of time cells, trying each format on those no earlier one could read.

    Parameters
    ----------
    texts : polars.Series of String
        Cells; two columns already joined with one blank.
    formats : sequence of str
        As ClockPlan gives them.

    Returns
    -------
    Clock
        Null in both where the cell is no time.

    Notes
    -----
    "24:00" is midnight at the day's end. Source: iso-8601

    Examples
    --------
    >>> read_clock(pl.Series(["45962.25"]), ["excel"]).naive.to_list()
    [datetime.datetime(2025, 11, 1, 6, 0)]
    """
    clock = _try_all(texts, formats)
    open_ = clock.naive.is_null() & clock.moment.is_null() & (texts.str.len_bytes() > 0)
    if not open_.any():
        return clock
    odd = open_.arg_true()
    rest = spaced_alike(texts.gather(odd))
    again = _try_all(rest, formats)
    late = rest.str.contains(r"\b24:00(:00)?")
    if late.any():
        moved = _try_all(rest.str.replace(r"\b24:00", "00:00"), formats)
        day = pl.duration(days=1)
        next_day = pl.DataFrame({"n": moved.naive, "m": moved.moment}).select(pl.all() + day)
        again = Clock(next_day["n"].zip_with(late, again.naive), next_day["m"].zip_with(late, again.moment))
    return Clock(clock.naive.scatter(odd, again.naive), clock.moment.scatter(odd, again.moment))


def spaced_alike(texts: pl.Series) -> pl.Series:
    """Make blanks single and plain, drop a weekday in front, write months in English."""
    bare = texts.str.replace_all(r"\s+", " ").str.strip_chars()
    bare = bare.str.replace(r"^\pL{2,10}\.?,? (\d{1,4}[./-]|\d{1,2}\.? \pL)", "$1")
    return english_months(bare) if bare.str.contains(r"\pL{3}").any() else bare


def parse_one(texts: pl.Series, form: str) -> pl.Series:
    """Read cells in one format; null where one is not written so. Years outside 1970 to 2099 are none.

    Parameters
    ----------
    texts : polars.Series of String
        Cells.
    form : str
        One of NUMERIC, or a pattern of polars.
    """
    if form in NUMERIC:
        return _numeric(texts, form)
    if "%.f" in form:
        texts = texts.str.replace(r",(\d+)", ".$1")
    if "%p" in form:
        texts = texts.str.replace(r"(?i)([ap])\.?m\.?", "${1}m")
    if form.endswith("Z"):
        texts, form = texts.str.replace(r" ?(Z|UTC|GMT)$", ""), form[:-1].rstrip()
        return _sane(texts.str.to_datetime(form, time_unit="us", strict=False)).dt.replace_time_zone("UTC")
    if form.endswith("%z"):
        texts = texts.str.replace(r"([+-]\d{2})$", "${1}:00")
        return _sane(texts.str.to_datetime(form, time_unit="us", strict=False))
    # times of a log seldom repeat: looking each up among those read before is work for nothing
    return _sane(texts.str.to_datetime(form, time_unit="us", strict=False, cache=False))


def _sane(times: pl.Series) -> pl.Series:
    if times.null_count() == len(times):
        return times
    # as microseconds, for the years of millions of times are a quarter of the work of reading them
    moments = times.to_physical()
    if int(moments.min()) >= 0 and int(moments.max()) < _END_US:  # type: ignore[arg-type]  # whole numbers
        return times
    return times.set(~times.dt.year().is_between(_FIRST_YEAR, _LAST_YEAR), None)


def _numeric(texts: pl.Series, form: str) -> pl.Series:
    whole = texts.cast(pl.Int64, strict=False)
    if form != "excel" and whole.null_count() == texts.null_count():
        steps = 1_000_000 if form == "epoch s" else 1_000
        return _sane(_in_range(whole.cast(pl.Float64), form, whole * steps).cast(UTC_US))
    number = texts.str.strip_chars().str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
    number = number.set(~number.is_finite(), None)
    if form == "excel":
        milliseconds = _in_range(number, form, (number * 86_400_000.0).round())
        zero = pl.Series([_SERIAL_ZERO], dtype=_NAIVE)
        return _sane(zero + (milliseconds.cast(pl.Int64) * 1000).cast(pl.Duration("us")))
    unit = 1e6 if form == "epoch s" else 1e3
    return _sane(_in_range(number, form, (number * unit).round()).cast(pl.Int64).cast(UTC_US))


def _in_range(number: pl.Series, form: str, value: pl.Series) -> pl.Series:
    """Null out what is no plausible serial or epoch before it is turned into a time."""
    high = {"excel": 8e4, "epoch s": 4.2e9, "epoch ms": 4.2e12}[form]
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
            whole = _nothing(size, is_moment) if old is None else old
            whole = whole.scatter(open_, read)
            naive, moment = (naive, whole) if is_moment else (whole, moment)
        left = read.is_null().arg_true()
        open_ = left if open_ is None else open_.gather(left)
    return Clock(
        _nothing(size, False) if naive is None else naive, _nothing(size, True) if moment is None else moment
    )


def _nothing(size: int, is_moment: bool) -> pl.Series:
    return pl.Series("t", [None], dtype=UTC_US if is_moment else _NAIVE).new_from_index(0, size)
