"""The moments of events: when they start and end, days and weeks of a plan."""

from __future__ import annotations

import polars as pl

from lineview.columns import UTC_US
from lineview.intake.bind_fields import BoundFields, FieldColumn
from lineview.intake.clock_cells import (
    Times,
    gap_notes,
    joined_cells,
    must_be_times,
    settled_clock,
    to_moments,
)
from lineview.intake.clock_plan import ClockPlan
from lineview.intake.clock_read import Clock, read_clock
from lineview.intake.heading import Heading
from lineview.intake.read_field import FieldCells
from lineview.intake.rows import Rows
from lineview.plant import Plant
from lineview.plant.fields import TIME_FIELD

_CLOCK_ONLY = r"^(?:(?:1899-12-3[01]|1904-01-01)[ T])?(\d{1,2}):(\d{2})(?::(\d{2}))?$"


def event_times(
    rows: Rows, bound: BoundFields, plant: Plant, file: tuple[str, bool, Heading]
) -> tuple[Rows, dict[str, FieldCells], tuple[str, ...]]:
    """Read the moments of a table's events; rows without the first are refused or passed over.

    Parameters
    ----------
    rows : Rows
        Under the heading.
    bound : BoundFields
        Where the fields are.
    plant : Plant
        For its zone.
    file : tuple of (str, bool, Heading)
        Where, for messages; whether cells come from a workbook; the heading.

    Returns
    -------
    tuple of (Rows, dict of str to FieldCells, tuple of str)
        The rows that have a moment, their moments by field, and notes.
    """
    where, typed, heading = file
    layout, first = bound.layout, TIME_FIELD[bound.layout.kind]
    weeks = bound.named("week")
    if weeks:
        return _weeks(rows, weeks[0], plant.zone, heading)
    own = bound.named(first)
    cells = rows.column(own[0].place) if own else joined_cells(rows, bound.times)
    others = [c for c in bound.columns if c.field.holds == "moment" and c.name != first]
    texts = [rows.column(c.place).filter(~_clock_only(rows.column(c.place))) for c in others]
    plan = settled_clock(pl.concat([cells, *texts]), layout, where, typed=typed)
    clock = read_clock(cells, plan.formats)
    key = None if bound.machine_place is None else rows.column(bound.machine_place)
    times = to_moments(clock.naive, clock.moment, cells, layout, plant.zone, key)
    found, naive = rows, clock.naive
    if times.reasons is not None:
        fine = times.reasons.is_null()
        found, naive = rows.without(times.reasons, heading.passed), naive.filter(fine)
        if not found.frame.height and found.refused.height:
            must_be_times(clock, cells, layout, where)
        times = Times(times.at.filter(fine), None, times.by_gap)
        key = None if key is None else key.filter(fine)
    fields = {first: FieldCells(first, own[0].header if own else "", times.at)}
    for column in others:
        fields[column.name] = _other(found, column, plan, bound, plant, (times.at, naive, key))
    if layout.kind == "plan":
        fields["end"] = _plan_end(fields, naive, layout.zone or plant.zone)
    return found, fields, gap_notes(times.by_gap)


def _clock_only(cells: pl.Series) -> pl.Series:
    return cells.str.strip_chars().str.contains(_CLOCK_ONLY)


def _other(
    rows: Rows,
    column: FieldColumn,
    plan: ClockPlan,
    bound: BoundFields,
    plant: Plant,
    start: tuple[pl.Series, pl.Series, pl.Series | None],
) -> FieldCells:
    """Read a further moment; one that is a clock time only is on the start's day or the next."""
    at, naive, key = start
    cells = rows.column(column.place)
    clock = read_clock(cells, plan.formats)
    short = _clock_only(cells)
    if short.any() and naive.null_count() < len(naive):
        on_day = _on_day(cells, naive)
        clock = Clock(on_day.zip_with(short, clock.naive), clock.moment)
    times = to_moments(clock.naive, clock.moment, cells, bound.layout, plant.zone, key)
    moments = times.at
    late = moments < at
    if late.any():  # start and end stand on either side of the clock's going back
        zone = bound.layout.zone or plant.zone
        other = clock.naive.dt.replace_time_zone(zone, ambiguous="latest", non_existent="null")
        moments = other.dt.convert_time_zone("UTC").cast(UTC_US).zip_with(late, moments)
    reasons = times.reasons
    if reasons is not None:
        blank = cells.str.strip_chars().is_in(["", "-", "--", "–", "n/a", "N/A"])
        reasons = reasons.set(blank, None)
    if column.name == "end":
        before = (moments < at).fill_null(False)
        if before.any():
            told = pl.select(pl.format("'{}' is before the start", cells.str.strip_chars())).to_series()
            base = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(cells))
            reasons = told.zip_with(before, base if reasons is None else reasons)
            moments = moments.set(before, None)
    return FieldCells(column.name, column.header, moments, reasons, cells)


