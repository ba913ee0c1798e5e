"""Which rows of a table are data, which are passed over, and which are refused for their shape."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import REFUSALS, empty
from lineview.core.language import tr
from lineview.core.units import convert, dimension
from lineview.intake import refusal_reasons
from lineview.intake.cells.numbers import NumberSeparators, parse_numbers, units_behind, without_units
from lineview.intake.detect.delimited import Records
from lineview.intake.detect.header import TOTALS, Heading, blank, same
from lineview.intake.layout.bind import FieldColumn

#: So many rows before the last one are compared with it.
LOOK_BACK = 200
_NUMBER = re.compile(r"[-+]?\d[\d.,'’ ]*")
_DIGITS = re.compile(r"\d+")
#: Part of REFUSALS that is known before the file's name is.
REFUSED: dict[str, pl.DataType] = {name: REFUSALS[name] for name in ("row", "column", "text", "reason")}


@dataclass(frozen=True)
class Rows:
    """Rows of a table whose cells can be looked at.

    `frame` has `row` and `text` of the data rows, `columns` the cells of those asked for, `refused` (REFUSED) the rows
    that could not be used at all, `passed` how many were no data, by what they were.
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
        """A column's cells as text."""
        return self.columns[place]

    def release(self, place: int) -> None:
        """Let go of a column that is not needed again."""
        self.columns.pop(place, None)

    def without(self, reasons: pl.Series, skipped: tuple[str, ...] = ()) -> Rows:
        """Take out the rows that have a reason not to be used: no data, or refused."""
        fine = reasons.is_null()
        if fine.all():
            return self
        odd = self.frame.filter(~fine).with_columns(reason=reasons.filter(~fine))
        kinds = _kinds(odd["text"], skipped)
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
    """The rows under a heading; those of the wrong number of cells are refused."""
    body = records.frame.slice(heading.first)
    cells, wide, header_width = records.cells, len(heading.names), heading.width
    column_cells = [cells.list.get(i, null_on_oob=True).fill_null("").alias(str(i)) for i in sorted(set(places))]
    columns_read = body.lazy().select(cells.list.len().alias("cells"), *column_cells).collect()
    lengths = columns_read["cells"]
    rows = Rows(
        body.select("row", "text"),
        {int(name): _without_empty_chunks(columns_read[name]) for name in columns_read.columns[1:]},
    )
    if not len(lengths) or (lengths.min() == lengths.max() and header_width <= lengths[0] <= wide):
        return _without_cut_off(rows, records, heading)
    surplus = cells.list.slice(wide).list.join("").str.strip_chars() != ""
    reason = (
        pl.when((cells.list.len() > wide) & surplus)
        .then(pl.format(refusal_reasons.OTHER_WIDTH, cells.list.len(), wide))
        .when(cells.list.len() < header_width)
        .then(pl.format(refusal_reasons.CUT_OFF, cells.list.len(), header_width))
    )
    odd = ((lengths > wide) | (lengths < header_width)).arg_true()
    why = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(lengths))
    rows = rows.without(why.scatter(odd, body[odd].select(reason).to_series()), heading.passed)
    return _without_cut_off(rows, records, heading)


def _without_cut_off(rows: Rows, records: Records, heading: Heading) -> Rows:
    """Refuse the last row of a text that ends within it."""
    last = records.frame.tail(1)
    if not records.ends_open or not rows.frame.height or rows.frame["row"][-1] != last["row"][0]:
        return rows
    if last["text"][0].endswith('"'):  # a cell in quotes is whole
        return rows
    near = records.frame.slice(heading.first).tail(LOOK_BACK + 1)
    lists = near.select(records.cells).to_series().to_list()
    same_width = [cells[-1].strip() for cells in lists if len(cells) == len(lists[-1])]
    reason = why_cut_off(same_width[-1], same_width[:-1])
    if reason is None:
        return rows
    why = pl.Series("why", [None] * (rows.frame.height - 1) + [reason], dtype=pl.String())
    return rows.without(why, heading.passed)


