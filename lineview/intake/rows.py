"""Which rows of a table are data, which are passed over, and which are refused before their cells are read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import polars as pl

from lineview.columns import REFUSALS, empty
from lineview.intake.heading import Heading, blank
from lineview.intake.records import Records
from lineview.intake.words import TOTALS

#: Part of REFUSALS that is known before the file's name is.
REFUSED: dict[str, pl.DataType] = {name: REFUSALS[name] for name in ("row", "column", "text", "reason")}


@dataclass(frozen=True)
class Rows:
    """Rows of a table whose cells can be looked at.

    Parameters
    ----------
    frame : polars.DataFrame
        RECORDS, data rows only.
    refused : polars.DataFrame
        REFUSED: rows that could not be used at all.
    passed : mapping of str to int
        How many rows were no data, by what they were.
    """

    frame: pl.DataFrame
    refused: pl.DataFrame = field(default_factory=lambda: empty(REFUSED))
    passed: dict[str, int] = field(default_factory=dict)
    drawn: dict[int, pl.Series] = field(default_factory=dict)

    @property
    def number(self) -> pl.Series:
        """Line numbers of the rows."""
        return self.frame["row"]

    def column(self, place: int) -> pl.Series:
        """Give a column's cells as text."""
        if place in self.drawn:
            return self.drawn[place]
        return self.frame["cells"].list.get(place, null_on_oob=True).fill_null("")

    def draw(self, places: Iterable[int]) -> Rows:
        """Take the columns out that are needed, so that the others can be let go of."""
        drawn = {place: self.column(place) for place in places}
        return Rows(self.frame.drop("cells"), self.refused, self.passed, drawn)

    def without(self, reasons: pl.Series, passed: tuple[str, ...] = ()) -> Rows:
        """Take out the rows that have a reason not to be used: no data, or refused.

        Parameters
        ----------
        reasons : polars.Series of String
            Why a row cannot be used, null where it can.
        passed : tuple of str
            Texts of the preamble and headers, whose repetitions are no data.
        """
        out = reasons.is_not_null()
        if not out.any():
            return self
        odd = self.frame.filter(out).with_columns(reason=reasons.filter(out))
        kinds = _kinds(odd, passed)
        odd = odd.filter(kinds == "data")
        drawn = {place: cells.filter(~out) for place, cells in self.drawn.items()}
        refused = odd.select("row", pl.lit("").alias("column"), "text", "reason")
        counts = dict(self.passed)
        for kind, number in kinds.filter(kinds != "data").value_counts().iter_rows():
            counts[kind] = counts.get(kind, 0) + number
        both = pl.concat([self.refused, refused])
        return Rows(self.frame.filter(~out), both, counts, drawn)


def data_rows(records: Records, heading: Heading) -> Rows:
    """Give the rows under a heading; those of the wrong number of cells are refused.

    Parameters
    ----------
    records : Records
        The whole table.
    heading : Heading
        Where its header is.

    Returns
    -------
    Rows
        Blank rows, repeated headers and footers may still be among them: they have no time.
    """
    rows = Rows(records.frame.slice(heading.first))
    lengths = rows.frame["cells"].list.len()
    wide, named = len(heading.names), heading.width
    if not len(lengths) or (lengths.min() == lengths.max() and named <= lengths[0] <= wide):
        return rows
    surplus = (
        pl.when(pl.col("cells").list.len() > wide)
        .then(pl.col("cells").list.slice(wide).list.join("").str.strip_chars() != "")
        .otherwise(False)
    )
    reasons = rows.frame.select(
        pl.when(surplus)
        .then(pl.format("{} cells where the header has {}", pl.col("cells").list.len(), wide))
        .when(pl.col("cells").list.len() < named)
        .then(pl.format("cut off: {} cells where the header has {}", pl.col("cells").list.len(), named))
    ).to_series()
    return rows.without(reasons, heading.passed)


def _kinds(odd: pl.DataFrame, passed: tuple[str, ...]) -> pl.Series:
    """Tell what rows are that cannot be read: "blank", "repeated header", "footer" or "data"."""
    texts = odd["text"]
    is_blank = blank(texts)
    bare = texts.str.strip_chars()
    repeats = bare.is_in([text.strip() for text in passed])
    if "cells" not in odd.columns:
        return pl.select(
            pl.when(is_blank)
            .then(pl.lit("blank"))
            .when(repeats)
            .then(pl.lit("repeated header"))
            .otherwise(pl.lit("data"))
        ).to_series()
    first = odd["cells"].list.eval(pl.element().filter(pl.element().str.strip_chars() != "")).list.first()
    totals = pl.Series([bool(TOTALS.match(cell or "")) for cell in first.to_list()], dtype=pl.Boolean)
    return pl.select(
        pl.when(is_blank)
        .then(pl.lit("blank"))
        .when(repeats)
        .then(pl.lit("repeated header"))
        .when(totals)
        .then(pl.lit("footer"))
        .otherwise(pl.lit("data"))
    ).to_series()