def _on_day(cells: pl.Series, naive: pl.Series) -> pl.Series:
    frame = pl.DataFrame({"cell": cells.str.strip_chars(), "start": naive})
    part = pl.col("cell").str.extract_groups(_CLOCK_ONLY)
    seconds = sum(
        part.struct.field(str(i)).cast(pl.Int64).fill_null(0) * scale
        for i, scale in ((1, 3600), (2, 60), (3, 1))
    )
    on_day = pl.col("start").dt.truncate("1d") + pl.duration(seconds=seconds)
    later = pl.when(on_day < pl.col("start")).then(on_day + pl.duration(days=1)).otherwise(on_day)
    return frame.select(later.cast(pl.Datetime("us"))).to_series()


def _plan_end(fields: dict[str, FieldCells], naive: pl.Series, zone: str) -> FieldCells:
    """Give the ends of a plan's rows: a day that has none, or ends when it starts, lasts until midnight."""
    start = fields["start"].values
    next_day = (naive.dt.truncate("1d") + pl.Series([1]).cast(pl.Duration("us")) * 86_400_000_000).dt
    midnight = next_day.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    midnight = midnight.dt.convert_time_zone("UTC").cast(UTC_US)
    if "end" not in fields:
        return FieldCells("end", "", midnight)
    end = fields["end"]
    open_ = (end.values.is_null() & end.reasons().is_null()) | (end.values == start)
    return FieldCells(
        "end", end.header, midnight.zip_with(open_.fill_null(False), end.values), end.why, end.texts
    )


def _weeks(
    rows: Rows, column: FieldColumn, zone: str, heading: Heading
) -> tuple[Rows, dict[str, FieldCells], tuple[str, ...]]:
    """Read weeks as ISO 8601 counts them: from Monday to Monday in the plant's zone."""
    cells = rows.column(column.place)
    text = cells.str.strip_chars().str.to_uppercase()
    # year first, as 2026-W15, or last, as KW 15/2026
    first = text.str.extract_groups(r"^(?<y>\d{4})\D{0,6}(?<w>\d{1,2})$")
    last = text.str.extract_groups(r"^\D{0,8}(?<w>\d{1,2})\D{1,3}(?<y>\d{4})$")
    part = pl.DataFrame({"a": first, "b": last}).select(
        pl.coalesce(pl.col("a").struct.field(n), pl.col("b").struct.field(n)).alias(n) for n in ("y", "w")
    )
    monday = part.select(
        (pl.col("y") + "-W" + pl.col("w").str.zfill(2) + "-1").str.to_date("%G-W%V-%u", strict=False)
    ).to_series()
    reasons = pl.select(
        pl.when(monday.is_null()).then(pl.format("'{}' is no week with its year", cells.str.strip_chars()))
    ).to_series()
    found = rows.without(reasons, heading.passed)
    monday = monday.drop_nulls()
    start, end = (_midnights(monday, days, zone) for days in (0, 7))
    fields = {
        "start": FieldCells("start", column.header, start),
        "end": FieldCells("end", column.header, end),
    }
    return found, fields, ()


def _midnights(days: pl.Series, later: int, zone: str) -> pl.Series:
    moved = (
        days.to_frame("d").select((pl.col("d") + pl.duration(days=later)).cast(pl.Datetime("us"))).to_series()
    )
    local = moved.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    return local.dt.convert_time_zone("UTC").cast(UTC_US)