def why_cut_off(last: str, before: Sequence[str]) -> str | None:
    """Why the last cell of a file without a line end is taken as cut off; None where it is whole.

    A counter that only rises has to go on rising; any other number has to be as long as the longest above it (`before`,
    oldest first), since a cut makes it shorter; a text must not be the beginning of one above it.

    Examples
    --------
    >>> why_cut_off("58", ["58341", "58698"])
    "the file ends within this row, without a line end: '58' is less than '58698' before it"
    >>> why_cut_off("58702", ["58341", "58698"])
    >>> why_cut_off("6.8", ["6.75", "6.81"])
    "the file ends within this row, without a line end: '6.8' is shorter than '6.75' before it"
    """
    if not before or (last and not _NUMBER.fullmatch(last)):
        longer = next((cell for cell in before if cell != last and cell.startswith(last)), None)
        return refusal_reasons.BEGINS_LONGER.format(last, longer) if longer and last not in before else None
    if not last:
        return None if "" in before else refusal_reasons.LAST_EMPTY
    numbers = [cell for cell in before if _NUMBER.fullmatch(cell)]
    if _only_rises(numbers) and _DIGITS.fullmatch(last):
        falls = int(last) < int(numbers[-1])
        return refusal_reasons.FALLS.format(last, numbers[-1]) if falls else None
    longest = max(numbers, key=len, default="")
    return refusal_reasons.SHORTER.format(last, longest) if len(last) < len(longest) else None


def _only_rises(cells: Sequence[str]) -> bool:
    if not cells or not all(_DIGITS.fullmatch(cell) for cell in cells):
        return False
    counts = [int(cell) for cell in cells]
    return all(later >= earlier for earlier, later in pairwise(counts))


def _kinds(texts: pl.Series, skipped: tuple[str, ...]) -> pl.Series:
    """What rows are that cannot be read: "blank", "repeated header", "footer" or "data"."""
    repeated = {same(text) for text in skipped}
    repeats = pl.Series([same(text) in repeated for text in texts.to_list()], dtype=pl.Boolean)
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


@dataclass(frozen=True)
class FieldCells:
    """Values of a field, and why a cell that is not empty has none (None where all are fine)."""

    name: str
    header: str
    values: pl.Series
    why: pl.Series | None = None
    texts: pl.Series | None = None

    def reasons(self) -> pl.Series:
        """Why each cell has no value, null where it has one or is empty."""
        if self.why is not None:
            return self.why
        return pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(self.values))


def read_field(texts: pl.Series, column: FieldColumn, marks: NumberSeparators, where: str) -> FieldCells:
    """Read a column of cells as its field wants them."""
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
        if why is not None and column.field.unit:
            values, why = _with_units(values, why, texts, column, marks)
    values, why = _possible(values, why, texts, column)
    if column.field.holds == "whole":
        values = values.cast(pl.Int64)
    return FieldCells(column.name, column.header, values, why, texts)


def _with_units(
    values: pl.Series, why: pl.Series, texts: pl.Series, column: FieldColumn, marks: NumberSeparators
) -> tuple[pl.Series, pl.Series]:
    """Read the cells with a unit behind their number in that unit."""
    bare = without_units(texts)
    for unit, places in units_behind(texts).items():
        if dimension(unit) == dimension(column.field.unit):
            read = convert(parse_numbers(bare.gather(places), marks)[0], unit, column.field.unit)
            values = values.scatter(places, read)
    return values, why.set(values.is_not_null(), None)


#: The most of whole numbers, and of seconds: ten years.
_MOST = {"whole": 1e12, "duration": 3.2e8}


def _possible(
    values: pl.Series, why: pl.Series | None, texts: pl.Series, column: FieldColumn
) -> tuple[pl.Series, pl.Series | None]:
    """Take out numbers that cannot be: too small, or parts where whole ones are counted."""
    field, value, text = column.field, pl.col("value"), pl.col("text")
    fault = pl.lit(None, dtype=pl.String)
    if field.holds == "whole":
        fault = pl.when(value != value.round()).then(pl.format(refusal_reasons.NOT_WHOLE, text)).otherwise(fault)
    if field.holds in _MOST:
        fault = pl.when(value > _MOST[field.holds]).then(pl.format(refusal_reasons.TOO_LARGE, text)).otherwise(fault)
    if field.least is not None:
        fault = pl.when(value < field.least).then(pl.format(refusal_reasons.BELOW_ZERO, text)).otherwise(fault)
    if field.above is not None:
        fault = pl.when(value <= field.above).then(pl.format(refusal_reasons.NOT_ABOVE_ZERO, text)).otherwise(fault)
    old = pl.Series("why", [None], dtype=pl.String()).new_from_index(0, len(values)) if why is None else why
    frame = pl.DataFrame({"value": values, "text": texts.str.strip_chars(), "old": old}).with_columns(new=fault)
    frame = frame.select(
        value=pl.when(pl.col("new").is_null()).then("value"), why=pl.coalesce("old", "new").cast(pl.String)
    )
    reasons = frame["why"]
    return frame["value"], None if reasons.null_count() == len(reasons) else reasons


