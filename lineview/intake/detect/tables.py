"""Tables that are no delimited text: Parquet, JSON, and columns of fixed width."""

from __future__ import annotations

import io
import itertools
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import tr
from lineview.intake.detect.delimited import Records, cut_text, encoding_note, lines_of
from lineview.intake.detect.encoding import as_utf8
from lineview.intake.find import MOST_COLUMNS

#: So much of a text shows whether its columns have fixed widths [bytes].
_SAMPLE = 1 << 16


def text_table(data: bytes, encoding: str) -> Records:
    """Read text as JSON, columns of fixed width, or cells between separators, whichever it is."""
    text, encoding = as_utf8(data, encoding)
    notes = encoding_note(encoding)
    records = json_records(text)
    if records is None:
        sample = text[:_SAMPLE].decode(errors="replace").splitlines()[:400]
        starts = widths_of(sample)
        records = fixed_width(lines_of(text), starts) if starts else None
    return cut_text(text, notes) if records is None else replace(records, notes=notes)


def must_be_narrow(table: Records, where: str) -> None:
    """Raise where a table has more columns than any export."""
    wide = max((len(row) for row in table.top(5)), default=0)
    if wide > MOST_COLUMNS:
        what = tr("the file has {columns:,} columns", columns=wide)
        expected = tr("{most:,} or fewer", most=MOST_COLUMNS)
        raise IntakeError(Fault(what, where, expected, tr("Export the counters that are wanted alone.")))


def parquet_records(data: bytes, path: Path) -> Records:
    """Read a Parquet file's rows as text, its times in ISO 8601."""
    try:
        frame = pl.read_parquet(io.BytesIO(data))
    except (pl.exceptions.PolarsError, OSError):
        what = tr("the Parquet file cannot be opened: it is cut off or damaged")
        raise IntakeError(Fault(what, str(path), tr("a whole Parquet file"), tr("Copy it again."))) from None
    cells = [_as_text(frame[name]).fill_null("").alias(f"c{i}") for i, name in enumerate(frame.columns)]
    if not cells:
        raise IntakeError(Fault(tr("the file is empty"), str(path), tr("columns and rows"), tr("Export it again.")))
    header = pl.DataFrame({f"c{i}": [name] for i, name in enumerate(frame.columns)})
    return _cells_as_text(pl.concat([header, pl.DataFrame(cells)]), first=1)


def _as_text(column: pl.Series) -> pl.Series:
    dtype = column.dtype
    if isinstance(dtype, pl.Datetime):
        if dtype.time_zone is None:
            return column.dt.strftime("%Y-%m-%d %H:%M:%S%.f")
        return column.dt.convert_time_zone("UTC").dt.strftime("%Y-%m-%d %H:%M:%S%.f") + "Z"
    if dtype.is_float():
        text = column.cast(pl.String)
        decimal = text.str.contains(".", literal=True) & ~text.str.contains("e", literal=True)
        return (text + "E0").zip_with(decimal.fill_null(False), text)
    if dtype.is_nested() or dtype == pl.Binary:
        return pl.Series([None if cell is None else str(cell)[:200] for cell in column.to_list()], dtype=pl.String)
    return column.cast(pl.String)


def _cells_as_text(cells: pl.DataFrame, first: int) -> Records:
    """A table of typed cells as text, its header row numbered so that the first row has a number."""
    frame = cells.select(
        pl.int_range(first, pl.len() + first, dtype=pl.Int64).alias("row"),
        pl.concat_str(pl.all(), separator="\t").str.strip_chars_end("\t").alias("text"),
        pl.concat_list(pl.all()).alias("cells"),
    )
    return Records("", frame)


