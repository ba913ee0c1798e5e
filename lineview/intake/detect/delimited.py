"""Quotes of RFC 4180, believed only where they are proven, so that a stray one never swallows rows."""

from __future__ import annotations

import io
import re
from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property

import polars as pl

from lineview.core.language import tr
from lineview.intake.detect.encoding import SEPARATORS, as_utf8, separator_of

#: So many first rows are held cut into cells, for every layout looks at them.
_TOP = 120


def joined_lines(lines: pl.DataFrame, separator: str) -> pl.DataFrame:
    r"""Join the lines of a cell that holds line ends.

    Lines are joined from one with an odd number of quotes to the next such line, if the result is well
    formed with the usual number of cells and the lines by themselves do not all have that number. Where
    each line is a row on its own, the quotes are strays.
    Source: rfc-4180
    """
    odd = lines["text"].str.count_matches('"', literal=True) % 2 == 1
    if not odd.any():
        return lines
    usual = _usual_cells(lines.filter(~odd)["text"].head(1000).to_list(), separator)
    merged = _spans(lines["text"], odd.arg_true().to_list(), usual, separator)
    if not merged:
        return lines
    dropped = [k for first, last in merged for k in range(first + 1, last + 1)]
    texts = pl.Series(list(merged.values()), dtype=pl.String())
    joined = lines["text"].scatter([first for first, _ in merged], texts)
    place = pl.int_range(pl.len())
    return lines.with_columns(text=joined).filter(~place.is_in(dropped))


def _spans(texts: pl.Series, odd: list[int], usual: int, separator: str) -> dict[tuple[int, int], str]:
    """The stretches of lines that are one record each, with the record's text."""
    well_formed = re.compile(_well_formed(separator))
    merged: dict[tuple[int, int], str] = {}
    i = 0
    while i + 1 < len(odd):
        first, last = odd[i], odd[i + 1]
        lines = texts[first : last + 1].to_list()
        text = "\n".join(lines)
        alone = all(line.count(separator) + 1 == usual for line in lines)
        if not alone and _count(text, separator) == usual and well_formed.fullmatch(text):
            merged[first, last] = text
            i += 1
        i += 1
    return merged


def split_quoted(lines: pl.DataFrame, separator: str) -> pl.DataFrame:
    """Cut lines into cells; a line whose quotes are not well formed is cut at every separator."""
    well_quoted = lines["text"].str.contains('"', literal=True) & lines["text"].str.contains(
        f"^(?:{_well_formed(separator)})$"
    )
    plain = lines.filter(~well_quoted).with_columns(cells=pl.col("text").str.split(separator))
    if not well_quoted.any():
        return plain
    some = lines.filter(well_quoted)
    both = [plain, some.with_columns(cells=_parse_lines(some["text"], separator))]
    return pl.concat(both).sort("row", maintain_order=True)


def _parse_lines(texts: pl.Series, separator: str) -> pl.Series:
    """Cut well-formed lines with a CSV reader, which undoes the quotes."""
    bare = texts.str.replace_all(r'"(?:[^"]|"")*"', "")
    counts = bare.str.count_matches(separator, literal=True) + 1
    width = bare[0].count(separator) + 1
    source = io.BytesIO("\n".join([*texts.to_list(), ""]).encode())
    spaced = texts.str.contains(f'(?:^|{re.escape(separator)}) +"|" +(?:{re.escape(separator)}|$)').any()
    if spaced or counts.n_unique() > 1:
        return _parsed_slowly(texts, separator)
    frame = pl.read_csv(
        source,
        has_header=False,
        schema={str(i): pl.String() for i in range(width)},
        separator=separator,
        infer_schema=False,
        empty_string_is_null=False,
    )
    if frame.height != len(texts):
        return _parsed_slowly(texts, separator)
    return frame.select(pl.concat_list(pl.all())).to_series()


def _parsed_slowly(texts: pl.Series, separator: str) -> pl.Series:
    """Cut lines one by one: cells of uneven number, or blanks beside quotes."""
    return pl.Series([_cells_of_line(text, separator) for text in texts], dtype=pl.List(pl.String()))