#: A clock of two parts, which may be hours and minutes or not; a duration with its units.
SHORT_CLOCK = r"^\s*\d{1,3}:[0-5]?\d\s*$"
_WORDED = (
    r"(?i)^(?:(?<h>\d+)\s*(?:h|hrs?|hours?|std|stunden?)\.?)?\s*(?:(?<m>\d+)\s*(?:m|mins?|minutes?|minuten|'|′)\.?)?"
    r"\s*(?:(?<s>\d+)\s*(?:s|secs?|seconds?|sek|sekunden|\"|″|'')\.?)?$"
)


def _durations(
    texts: pl.Series, column: FieldColumn, marks: NumberSeparators, where: str
) -> tuple[pl.Series, pl.Series | None]:
    """Read durations [s]: h:mm:ss or h:mm, or numbers in the column's unit."""
    bare = texts.str.strip_chars()
    worded = pl.DataFrame({"p": bare.str.extract_groups(_WORDED)}).unnest("p").cast(pl.Float64)
    by_words = worded.select(
        pl.when(pl.any_horizontal(pl.all().is_not_null())).then(
            pl.col("h").fill_null(0) * 3600 + pl.col("m").fill_null(0) * 60 + pl.col("s").fill_null(0)
        )
    ).to_series()
    short = bare.str.contains(SHORT_CLOCK)
    if short.any() and column.unit == "min":  # minutes and seconds
        bare = pl.select(pl.when(short).then(pl.concat_str(pl.lit("0:"), bare)).otherwise(bare)).to_series()
    elif short.any() and column.unit != "h":
        raise IntakeError(
            Fault(
                tr(
                    "'{example}' in '{header}' can be hours and minutes, or minutes and seconds",
                    example=bare.filter(short)[0],
                    header=column.header,
                ),
                where,
                tr('unit = "h" for h:mm, unit = "min" for mm:ss'),
                tr("Write the unit of this column in the layout."),
            )
        )
    parts = bare.str.extract_groups(r"^(?<h>\d{1,3}):(?<m>[0-9]{1,3})(?::(?<s>[0-5]?\d(?:[.,]\d+)?))?$")
    clock = pl.DataFrame({"p": parts}).unnest("p")
    seconds = clock.select(
        pl.col("h").cast(pl.Float64) * 3600
        + pl.col("m").cast(pl.Float64) * 60
        + pl.col("s").str.replace(",", ".", literal=True).cast(pl.Float64).fill_null(0.0)
    ).to_series()
    seconds = seconds.zip_with(by_words.is_null(), by_words)
    # a workbook's duration is a moment counted from its day zero
    typed = bare.str.to_datetime("%Y-%m-%d %H:%M:%S%.f", time_unit="us", strict=False)
    zero = pl.Series([datetime(1899, 12, 31)], dtype=pl.Datetime("us"))  # noqa: DTZ001 - no zone
    since = (typed - zero).dt.total_seconds(fractional=True)
    seconds = seconds.zip_with(since.is_null() | ~since.is_between(0, 90 * 86400), since)
    if seconds.is_null().any() and not column.unit and parse_numbers(bare, marks)[0].is_not_null().any():
        raise IntakeError(
            Fault(
                tr("the duration '{header}' is a number of an unknown unit", header=column.header),
                where,
                tr('unit = "s", "min" or "h"'),
                tr("Write the unit of this column in the layout."),
            )
        )
    numbers, why = parse_numbers(bare.set(seconds.is_not_null(), ""), marks)
    if column.unit:
        numbers = convert(numbers, column.unit, "s")
    return seconds.zip_with(seconds.is_not_null(), numbers), why
