"""The cells of one field: text, number, whole number or duration, in the unit it is kept in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import polars as pl

from lineview.core.units import convert
from lineview.errors import Fault, IntakeError
from lineview.intake.bind_fields import FieldColumn
from lineview.intake.number_cells import Marks, parse_numbers


@dataclass(frozen=True)
class FieldCells:
    """Values of a field, and why a cell that is not empty has none (None where all are fine)."""

    name: str
    header: str
    values: pl.Series
    why: pl.Series | None = None
    texts: pl.Series | None = None

    def reasons(self) -> pl.Series:
        """Give why each cell has no value, null where it has one or is empty."""
        if self.why is not None:
            return self.why
        return pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(self.values))


def read_field(texts: pl.Series, column: FieldColumn, marks: Marks, where: str) -> FieldCells:
    """Read a column of cells as its field wants them.

    Parameters
    ----------
    texts : polars.Series of String
        Cells.
    column : FieldColumn
        What they hold.
    marks : Marks
        How the file writes numbers.
    where : str
        The file, for messages.

    Returns
    -------
    FieldCells
        Numbers in the field's unit.

    Raises
    ------
    IntakeError
        For durations that are bare numbers of an unknown unit.
    """
    if column.field.holds == "text":
        bare = texts.str.strip_chars().str.replace(r"^(\d+\.\d+)E0$", "$1")
        empty = bare.is_in(["", "-", "--", "–", "n/a", "N/A", "null", "NULL", "#N/A"])
        return FieldCells(column.name, column.header, bare.set(empty, None), None, texts)
    if column.field.holds == "duration":
        values, why = _durations(texts, column, marks, where)
    else:
        values, why = parse_numbers(texts, marks)
        if column.unit and column.field.unit:
            values = convert(values, column.unit, column.field.unit)
    values, why = _possible(values, why, texts, column)
    if column.field.holds == "whole":
        values = values.cast(pl.Int64)
    return FieldCells(column.name, column.header, values, why, texts)


def _possible(
    values: pl.Series, why: pl.Series | None, texts: pl.Series, column: FieldColumn
) -> tuple[pl.Series, pl.Series | None]:
    """Take out numbers that cannot be: too small, or parts where whole ones are counted."""
    field, value, text = column.field, pl.col("value"), pl.col("text")
    fault = pl.lit(None, dtype=pl.String)
    if field.holds == "whole":
        fault = (
            pl.when(value != value.round()).then(pl.format("'{}' is no whole number", text)).otherwise(fault)
        )
    if field.least is not None:
        fault = pl.when(value < field.least).then(pl.format("'{}' is below zero", text)).otherwise(fault)
    if field.above is not None:
        fault = pl.when(value <= field.above).then(pl.format("'{}' is not above zero", text)).otherwise(fault)
    old = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(values)) if why is None else why
    frame = pl.DataFrame({"value": values, "text": texts.str.strip_chars(), "old": old}).with_columns(
        new=fault
    )
    frame = frame.select(
        value=pl.when(pl.col("new").is_null()).then("value"), why=pl.coalesce("old", "new").cast(pl.String)
    )
    reasons = frame["why"]
    return frame["value"], None if reasons.null_count() == len(reasons) else reasons


def _durations(
    texts: pl.Series, column: FieldColumn, marks: Marks, where: str
) -> tuple[pl.Series, pl.Series | None]:
    """Read durations [s]: h:mm:ss or h:mm, or numbers in the column's unit."""
    bare = texts.str.strip_chars()
    parts = bare.str.extract_groups(r"^(?<h>\d{1,3}):(?<m>[0-5]?\d)(?::(?<s>[0-5]?\d(?:[.,]\d+)?))?$")
    clock = pl.DataFrame({"p": parts}).unnest("p")
    seconds = clock.select(
        pl.col("h").cast(pl.Float64) * 3600
        + pl.col("m").cast(pl.Float64) * 60
        + pl.col("s").str.replace(",", ".", literal=True).cast(pl.Float64).fill_null(0.0)
    ).to_series()
    # a workbook's duration is a moment counted from its day zero
    typed = bare.str.to_datetime("%Y-%m-%d %H:%M:%S%.f", time_unit="us", strict=False)
    zero = pl.Series([datetime(1899, 12, 31)], dtype=pl.Datetime("us"))  # noqa: DTZ001 - no zone
    since = (typed - zero).dt.total_seconds(fractional=True)
    seconds = seconds.zip_with(since.is_null() | ~since.is_between(0, 90 * 86400), since)
    if seconds.is_null().any() and not column.unit and parse_numbers(bare, marks)[0].is_not_null().any():
        raise IntakeError(
            Fault(
                f"the duration '{column.header}' is a number of an unknown unit",
                where,
                'unit = "s", "min" or "h"',
                "Write the unit of this column in the layout.",
            )
        )
    numbers, why = parse_numbers(bare.set(seconds.is_not_null(), ""), marks)
    if column.unit:
        numbers = convert(numbers, column.unit, "s")
    return seconds.zip_with(seconds.is_not_null(), numbers), why
