"""A text export as records: one row of the file each, with its line number, its text and its cells."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.intake.quoting import joined_lines, split_quoted
from lineview.intake.sniff import SEPARATORS, as_utf8, separator_of


@dataclass(frozen=True)
class Records:
    """A table of a file before anyone knows what it means.

    Parameters
    ----------
    sheet : str
        Name of the sheet; "" for text.
    frame : polars.DataFrame
        Columns row and text, every row of the file, blank ones too; with `cells` for sheets and quoted files.
    separator : str
        Between cells; "" for a sheet.
    notes : tuple of str
        What the reader should know.
    """

    sheet: str
    frame: pl.DataFrame
    separator: str = ""
    notes: tuple[str, ...] = ()

    @property
    def cells(self) -> pl.Expr:
        """The cells of each row as a list of text."""
        return pl.col("cells") if "cells" in self.frame.columns else pl.col("text").str.split(self.separator)

    def top(self, rows: int) -> list[list[str]]:
        """Give the cells of the first rows, without blanks around."""
        lists = self.frame.head(rows).select(self.cells).to_series().to_list()
        return [[cell.strip() for cell in cells] for cells in lists]

    def cut_otherwise(self) -> list[Records]:
        """Give the same table cut at other separators, for text without quotes."""
        if self.is_sheet or "cells" in self.frame.columns:
            return []
        others = [mark for mark in SEPARATORS if mark != self.separator]
        return [Records(self.sheet, self.frame, mark, self.notes) for mark in others]

    @property
    def is_sheet(self) -> bool:
        """Whether the cells come from a workbook, where dates and numbers have a type."""
        return not self.separator


def text_records(data: bytes) -> Records:
    r"""Cut the bytes of a text export into records.

    Parameters
    ----------
    data : bytes
        Unpacked.

    Returns
    -------
    Records
        Every line once.

    Notes
    -----
    Quotes count as quotes only where they are proven: see lineview.intake.quoting.

    Examples
    --------
    >>> text_records(b"t;a\n1;2,5\n").top(9)
    [['t', 'a'], ['1', '2,5']]
    """
    text, encoding = as_utf8(data)
    lines = _lines(text)
    separator = separator_of(lines["text"].head(400).to_list())
    notes = () if encoding == "UTF-8" else (f"the file is written in {encoding}",)
    if b'"' in text:
        return Records("", split_quoted(joined_lines(lines, separator), separator), separator, notes)
    return Records("", lines, separator, notes)


def _lines(text: bytes) -> pl.DataFrame:
    """Give the lines, numbered from 1."""
    unused = next(chr(b) for b in range(1, 32) if b not in b"\t\n\r" and bytes([b]) not in text)
    frame = pl.read_csv(
        text,
        has_header=False,
        schema={"text": pl.String()},
        separator=unused,
        quote_char=None,
        infer_schema=False,
        empty_string_is_null=False,
    )
    return frame.select(pl.int_range(1, pl.len() + 1, dtype=pl.Int64).alias("row"), "text")
