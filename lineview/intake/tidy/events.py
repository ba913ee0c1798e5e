"""A table of weights, batches, stops, reels, stock or plan under a layout."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import PurePath

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import UTC_US
from lineview.core.language import tr
from lineview.intake import refusal_reasons
from lineview.intake.cells.dateless import are_clocks, date_in, dated
from lineview.intake.cells.far_times import far_times
from lineview.intake.cells.numbers import SeparatorCounts, evidence_of_all
from lineview.intake.cells.timestamp_columns import (
    Times,
    as_marked,
    gap_notes,
    joined_cells,
    must_be_times,
    must_have_24_hours,
    to_moments,
)
from lineview.intake.cells.timestamps import Clock, ClockPlan, read_clock, settled_clock
from lineview.intake.detect.delimited import Records
from lineview.intake.detect.header import TOTALS, Heading, same, says_running
from lineview.intake.layout.bind import BoundFields, FieldColumn, bind_fields
from lineview.intake.outcome import Outcome, outcome, settled_marks
from lineview.intake.tidy.readings import machine_column
from lineview.intake.tidy.rows import REFUSED, FieldCells, Rows, data_rows, read_field
from lineview.plant import Layout, Plant
from lineview.plant.fields import ESSENTIAL, SCHEMAS, TIME_FIELD

_CLOCK_ONLY = r"^(?:(?:1899-12-3[01]|1904-01-01)[ T])?(\d{1,2}):(\d{2})(?::(\d{2}))?$"


def event_times(
    rows: Rows, bound: BoundFields, plant: Plant, file: tuple[str, bool, Heading], now: datetime | None
) -> tuple[Rows, dict[str, FieldCells], tuple[str, ...]]:
    """Read the moments of a table's events; rows without the first are refused or passed over."""
    where, typed, heading = file
    layout, first = bound.layout, TIME_FIELD[bound.layout.kind]
    weeks = bound.columns_of("week")
    if weeks:
        return _weeks(rows, weeks[0], plant.zone, heading)
    start_columns = bound.columns_of(first)
    cells = rows.column(start_columns[0].place) if start_columns else joined_cells(rows, bound.times)
    if len(bound.times) == 1 and not start_columns and are_clocks(cells):
        cells = dated(cells, date_in([*heading.preamble, PurePath(where).name]), layout, where)
        layout = layout.model_copy(update={"time_format": "auto"})
    others = [c for c in bound.columns if c.field.holds == "moment" and c.name != first]
    texts = [rows.column(c.place).filter(~_clock_only(rows.column(c.place))) for c in others]
    plan = settled_clock(pl.concat([cells, *texts]), layout, where, typed=typed)
    clock = as_marked(cells, read_clock(cells, plan.formats), layout, plant.zone, where)
    key = None if bound.machine_place is None else rows.column(bound.machine_place)
    must_have_24_hours(clock.naive, where)
    if layout.kind in ("stops", "batches") and _are_days(clock.naive):
        what, do = tr("its rows have a date and no clock"), tr("Export when each began, with its hour and minute.")
        raise IntakeError(Fault(what, where, tr("a date and a clock in each row"), do))
    times = to_moments(clock.naive, clock.moment, cells, layout, plant.zone, key)
    times = times.without(far_times(times.at, layout, now, where), cells)
    usable, naive = rows, clock.naive
    if times.reasons is not None:
        fine = times.reasons.is_null()
        usable, naive = rows.without(times.reasons, heading.passed), naive.filter(fine)
        if usable.refused.height:
            must_be_times(clock, cells, layout, where)
        times = Times(times.at.filter(fine), None, times.by_gap, times.notes)
        key = None if key is None else key.filter(fine)
    fields = {first: FieldCells(first, start_columns[0].header if start_columns else "", times.at)}
    for column in others:
        fields[column.name] = _other(usable, column, plan, bound, plant, (times.at, naive, key))
    if layout.kind == "plan":
        fields["end"] = _plan_end(fields, naive, layout.zone or plant.zone)
    return usable, fields, (*times.notes, *gap_notes(times.by_gap))


def _are_days(naive: pl.Series) -> bool:
    """Whether several moments are all of a midnight, as dates without a clock are."""
    days = naive.drop_nulls()
    return len(days) > 1 and bool((days == days.dt.truncate("1d")).all())


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
    clock = as_marked(cells, read_clock(cells, plan.formats), bound.layout, plant.zone, column.header)
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
            before_start = pl.select(pl.format(refusal_reasons.BEFORE_START, cells.str.strip_chars())).to_series()
            base = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(cells))
            reasons = before_start.zip_with(before, base if reasons is None else reasons)
            moments = moments.set(before, None)
    return FieldCells(column.name, column.header, moments, reasons, cells)


