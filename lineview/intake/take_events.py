"""A table of weights, batches, stops, reels, stock or plan under a layout."""

from __future__ import annotations

import polars as pl

from lineview.intake.bind_fields import BoundFields, bind_fields
from lineview.intake.event_times import event_times
from lineview.intake.heading import Heading, same
from lineview.intake.number_cells import Evidence, evidence_of_all
from lineview.intake.outcome import Outcome, outcome, settled_marks
from lineview.intake.read_field import FieldCells, read_field
from lineview.intake.readings import machine_column
from lineview.intake.records import Records
from lineview.intake.rows import REFUSED, Rows, data_rows
from lineview.plant import Layout, Plant
from lineview.plant.fields import ESSENTIAL, SCHEMAS


def take_events(tables: list[Records], heading: Heading, layout: Layout, plant: Plant, where: str) -> Outcome:
    """Read a table whose rows are events.

    Parameters
    ----------
    tables : list of Records
        One table.
    heading : Heading
        Where its header is and what it says.
    layout : Layout
        Whose headers are all there; any kind but readings.
    plant : Plant
        The plant description.
    where : str
        The file, for messages.

    Returns
    -------
    Outcome
        The kind's tidy rows and refusals.

    Raises
    ------
    IntakeError
        Where the layout cannot be used on this table at all.
    """
    records = tables.pop()
    bound = bind_fields(layout, heading, plant, where)
    places = [
        *bound.times,
        *(column.place for column in bound.columns),
        bound.machine_place,
        bound.line_place,
    ]
    rows = data_rows(records, heading, [place for place in places if place is not None])
    number_columns = [c for c in bound.columns if c.field.holds in ("number", "whole", "duration")]

    def gathered() -> Evidence:
        return evidence_of_all(rows.column(column.place) for column in number_columns)

    rows, times, notes = event_times(rows, bound, plant, (where, records.is_sheet, heading))
    marks = settled_marks(layout, gathered, records.separator, where)
    fields = {**times, **_owners(rows, bound, plant)}
    masses = [c for c in bound.columns if c.name == "mass_g"]
    for column in bound.columns:
        if column.field.holds not in ("moment", "week") and column not in masses:
            fields[column.name] = _checked(read_field(rows.column(column.place), column, marks, where), plant)
    if "duration" in fields:
        fields["end"] = _end_by_duration(fields)
    if "web" in ESSENTIAL[layout.kind] and "web" not in fields:
        fields["web"] = FieldCells("web", "web", pl.repeat(plant.webs[0].id, rows.frame.height, eager=True))
    if not masses:
        return _close(rows, [fields], bound, (*notes, *bound.notes))
    weighings = [{**fields, "mass_g": read_field(rows.column(c.place), c, marks, where)} for c in masses]
    return _close(rows, weighings, bound, (*notes, *bound.notes))


def _owners(rows: Rows, bound: BoundFields, plant: Plant) -> dict[str, FieldCells]:
    """Give each row's machine and line where the kind has them."""
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
                pl.when(machine.is_null()).then(pl.format("unknown machine '{}'", cells))
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
    """Give the lines that cells name by id or name; an empty one means the layout's."""
    ids = {same(text): line.id for line in plant.lines for text in (line.id, line.name) if text}
    distinct = cells.unique().to_list()
    known = cells.replace_strict({cell: ids.get(same(cell)) for cell in distinct}, return_dtype=pl.String())
    known = fallback.zip_with(cells == "", known)
    why = pl.select(
        pl.when(known.is_null() & (cells != "")).then(pl.format("unknown line '{}'", cells))
    ).to_series()
    return FieldCells("line", "line", known, why)


def _checked(cells: FieldCells, plant: Plant) -> FieldCells:
    """Bring the names of webs to their ids; other fields stay as they are."""
    if cells.name != "web":
        return cells
    ids = {same(text): web.id for web in plant.webs for text in (web.id, web.name) if text}
    distinct = cells.values.unique().drop_nulls().to_list()
    meaning = {name: ids.get(same(name)) for name in distinct}
    known = cells.values.replace_strict(meaning, default=None, return_dtype=pl.String())
    why = pl.select(
        pl.when(known.is_null() & cells.values.is_not_null()).then(
            pl.format("unknown web '{}'", cells.values)
        )
    ).to_series()
    return FieldCells(cells.name, cells.header, known, why, cells.texts)


