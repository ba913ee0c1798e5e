"""XLSX and ODS workbooks as records: every cell as text, with the row numbers that the sheet shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import fastexcel
import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.intake.detect.delimited import Records
from lineview.plant import ExportKind, Layout


def sheet_records(data: bytes, path: Path) -> list[Records]:
    """Read the visible sheets of a workbook."""
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
                "the workbook cannot be opened: it is cut off or not a workbook",
                str(path),
                "an XLSX or ODS workbook",
                "Copy or export it again.",
            )
        ) from None
    if not sheets:
        raise IntakeError(Fault("no visible sheet holds anything", str(path), "a sheet with rows"))
    if hidden:
        note = f"hidden sheets were skipped: {', '.join(hidden)}"
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


@dataclass(frozen=True)
class Part:
    """The rows of one kind that an export gave.

    Parameters
    ----------
    kind : str
        As in lineview.plant.ExportKind.
    tidy : polars.DataFrame
        With the columns of that kind in core.frames. Its `intake` column is 0 until the store gives it
        an id; its `row` column is the line in the file (from 1, as an editor or spreadsheet shows it).
    """

    kind: ExportKind
    tidy: pl.DataFrame

    @property
    def height(self) -> int:
        """Number of tidy rows."""
        return self.tidy.height


@dataclass(frozen=True)
class Stretch:
    """Some rows of a big export.

    Parameters
    ----------
    frames : tuple of polars.DataFrame
        READINGS: one frame, or several that are of one machine and channel each.
    first_row : int
        Line in the file from which on its rows are.
    rows, rows_refused : int
        Data rows, and those of which nothing could be used.
    refused : polars.DataFrame
        lineview.intake.tidy.rows.REFUSED.
    uncertain : int
        Tidy rows whose quality is uncertain.
    """

    frames: tuple[pl.DataFrame, ...]
    first_row: int
    rows: int
    refused: pl.DataFrame
    rows_refused: int
    uncertain: int = 0


class NotInPieces(Exception):  # noqa: N818 - no error: the file is read another way
    """A big export cannot be read piece by piece and has to be read whole."""


class InPieces(Protocol):
    """A big export of readings that is read while it is written to the store.

    `path` is the file as given, `layouts` the ids of the layouts used.
    """

    path: Path
    layouts: tuple[str, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """Plain sentences for the summary, once all stretches were given."""

    def stretches(self, source: Path) -> Iterator[Stretch]:
        """The rows from the file, or a copy of it; raises NotInPieces where it has to be read whole."""


@dataclass(frozen=True)
class Export:
    """One export, read whole.

    Parameters
    ----------
    path : pathlib.Path
        The file as given.
    sha256 : str
        Of its bytes as given (gzipped ones too).
    size_bytes : int
        Of the file as given.
    layouts : tuple of str
        Ids of the layouts used (one a sheet).
    parts : tuple of Part
        What it gave; usually one.
    rows : int
        Data rows in the file: rows that give at least one tidy row, plus rows refused whole.
    refusals : polars.DataFrame
        REFUSALS; a whole row refused has `column` "", a cell in a row that is kept names its column.
    rows_refused : int
        Rows of which nothing could be used.
    uncertain : int
        Tidy rows whose quality is uncertain.
    notes : tuple of str
        Plain sentences for the summary ("3 repeated headers and a footer were passed over").
    """

    path: Path
    sha256: str
    size_bytes: int
    layouts: tuple[str, ...]
    parts: tuple[Part, ...]
    rows: int
    refusals: pl.DataFrame
    rows_refused: int
    uncertain: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """Something about a file that cannot be told from it and has to be asked.

    `options` are the answers that would fit, as (what to write in the layout, what it would mean here).
    """

    about: str
    text: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Proposal:
    """A layout proposed for a file that none fits, with a sample of what it would read.

    Open `questions` must be answered before it can be accepted.
    """

    path: Path
    layout: Layout
    sample: pl.DataFrame
    questions: tuple[Question, ...] = ()
    notes: tuple[str, ...] = field(default=())