def json_records(text: bytes) -> Records | None:
    """Read JSON, one object a line or an array of them; None where the text is none.

    A line that is no object stays a row of one cell, to be refused.
    """
    start = text.lstrip()[:1]
    if start not in (b"{", b"["):
        return None
    rows = _array(text) if start == b"[" or b"\n" not in text.strip() else None
    if rows is None:
        lines = text.decode(errors="replace").splitlines()
        rows = [_line(line) for line in lines]
        if not any(isinstance(row, dict) for row in rows[:5]):
            rows = _array(text)
    if rows is None:
        return None
    flat = [_flat(row) if isinstance(row, dict) else None for row in rows]
    names = list(dict.fromkeys(name for row in flat if row is not None for name in row))
    if not names or len(names) > MOST_COLUMNS:
        return None
    table = [names]
    for row, cells in zip(rows, flat, strict=True):
        odd = ["" if row == "" else str(row)[:500], *[""] * (len(names) - 1)]
        table.append(odd if cells is None else [cells.get(name, "") for name in names])
    columns = {f"c{i}": [line[i] for line in table] for i in range(len(names))}
    return _cells_as_text(pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String())), first=0)


def _array(text: bytes) -> list[Any] | None:
    """The rows of a JSON array, alone or the longest within an object."""
    document = _load_json(text.decode(errors="replace"))
    if isinstance(document, dict):
        lists = [value for value in document.values() if isinstance(value, list)]
        document = max(lists, key=len, default=[document])
    return document if isinstance(document, list) else None


def _line(line: str) -> Any:
    value = _load_json(line) if line.strip() else ""
    return value if isinstance(value, dict) else line.strip()


def _load_json(text: str) -> Any:
    try:
        return json.loads(text, parse_float=_decimal, parse_int=str)
    except (ValueError, RecursionError):
        return None


def _decimal(text: str) -> str:
    """A number as written, marked as a typed one, whose point is no thousands mark."""
    return text if "e" in text.lower() else text + "E0"


def _flat(row: dict[str, Any], before: str = "") -> dict[str, str]:
    """A row's cells as text; those of objects within it under their names joined by a point."""
    cells: dict[str, str] = {}
    for key, value in row.items():
        name = f"{before}{key}"
        if isinstance(value, dict) and not before.count("."):
            cells |= _flat(value, f"{name}.")
        elif isinstance(value, bool):
            cells[name] = str(value).lower()
        else:
            cells[name] = "" if value is None else str(value)
    return cells


def widths_of(sample: Sequence[str]) -> list[int]:
    """Where columns of fixed width begin: between them blanks run through header and data. Else none."""
    filled = [line for line in sample if line.strip()]
    data = [line for line in filled if sum(map(str.isdigit, line)) >= 4 and "  " in line.strip()]
    if len(data) < 2 or len(data) < 0.6 * len(filled):
        return []
    first = filled.index(data[0])
    header = filled[first - 1] if first else ""
    if "  " not in header.strip() or any(mark in header for mark in ";|,\t"):
        return []
    width = max(map(len, [header, *data]))
    blank = [all(line[i : i + 1] in ("", " ") for line in [header, *data]) for i in range(width)]
    # the blanks before a column belong to it: numbers grow to the left
    starts = [i for i in range(width) if blank[i] and i and not blank[i - 1] and not all(blank[i:])]
    column_starts: list[int] = []
    for start, end in itertools.pairwise([0, *starts, width]):
        if header[start:end].strip() or not column_starts:
            column_starts.append(start)  # a column without a header goes with the one before: a date and its clock
    return column_starts if len(column_starts) > 1 else []


def fixed_width(lines: pl.DataFrame, starts: Sequence[int]) -> Records:
    """Cut lines at the places where columns begin; one with a text across such a place stays one cell."""
    lengths: list[int | None] = [b - a for a, b in itertools.pairwise(starts)]
    text = pl.col("text").str.strip_chars_end()
    cells = [text.str.slice(a, n).str.strip_chars() for a, n in zip(starts, [*lengths, None], strict=True)]
    torn = [text.str.slice(start - 1, 2).str.contains(r"^\S\S") for start in starts if start]
    cut = pl.when(pl.any_horizontal(torn)).then(pl.concat_list(text)).otherwise(pl.concat_list(cells))
    return Records("", lines.with_columns(cells=cut), "\t")
