"""Clocks without a date: the date stands in the row that a day begins with, above the header or in the file's name."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import tr
from lineview.intake.cells.timestamps import read_clock, settled_clock
from lineview.plant import Layout

_CLOCK = r"^\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?: ?[AaPp]\.?[Mm]\.?)?$"
_DATES = (
    re.compile(r"(?<!\d)(?P<y>20\d\d)[-_./]?(?P<m>[01]\d)[-_./]?(?P<d>[0-3]\d)(?!\d)"),
    re.compile(r"(?<!\d)(?P<d>[0-3]?\d)\.(?P<m>[01]?\d)\.(?P<y>20\d\d)(?!\d)"),
)
#: A clock that falls by more than so many hours has gone over midnight.
_MIDNIGHT_H = 6


def are_clocks(cells: pl.Series) -> bool:
    """Whether most filled cells of a time column are clock times without a date."""
    bare = cells.head(2000).str.strip_chars()
    filled = bare.filter(bare != "")
    return bool(len(filled)) and int(filled.str.contains(_CLOCK).sum()) * 2 > len(filled)


def date_in(texts: Iterable[str]) -> date | None:
    """The one date that texts name, None where they name none or several."""
    dates = set()
    for text in texts:
        for form in _DATES:
            for match in form.finditer(text):
                try:
                    dates.add(date(int(match["y"]), int(match["m"]), int(match["d"])))
                except ValueError:
                    continue
    return dates.pop() if len(dates) == 1 else None


def day_cells(cells: pl.Series) -> pl.Series:
    """The filled cells of a column of clock times that are none."""
    bare = cells.str.strip_chars()
    return bare.filter((bare != "") & ~bare.str.contains(_CLOCK))


def dated(cells: pl.Series, first: date | None, layout: Layout, where: str) -> pl.Series:
    """Write times as ISO 8601, with the day before each clock time; cells that are no time stay as they are.

    The day is that of the last row with a date, else `first`, and the next one each time the clock runs over
    midnight.
    """
    bare = cells.str.strip_chars()
    clock = bare.str.contains(_CLOCK).fill_null(False)
    dates = layout if "%d" in layout.time_format else layout.model_copy(update={"time_format": "auto"})
    plan = settled_clock(day_cells(cells), dates, where, typed=False)
    read = read_clock(bare.set(clock, ""), [form for form in plan.formats if form not in ("excel",)][:3])
    day = read.naive.dt.date()
    seconds = clock_seconds(bare.set(~clock, None))
    if first is None and not (day.is_not_null() & ~clock).any():
        raise IntakeError(
            Fault(
                tr("its times have no date: the first is '{example}'", example=bare.filter(clock)[0]),
                where,
                tr("a date in each time, in the first row of a day, above the header or in the file's name"),
                tr("Put the day into the file's name, such as log_2026-06-08.csv."),
            )
        )
    frame = pl.DataFrame({"day": day, "clock": seconds, "at": read.naive}).with_columns(
        part=pl.col("day").is_not_null().cum_sum(),
        of=pl.coalesce("clock", pl.col("at").dt.time().cast(pl.Duration("us")).dt.total_seconds(fractional=True)),
    )
    over = (pl.col("of").forward_fill().diff() < -_MIDNIGHT_H * 3600).fill_null(False).cast(pl.Int64)
    day_so_far = pl.col("day").forward_fill().fill_null(pl.lit(first, dtype=pl.Date))
    nights = over.cum_sum() - pl.when(pl.col("day").is_not_null()).then(over.cum_sum()).forward_fill().fill_null(0)
    days = frame.select((day_so_far + pl.duration(days=nights)).dt.strftime("%Y-%m-%d")).to_series()
    hands = pl.select(
        (pl.lit(pl.Series([0])).cast(pl.Datetime("us")) + pl.duration(microseconds=(pl.lit(seconds) * 1e6).round()))
        .dt.strftime("%H:%M:%S%.f")
        .alias("clock")
    ).to_series()
    iso = pl.select(pl.format("{} {}", days, hands)).to_series()
    iso = iso.zip_with(clock, read.naive.dt.strftime("%Y-%m-%d %H:%M:%S%.f"))
    return iso.zip_with(iso.is_not_null(), bare)


def carried_down(date: pl.Series, clock: pl.Series) -> pl.Series:
    """Dates, where most cells are empty that of the last row with one, until the clock goes back."""
    blank = (date == "") & (clock != "")
    if int(blank.sum()) * 2 <= len(date):
        return date
    of = pl.coalesce(clock_seconds(clock), clock.cast(pl.Float64, strict=False))
    frame = pl.select(date=pl.lit(date), of=of).with_columns(part=(pl.col("date") != "").cum_sum())
    back = (pl.col("of").forward_fill().diff() < 0).fill_null(False).cum_max()
    above = pl.col("date").first().over("part")
    return frame.select(pl.when(back.over("part")).then("date").otherwise(above)).to_series()


def clock_seconds(cells: pl.Series) -> pl.Series:
    """Clock times [s] since midnight."""
    part = cells.str.extract_groups(
        r"^(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?(?: ?([AaPp])\.?[Mm]\.?)?$"
    ).struct.unnest()
    hour = pl.col("1").cast(pl.Int64)
    half = pl.col("4").str.to_lowercase()
    full = pl.when(half == "p").then(hour % 12 + 12).when(half == "a").then(hour % 12).otherwise(hour)
    second = pl.col("3").str.replace(",", ".", literal=True).cast(pl.Float64).fill_null(0.0)
    return part.select(full * 3600.0 + pl.col("2").cast(pl.Float64) * 60 + second).to_series()