def _on_day(cells: pl.Series, naive: pl.Series) -> pl.Series:
    frame = pl.DataFrame({"cell": cells.str.strip_chars(), "start": naive})
    part = pl.col("cell").str.extract_groups(_CLOCK_ONLY)
    seconds = sum(
        part.struct.field(str(i)).cast(pl.Int64).fill_null(0) * scale for i, scale in ((1, 3600), (2, 60), (3, 1))
    )
    on_day = pl.col("start").dt.truncate("1d") + pl.duration(seconds=seconds)
    later = pl.when(on_day < pl.col("start")).then(on_day + pl.duration(days=1)).otherwise(on_day)
    return frame.select(later.cast(pl.Datetime("us"))).to_series()


def _plan_end(fields: dict[str, FieldCells], naive: pl.Series, zone: str) -> FieldCells:
    """The ends of a plan's rows: a day that has none, or ends when it starts, lasts until midnight."""
    start = fields["start"].values
    next_day = (naive.dt.truncate("1d") + pl.Series([1]).cast(pl.Duration("us")) * 86_400_000_000).dt
    midnight = next_day.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    midnight = midnight.dt.convert_time_zone("UTC").cast(UTC_US)
    if "end" not in fields:
        return FieldCells("end", "", midnight)
    end = fields["end"]
    open_ = (end.values.is_null() & end.reasons().is_null()) | (end.values == start)
    return FieldCells("end", end.header, midnight.zip_with(open_.fill_null(False), end.values), end.why, end.texts)


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
        pl.when(monday.is_null()).then(pl.format(refusal_reasons.NOT_A_WEEK, cells.str.strip_chars()))
    ).to_series()
    usable = rows.without(reasons, heading.passed)
    monday = monday.drop_nulls()
    start, end = (_midnights(monday, days, zone) for days in (0, 7))
    fields = {"start": FieldCells("start", column.header, start), "end": FieldCells("end", column.header, end)}
    return usable, fields, ()


def _midnights(days: pl.Series, later: int, zone: str) -> pl.Series:
    midnights = days.to_frame("d").select((pl.col("d") + pl.duration(days=later)).cast(pl.Datetime("us"))).to_series()
    local = midnights.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    return local.dt.convert_time_zone("UTC").cast(UTC_US)


def take_events(
    tables: list[Records], heading: Heading, layout: Layout, plant: Plant, where: str, now: datetime | None = None
) -> Outcome:
    """Read a table whose rows are events."""
    records = tables.pop()
    bound = bind_fields(layout, heading, plant, where)
    places = [*bound.times, *(column.place for column in bound.columns), bound.machine_place, bound.line_place]
    rows = data_rows(records, heading, [place for place in places if place is not None])
    number_columns = [c for c in bound.columns if c.field.holds in ("number", "whole", "duration")]

    def gathered() -> SeparatorCounts:
        return evidence_of_all(rows.column(column.place) for column in number_columns)

    rows, times, notes = event_times(rows, bound, plant, (where, records.is_sheet, heading), now)
    marks = settled_marks(layout, gathered, records.separator, where)
    fields = {**times, **_owners(rows, bound, plant)}
    masses = [c for c in bound.columns if c.name == "mass_g"]
    for column in bound.columns:
        if column.field.holds not in ("moment", "week") and column not in masses:
            fields[column.name] = _with_web_ids(read_field(rows.column(column.place), column, marks, where), plant)
    if layout.kind == "stops":
        fields["start"] = _starts_of_stops(rows, fields, bound)
    if "duration" in fields:
        notes = (*notes, *_contradicted(rows, fields))
        fields["end"] = _end_by_duration(fields)
    if "web" in ESSENTIAL[layout.kind] and "web" not in fields:
        fields["web"] = FieldCells("web", "web", pl.repeat(plant.webs[0].id, rows.frame.height, eager=True))
    if not masses:
        return _close(rows, [fields], bound, (*notes, *bound.notes))
    weighings = [{**fields, "mass_g": read_field(rows.column(c.place), c, marks, where)} for c in masses]
    return _close(rows, weighings, bound, (*notes, *bound.notes))


def _owners(rows: Rows, bound: BoundFields, plant: Plant) -> dict[str, FieldCells]:
    """Each row's machine and line where the kind has them."""
    schema, height = SCHEMAS[bound.layout.kind], rows.frame.height
    machine = machine_column(bound.machine_place, bound.machine, rows, plant)
    if machine is None:
        machine = pl.repeat(bound.machine, height, dtype=pl.String, eager=True)
    owners = {}
    if "machine" in schema:
        why = None
        if bound.machine_place is not None:
            cells = rows.column(bound.machine_place).str.strip_chars()
            why = pl.select(
                pl.when(machine.is_null()).then(pl.format(refusal_reasons.UNKNOWN_MACHINE, cells))
            ).to_series()
        owners["machine"] = FieldCells("machine", bound.layout.machine_column, machine, why)
    if "line" in schema:
        of_machine = {m.id: m.line for m in plant.machines}
        line = machine.replace_strict(of_machine, default=None, return_dtype=pl.String())
        line = line.fill_null(bound.line) if bound.line else line
        owners["line"] = FieldCells("line", "", line)
        if bound.line_place is not None:
            owners["line"] = _lines(rows.column(bound.line_place).str.strip_chars(), line, plant)
    return owners