_QUOTED = re.compile(r' *"((?:[^"]|"")*)" *')


def _cells_of_line(text: str, separator: str) -> list[str]:
    """The cells of a well-formed line, quotes undone, however long they are."""
    cells: list[str] = []
    place = 0
    while True:
        match = _QUOTED.match(text, place)
        end = match.end() if match else -1
        if match and (end == len(text) or text[end] == separator):
            cells.append(match[1].replace('""', '"').strip(" "))
        else:
            end = text.find(separator, place)
            end = len(text) if end < 0 else end
            cells.append(text[place:end].strip(" "))
        if end >= len(text):
            return cells
        place = end + 1


def _well_formed(separator: str) -> str:
    mark = re.escape(separator)
    cell = rf'(?: *"(?:[^"]|"")*" *|[^"{mark}]*)'
    return rf"{cell}(?:{mark}{cell})*"


def _count(text: str, separator: str) -> int:
    return re.sub(r'"(?:[^"]|"")*"', "", text).count(separator) + 1


def _usual_cells(texts: list[str], separator: str) -> int:
    """The commonest number of cells above one."""
    counts = Counter(_count(text, separator) for text in texts)
    counts.pop(1, None)
    return counts.most_common(1)[0][0] if counts else 1


@dataclass(frozen=True)
class Records:
    """A table of a file before anyone knows what it means.

    `sheet`: name of the sheet; "" for text; `frame`: columns row and text, every row of the file, blank ones too;
    with `cells` for sheets and quoted files; `separator`: between cells; "" for a sheet; `notes`: what the reader
    should know; `ends_open`: whether the text has no line end after its last row.
    """

    sheet: str
    frame: pl.DataFrame
    separator: str = ""
    notes: tuple[str, ...] = ()
    ends_open: bool = False

    @property
    def cells(self) -> pl.Expr:
        """The cells of each row as a list of text."""
        return pl.col("cells") if "cells" in self.frame.columns else pl.col("text").str.split(self.separator)

    def top(self, rows: int) -> list[list[str]]:
        """The cells of the first rows, without blanks around."""
        if rows > len(self._top) and len(self._top) < self.frame.height:
            return self._first(rows)
        return self._top[:rows]

    @cached_property
    def _top(self) -> list[list[str]]:
        return self._first(_TOP)

    def _first(self, rows: int) -> list[list[str]]:
        lists = self.frame.head(rows).select(self.cells).to_series().to_list()
        return [[cell.strip() for cell in cells] for cells in lists]

    def cut_otherwise(self) -> list[Records]:
        """The same table cut at other separators, for text without quotes."""
        if self.is_sheet or "cells" in self.frame.columns:
            return []
        others = [mark for mark in SEPARATORS if mark != self.separator]
        return [replace(self, separator=mark) for mark in others]

    @property
    def is_sheet(self) -> bool:
        """Whether the cells come from a workbook, where dates and numbers have a type."""
        return not self.separator


def text_records(data: bytes) -> Records:
    r"""Cut the bytes of a text export into records, decoded as UTF-8, UTF-16 or Windows-1252.

    Quotes count as quotes only where they are proven: see lineview.intake.detect.delimited.
    """
    text, encoding = as_utf8(data)
    return cut_text(text, encoding_note(encoding))


def encoding_note(encoding: str) -> tuple[str, ...]:
    """Say in which encoding a file is written where it is not the usual one."""
    return () if encoding == "UTF-8" else (tr("the file is written in {encoding}", encoding=encoding),)


def cut_text(text: bytes, notes: tuple[str, ...]) -> Records:
    """Cut text in UTF-8 at its likeliest separator."""
    lines = lines_of(text)
    separator = separator_of(lines["text"].head(400).to_list())
    ends_open = not text.endswith(b"\n")
    if b'"' in text:
        lines = split_quoted(joined_lines(lines, separator), separator)
    return Records("", lines, separator, notes, ends_open)


def lines_of(text: bytes) -> pl.DataFrame:
    """The lines, numbered from 1."""
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