def _end_by_duration(fields: dict[str, FieldCells]) -> FieldCells:
    """Give the end of each row by its duration where no end is written."""
    duration = fields["duration"]
    span = (duration.values * 1e6).round().cast(pl.Int64).cast(pl.Duration("us"))
    by_span = fields["start"].values + span
    if "end" not in fields:
        return FieldCells("end", duration.header, by_span)
    end = fields["end"]
    return FieldCells(
        "end", end.header, end.values.zip_with(end.values.is_not_null(), by_span), end.why, end.texts
    )


def _close(
    rows: Rows, variants: list[dict[str, FieldCells]], bound: BoundFields, notes: tuple[str, ...]
) -> Outcome:
    """Make the tidy rows and refuse those that lack what is essential."""
    layout = bound.layout
    kept = pl.repeat(False, rows.frame.height, dtype=pl.Boolean, eager=True)
    refused, tidy = [], []
    for fields in variants:
        good, reasons = _usable(fields, layout)
        kept = kept | good
        refused += [_cells(rows, field) for field in fields.values()]
        refused.append(_lost(rows, reasons))
        tidy.append(_frame(rows, fields, bound).filter(good))
    cells = pl.concat([frame for frame in refused if frame.height] or [pl.DataFrame(schema=REFUSED)])
    cells = cells.unique(maintain_order=True)
    whole = cells.filter((pl.col("column") != "") | ~pl.col("row").is_in(rows.number.filter(kept).implode()))
    order = (pl.col("column") != "").cast(pl.Int8)
    return outcome(layout, pl.concat(tidy), rows, kept, whole.sort("row", order, maintain_order=True), notes)


def _usable(fields: dict[str, FieldCells], layout: Layout) -> tuple[pl.Series, pl.Series]:
    """Tell which rows have all that is essential, and what the others lack."""
    lacks = pl.lit(None, dtype=pl.String)
    frame = pl.DataFrame([field.values.alias(name) for name, field in fields.items()])
    for need in reversed(ESSENTIAL[layout.kind]):
        names = [name for name in ((need,) if isinstance(need, str) else need) if name in frame.columns]
        reasons = [fields[name].reasons().alias(f"why {name}") for name in names]
        frame = frame.with_columns(reasons)
        why = pl.coalesce([*[f"why {name}" for name in names], pl.lit(f"no {_said(need)}")])
        missing = pl.all_horizontal(pl.col(name).is_null() for name in names) if names else pl.lit(True)
        lacks = pl.when(missing).then(why).otherwise(lacks)
    if layout.kind == "weights" and "pieces" in fields:
        lacks = (
            pl.when(pl.lit(fields["pieces"].reasons()).is_not_null())
            .then(pl.lit(fields["pieces"].reasons()))
            .otherwise(lacks)
        )
    lacking = frame.select(lacks.alias("why")).to_series()
    return lacking.is_null(), lacking


def _said(need: str | tuple[str, ...]) -> str:
    return need if isinstance(need, str) else " or ".join(need)


def _cells(rows: Rows, field: FieldCells) -> pl.DataFrame:
    if field.why is None or field.texts is None:
        return pl.DataFrame(schema=REFUSED)
    frame = pl.DataFrame({"row": rows.number, "text": field.texts, "reason": field.why})
    frame = frame.filter(pl.col("reason").is_not_null())
    return frame.select("row", pl.lit(field.header).alias("column"), "text", "reason")


def _lost(rows: Rows, reasons: pl.Series) -> pl.DataFrame:
    frame = rows.frame.select("row", pl.lit("").alias("column"), "text", reasons.alias("reason"))
    return frame.filter(pl.col("reason").is_not_null())


def _frame(rows: Rows, fields: dict[str, FieldCells], bound: BoundFields) -> pl.DataFrame:
    schema = SCHEMAS[bound.layout.kind]
    made = {name: field.values for name, field in fields.items() if name in schema}
    fixed = {"intake": 0, "gross": bound.layout.gross}
    frame = pl.DataFrame([rows.number.alias("row"), *[values.alias(name) for name, values in made.items()]])
    frame = frame.with_columns(
        pl.lit(fixed.get(name)).cast(kind).alias(name)
        for name, kind in schema.items()
        if name not in frame.columns
    )
    if bound.layout.kind == "weights":
        frame = frame.with_columns(pl.col("pieces").fill_null(1))
    return frame.select(pl.col(name).cast(kind) for name, kind in schema.items())
