"""In which formats a file writes its times, settled once for all its time cells."""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from lineview.intake.clock_formats import formats_in
from lineview.intake.clock_read import NUMERIC, parse_one, spaced_alike

_ISO = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%d", "%Y-%m-%dT%H:%M:%S%.f")
_SAMPLE = 150


@dataclass(frozen=True)
class ClockPlan:
    """The formats to try in turn, and the two between which nothing decides.

    Parameters
    ----------
    formats : tuple of str
        "excel", "epoch s", "epoch ms" or patterns of polars.
    undecided : tuple of (str, str) or None
        Day first and month first, where every cell fits both.
    example : str
        A cell that fits both.
    """

    formats: tuple[str, ...]
    undecided: tuple[str, str] | None = None
    example: str = ""


def plan_clock(texts: pl.Series, declared: str, *, typed: bool = False) -> ClockPlan:
    """Settle the formats of a file's times.

    Parameters
    ----------
    texts : polars.Series of String
        All time cells of the file.
    declared : str
        The layout's `time_format`; "" or "auto" to tell it from the cells.
    typed : bool
        Whether the cells come from a workbook, where a date stands as ISO text whatever it looks like.

    Returns
    -------
    ClockPlan
        Without formats where no cell looks like a time.

    Examples
    --------
    >>> plan_clock(pl.Series(["13/05/2026 06:00"]), "auto").formats
    ('%d/%m/%Y %H:%M',)
    >>> plan_clock(pl.Series(["05/06/2026 06:00"]), "auto").undecided
    ('%d/%m/%Y %H:%M', '%m/%d/%Y %H:%M')
    """
    sample = _sample(texts)
    if declared not in ("", "auto", "iso"):
        return ClockPlan(_declared(declared, sample, typed))
    found = formats_in(sample)
    if declared == "iso":
        found = [formats for formats in found if formats[0].startswith("%Y")]
        return ClockPlan(tuple(dict.fromkeys([f[0] for f in found] + list(_ISO[:2]))))
    numeric = _numeric_kind(sample)
    if numeric and not found:
        return ClockPlan((numeric, *(_ISO if typed else ())))
    twins = [formats for formats in found if len(formats) > 1]
    first = _day_or_month(texts, twins) if twins else 0
    if first is None:
        pair = twins[0]
        fits = texts.filter(parse_one(texts, pair[0]).is_not_null())
        return ClockPlan(tuple(f[0] for f in found), (pair[0], pair[1]), fits[0] if len(fits) else "")
    chosen = [formats[first] if len(formats) > 1 else formats[0] for formats in found]
    return ClockPlan(tuple(dict.fromkeys([*chosen, *((numeric,) if numeric else ())])))


def _sample(texts: pl.Series) -> list[str]:
    """Give cells from the start, the middle and the end."""
    middle = len(texts) // 2
    parts = [texts.head(_SAMPLE), texts.slice(middle, _SAMPLE), texts.tail(_SAMPLE)]
    return [cell for cell in spaced_alike(pl.concat(parts)).to_list() if cell]


def _declared(declared: str, sample: list[str], typed: bool) -> tuple[str, ...]:
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
    spans = {"excel": (2.5e4, 8e4), "epoch s": (1e8, 4.2e9), "epoch ms": (1e11, 4.2e12)}
    return next((kind for kind, (low, high) in spans.items() if low < middle < high), "")


def _day_or_month(texts: pl.Series, twins: list[tuple[str, ...]]) -> int | None:
    """Give 0 for day first, 1 for month first, None where nothing decides or cells contradict."""
    day_only = month_only = differ = False
    for day, month in twins:
        by_day, by_month = parse_one(texts, day), parse_one(texts, month)
        day_only |= bool((by_day.is_not_null() & by_month.is_null()).any())
        month_only |= bool((by_month.is_not_null() & by_day.is_null()).any())
        differ |= bool((by_day != by_month).any())
    if day_only != month_only:
        return 0 if day_only else 1
    return None if differ or day_only else 0