def _lines(cells: pl.Series, fallback: pl.Series, plant: Plant) -> FieldCells:
    """The lines that cells name by id or name; an empty one means the layout's."""
    ids = {same(text): line.id for line in plant.lines for text in (line.id, line.name) if text}
    distinct = cells.unique().to_list()
    line_ids = cells.replace_strict({cell: ids.get(same(cell)) for cell in distinct}, return_dtype=pl.String())
    line_ids = fallback.zip_with(cells == "", line_ids)
    why = pl.select(
        pl.when(line_ids.is_null() & (cells != "")).then(pl.format(refusal_reasons.UNKNOWN_LINE, cells))
    ).to_series()
    return FieldCells("line", "line", line_ids, why)


def _with_web_ids(cells: FieldCells, plant: Plant) -> FieldCells:
    """Bring the names of webs to their ids; other fields stay as they are."""
    if cells.name != "web":
        return cells
    ids = {same(text): web.id for web in plant.webs for text in (web.id, web.name) if text}
    distinct = cells.values.unique().drop_nulls().to_list()
    meaning = {name: ids.get(same(name)) for name in distinct}
    web_ids = cells.values.replace_strict(meaning, default=None, return_dtype=pl.String())
    why = pl.select(
        pl.when(web_ids.is_null() & cells.values.is_not_null()).then(
            pl.format(refusal_reasons.UNKNOWN_WEB, cells.values)
        )
    ).to_series()
    return FieldCells(cells.name, cells.header, web_ids, why, cells.texts)


def _starts_of_stops(rows: Rows, fields: dict[str, FieldCells], bound: BoundFields) -> FieldCells:
    """The start of each row that is a stop; there is none where one says that the machine runs, or adds up others."""
    start, why = fields["start"], fields["start"].reasons()
    for column in (c for c in bound.columns if c.field.holds == "text"):
        cells = rows.column(column.place).str.strip_chars()
        running = [cell for cell in cells.unique() if says_running(column.header, cell)]
        no_stop = pl.select(pl.format(refusal_reasons.NO_STOP, cells)).to_series()
        why = no_stop.zip_with(cells.is_in(running), why)
    if "duration" in fields:
        sums = _sums(rows, fields["duration"].values)
        added = pl.select(pl.format(refusal_reasons.SUM_OF_ROWS, fields["duration"].texts)).to_series()
        why = added.zip_with(sums, why)
    return FieldCells(start.name, start.header, start.values.set(why.is_not_null(), None), why)


def _sums(rows: Rows, values: pl.Series) -> pl.Series:
    """Which rows have a cell such as "total" and the sum of all other rows, or of those since the last sum [s]."""
    has_total = [any(map(TOTALS.match, re.split(r"[;,|\t]", text))) for text in rows.frame["text"]]
    sums, seconds, first = [False] * len(has_total), values.fill_null(0.0), 0
    each = 60.0 if (seconds % 60 == 0).all() else 6.0  # what is added up was rounded
    others = seconds.filter(~pl.Series(has_total, dtype=pl.Boolean))
    for place in (place for place, is_total in enumerate(has_total) if is_total and seconds[place]):
        parts = (seconds[first:place], others)
        if any(len(part) and abs(seconds[place] - part.sum()) <= each * (len(part) + 1) / 2 for part in parts):
            sums[place], first = True, place + 1
    return pl.Series(sums, dtype=pl.Boolean)


def _end_by_duration(fields: dict[str, FieldCells]) -> FieldCells:
    """The end of each row by its duration where no end is written."""
    duration = fields["duration"]
    span = (duration.values * 1e6).round().cast(pl.Int64).cast(pl.Duration("us"))
    by_span = fields["start"].values + span
    if "end" not in fields:
        return FieldCells("end", duration.header, by_span)
    end = fields["end"]
    return FieldCells("end", end.header, end.values.zip_with(end.values.is_not_null(), by_span), end.why, end.texts)


