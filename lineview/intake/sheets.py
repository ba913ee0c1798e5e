"""XLSX and ODS workbooks as records: every cell as text, with the row numbers that the sheet shows."""

from __future__ import annotations

from pathlib import Path

import fastexcel
import polars as pl

from lineview.errors import Fault, IntakeError
from lineview.intake.records import Records


def sheet_records(data: bytes, path: Path) -> list[Records]:
    """Read the visible sheets of a workbook.

    Parameters
    ----------
    data : bytes
        Of the workbook.
    path : pathlib.Path
        For the message.

    Returns
    -------
    list of Records
        One a visible sheet that holds anything. Dates stand as ISO text. A number that is no whole one
        ends in "E0", so that its point is never taken for a thousands mark.

    Raises
    ------
    IntakeError
        Where the workbook cannot be opened.
    """
    try:
        book = fastexcel.read_excel(data)
        sheets, hidden = [], []
        for name in book.sheet_names:
            whole = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string")
            if whole.visible != "visible":
                hidden.append(name)
            elif whole.height:
                numeric = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="boolean")
                cells = whole.to_polars()
                if b"opendocument" in data[:200]:
                    clocks = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="duration")
                    cells = _with_clocks(cells, clocks.to_polars())
                sheets.append(_records(name, cells, numeric.to_polars()))
    except fastexcel.FastExcelError:
        raise IntakeError(
            Fault(
                "the workbook cannot be opened: it is cut off or no workbook",
                str(path),
                "an XLSX or ODS workbook",
                "Copy or export it again.",
            )
        ) from None
    if not sheets:
        raise IntakeError(Fault("no visible sheet holds anything", str(path), "a sheet with rows"))
    if hidden:
        note = f"hidden sheets were passed over: {', '.join(hidden)}"
        sheets[0] = Records(sheets[0].sheet, sheets[0].frame, "", (note,))
    return sheets


def _records(name: str, text: pl.DataFrame, numeric: pl.DataFrame) -> Records:
    cells = [
        pl.when(is_number.is_not_null() & column.str.contains(".", literal=True))
        .then(column + "E0")
        .otherwise(column)
        .fill_null("")
        .alias(f"c{i}")
        for i, (column, is_number) in enumerate(zip(text, numeric, strict=True))
    ]
    frame = pl.select(cells).select(
        pl.int_range(1, pl.len() + 1, dtype=pl.Int64).alias("row"),
        pl.concat_str(pl.all(), separator="\t").str.strip_chars_end("\t").alias("text"),
        pl.concat_list(pl.all()).alias("cells"),
    )
    return Records(name, frame)


def _with_clocks(cells: pl.DataFrame, clocks: pl.DataFrame) -> pl.DataFrame:
    """Write the times of day of an ODS sheet, which do not come as text."""
    filled = []
    for cell, clock in zip(cells, clocks, strict=True):
        if clock.dtype == pl.Duration and clock.null_count() < len(clock):
            text = (pl.Series([0]).cast(pl.Datetime("us")) + clock).dt.strftime("%H:%M:%S")
            cell = cell.zip_with(cell.is_not_null(), text)  # noqa: PLW2901 - the same cells, filled
        filled.append(cell)
    return pl.DataFrame(filled)
