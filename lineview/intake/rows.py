"""Which rows of a table are data, which are passed over, and which are refused for their shape."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import polars as pl

from lineview.columns import REFUSALS, empty
from lineview.intake.heading import Heading, blank, same
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
        `row` and `text` of the data rows.
    columns : mapping of int to polars.Series of String
        The cells of the columns that were asked for.
    refused : polars.DataFrame
        REFUSED: rows that could not be used at all.
    passed : mapping of str to int
        How many rows were no data, by what they were.
    """

    frame: pl.DataFrame
    columns: dict[int, pl.Series] = field(default_factory=dict)
    refused: pl.DataFrame = field(default_factory=lambda: empty(REFUSED))
    passed: dict[str, int] = field(default_factory=dict)

    @property
    def number(self) -> pl.Series:
        """Line numbers of the rows."""
        return self.frame["row"]

    def column(self, place: int) -> pl.Series:
        """Give a column's cells as text."""
        return self.columns[place]

    def release(self, place: int) -> None:
        """Let go of a column that is not needed again."""
        self.columns.pop(place, None)

    def without(self, reasons: pl.Series, passed: tuple[str, ...] = ()) -> Rows:
        """Take out the rows that have a reason not to be used: no data, or refused.

        Parameters
        ----------
        reasons : polars.Series of String
            Why a row cannot be used, null where it can.
        passed : tuple of str
            Texts of the preamble and headers, whose repetitions are no data.

        Returns
        -------
        Rows
            The others.
        """
        fine = reasons.is_null()
        if fine.all():
            return self
        odd = self.frame.filter(~fine).with_columns(reason=reasons.filter(~fine))
        kinds = _kinds(odd["text"], passed)
        refused = odd.filter(kinds == "data").select("row", pl.lit("").alias("column"), "text", "reason")
        counts = dict(self.passed)
        for kind, number in kinds.filter(kinds != "data").value_counts().iter_rows():
            counts[kind] = counts.get(kind, 0) + number
        columns = {place: _without_empty_chunks(cells.filter(fine)) for place, cells in self.columns.items()}
        return Rows(self.frame.filter(fine), columns, pl.concat([self.refused, refused]), counts)


def _without_empty_chunks(cells: pl.Series) -> pl.Series:
    """Make a column whole where a chunk of it is empty: polars 2.1 panics when it joins such text."""
    return cells.rechunk() if cells.n_chunks() > 1 and 0 in cells.chunk_lengths() else cells


def data_rows(records: Records, heading: Heading, places: Iterable[int]) -> Rows:
    """Give the rows under a heading; those of the wrong number of cells are refused.

    Parameters
    ----------
    records : Records
        The whole table.
    heading : Heading
        Where its header is.
    places : iterable of int
        The columns that will be looked at.

    Returns
    -------
    Rows
        Blank rows, repeated headers and footers may still be among them: they have no time.
    """
    body = records.frame.slice(heading.first)
    cells, wide, named = records.cells, len(heading.names), heading.width
    wanted = [cells.list.get(i, null_on_oob=True).fill_null("").alias(str(i)) for i in sorted(set(places))]
    drawn = body.lazy().select(cells.list.len().alias("cells"), *wanted).collect()
    lengths = drawn["cells"]
    rows = Rows(
        body.select("row", "text"),
        {int(name): _without_empty_chunks(drawn[name]) for name in drawn.columns[1:]},
    )
    if not len(lengths) or (lengths.min() == lengths.max() and named <= lengths[0] <= wide):
        return rows
    surplus = cells.list.slice(wide).list.join("").str.strip_chars() != ""
    reason = (
        pl.when((cells.list.len() > wide) & surplus)
        .then(pl.format("{} cells where the header has {}", cells.list.len(), wide))
        .when(cells.list.len() < named)
        .then(pl.format("cut off: {} cells where the header has {}", cells.list.len(), named))
    )
    odd = ((lengths > wide) | (lengths < named)).arg_true()
    why = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(lengths))
    return rows.without(why.scatter(odd, body[odd].select(reason).to_series()), heading.passed)


def _kinds(texts: pl.Series, passed: tuple[str, ...]) -> pl.Series:
    """Tell what rows are that cannot be read: "blank", "repeated header", "footer" or "data"."""
    known = {same(text) for text in passed}
    repeats = pl.Series([same(text) in known for text in texts.to_list()], dtype=pl.Boolean)
    totals = pl.Series([bool(TOTALS.match(text)) for text in texts.to_list()], dtype=pl.Boolean)
    return pl.select(
        pl.when(blank(texts))
        .then(pl.lit("blank"))
        .when(repeats)
        .then(pl.lit("repeated header"))
        .when(totals)
        .then(pl.lit("footer"))
        .otherwise(pl.lit("data"))
    ).to_series()