def _contradicted(rows: Rows, fields: dict[str, FieldCells]) -> list[str]:
    """Say where an end lies otherwise than start and duration say, by more than both are rounded to."""
    if "end" not in fields:
        return []
    times = pl.DataFrame({"start": fields["start"].values, "end": fields["end"].values})
    frame = times.select(
        apart=(pl.col("end") - pl.col("start")).dt.total_microseconds() / 1e6 - fields["duration"].values,
        duration=fields["duration"].values,
        second=pl.col("start").dt.second().cast(pl.Float64) + pl.col("end").dt.second(),
        row=rows.number,
    ).drop_nulls()
    by = {"duration": (360, 60, 6), "second": (60,)}
    rounded = [next((s for s in steps if not (frame[name] % s != 0).any()), 1) for name, steps in by.items()]
    wrong = frame.filter(pl.col("apart").abs() > sum(rounded))
    note = tr(
        "{count:,} of {rows:,} stops end otherwise than by their duration, the first in line {row}: the end counts",
        count=wrong.height,
        rows=frame.height,
        row=min(wrong["row"], default=0),
    )
    return [note] if wrong.height else []


def _close(rows: Rows, variants: list[dict[str, FieldCells]], bound: BoundFields, notes: tuple[str, ...]) -> Outcome:
    """Make the tidy rows and refuse those that lack what is essential."""
    layout = bound.layout
    is_kept = pl.repeat(False, rows.frame.height, dtype=pl.Boolean, eager=True)
    refused, tidy = [], []
    for fields in variants:
        good, reasons = _usable(fields, layout)
        is_kept = is_kept | good
        refused += [_cells(rows, field) for field in fields.values()]
        refused.append(_refused_rows(rows, reasons))
        tidy.append(_frame(rows, fields, bound).filter(good))
    cells = pl.concat([frame for frame in refused if frame.height] or [pl.DataFrame(schema=REFUSED)])
    cells = cells.unique(maintain_order=True)
    refused_cells = cells.filter((pl.col("column") != "") | ~pl.col("row").is_in(rows.number.filter(is_kept).implode()))
    order = (pl.col("column") != "").cast(pl.Int8)
    return outcome(layout, pl.concat(tidy), rows, is_kept, refused_cells.sort("row", order, maintain_order=True), notes)


def _usable(fields: dict[str, FieldCells], layout: Layout) -> tuple[pl.Series, pl.Series]:
    """Which rows have all that is essential, and what the others lack."""
    lacks = pl.lit(None, dtype=pl.String)
    frame = pl.DataFrame([field.values.alias(name) for name, field in fields.items()])
    for need in reversed(ESSENTIAL[layout.kind]):
        names = [name for name in ((need,) if isinstance(need, str) else need) if name in frame.columns]
        reasons = [fields[name].reasons().alias(f"why {name}") for name in names]
        frame = frame.with_columns(reasons)
        no_field = refusal_reasons.NO_FIELD.format(need if isinstance(need, str) else " or ".join(need))
        why = pl.coalesce([*[f"why {name}" for name in names], pl.lit(no_field)])
        missing = pl.all_horizontal(pl.col(name).is_null() for name in names) if names else pl.lit(True)
        lacks = pl.when(missing).then(why).otherwise(lacks)
    if layout.kind == "weights" and "pieces" in fields:
        why = pl.lit(fields["pieces"].reasons())
        lacks = pl.when(why.is_not_null()).then(why).otherwise(lacks)
    lacking = frame.select(lacks.alias("why")).to_series()
    return lacking.is_null(), lacking


def _cells(rows: Rows, field: FieldCells) -> pl.DataFrame:
    if field.why is None or field.texts is None:
        return pl.DataFrame(schema=REFUSED)
    frame = pl.DataFrame({"row": rows.number, "text": field.texts, "reason": field.why})
    frame = frame.filter(pl.col("reason").is_not_null())
    return frame.select("row", pl.lit(field.header).alias("column"), "text", "reason")


def _refused_rows(rows: Rows, reasons: pl.Series) -> pl.DataFrame:
    frame = rows.frame.select("row", pl.lit("").alias("column"), "text", reasons.alias("reason"))
    return frame.filter(pl.col("reason").is_not_null())


def _frame(rows: Rows, fields: dict[str, FieldCells], bound: BoundFields) -> pl.DataFrame:
    schema = SCHEMAS[bound.layout.kind]
    columns = {name: field.values for name, field in fields.items() if name in schema}
    fixed = {"intake": 0, "gross": bound.layout.gross}
    frame = pl.DataFrame([rows.number.alias("row"), *[values.alias(name) for name, values in columns.items()]])
    frame = frame.with_columns(
        pl.lit(fixed.get(name)).cast(kind).alias(name) for name, kind in schema.items() if name not in frame.columns
    )
    if bound.layout.kind == "weights":
        frame = frame.with_columns(pl.col("pieces").fill_null(1))
    return frame.select(pl.col(name).cast(kind) for name, kind in schema.items())
