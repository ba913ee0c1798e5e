"""A big text export of counters in wide form, read in pieces with typed columns while nothing in it is odd.

Notes
-----
Whatever has to be settled by all cells of a file together, or has to be refused with its text, is left to the
reading of the whole file: at the first odd cell, row or byte None is given, and the file is read anew. What
is read here is therefore exactly what that reading would give, in a fraction of its memory and time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from lineview.columns import READINGS, UTC_US, empty
from lineview.errors import IntakeError
from lineview.intake.bind import Bound, bind
from lineview.intake.clock_cells import in_utc, less_offset, settled_clock
from lineview.intake.clock_read import NUMERIC, parse_one
from lineview.intake.export import Part
from lineview.intake.fit import Fit, heading_of
from lineview.intake.heading import Heading
from lineview.intake.outcome import Outcome
from lineview.intake.records import Records
from lineview.intake.rows import REFUSED, data_rows
from lineview.plant import Plant

#: Files from this size on are read in pieces of some 200,000 rows [bytes].
BIG = 32 << 20
_PIECE = 8 << 20
_HEAD = 1 << 20


@dataclass(frozen=True)
class Head:
    """The whole lines that a big file begins with, and how many bytes stand before its text."""

    text: bytes
    mark: int


@dataclass(frozen=True)
class BigOutcome:
    """What a big file gave: its outcome without tidy rows, these a frame a channel, and its bytes' facts."""

    outcome: Outcome
    part: Part
    sha256: str
    size_bytes: int


def head_of(path: Path) -> Head | None:
    """Give the first lines of a file that may be read in pieces, or None."""
    try:
        if path.stat().st_size < BIG:
            return None
        with path.open("rb") as file:
            start = file.read(_HEAD)
    except OSError:
        return None  # the reading of the whole file says what is wrong
    mark = 3 if start.startswith(b"\xef\xbb\xbf") else 0
    text = start[mark : start.rfind(b"\n") + 1]
    return Head(text, mark) if _is_plain(text) else None


def _is_plain(text: bytes) -> bool:
    """Tell whether text has no quotes, no NULs, whole line ends, and is UTF-8."""
    if not text or b'"' in text or b"\x00" in text:
        return False
    if b"\r" in text and text.count(b"\r") != text.count(b"\r\n"):
        return False
    if text.isascii():
        return True
    try:
        text.decode()
    except UnicodeDecodeError:
        return False
    return True


def read_big(
    path: Path, head: Head, table: Records, fit: Fit, plant: Plant, told: Callable[[int], None]
) -> BigOutcome | None:
    """Read a big file in pieces.

    Parameters
    ----------
    path : pathlib.Path
        Of the file.
    head : Head
        From `head_of`.
    table : Records
        Its lines, cut at the separator with which the layout fits.
    fit : Fit
        The layout, which is whole.
    plant : Plant
        The plant description.
    told : callable
        Given the rows done.

    Returns
    -------
    BigOutcome or None
        None where anything is odd.
    """
    heading = heading_of(fit, table)
    if fit.layout.kind != "readings" or fit.layout.shape != "wide":
        return None
    try:
        bound = bind(fit.layout, heading, plant, str(path))
        form = _time_form(table, heading, bound)
    except IntakeError:
        return None
    schema = _schema(table, heading, bound)
    if form is None or schema is None:
        return None
    columns = _Columns(schema, table.separator, bound, form, path.stat().st_size, told)
    digest, size = hashlib.sha256(), 0
    skip = sum(len(line) for line in head.text.splitlines(keepends=True)[: heading.first])
    for place, piece in enumerate(_pieces_of(path)):
        digest.update(piece)
        size += len(piece)
        data = piece[head.mark + skip :] if not place else piece
        if data and not (_is_plain(data) and columns.take(data)):
            return None
    return _outcome(columns, heading, bound, plant, (digest.hexdigest(), size))


def _pieces_of(path: Path) -> Iterator[bytes]:
    """Give a file's bytes in pieces that end with a line."""
    with path.open("rb") as file:
        while block := file.read(_PIECE):
            yield block + file.readline()


def _time_form(table: Records, heading: Heading, bound: Bound) -> str | None:
    """Give the one format that the file's times have to be written in, or None where it is not sure."""
    if len(bound.times) != 1:
        return None
    cells = data_rows(table, heading, bound.times).column(bound.times[0])
    plan = settled_clock(cells, bound.layout, "", typed=False)
    form = plan.formats[0] if plan.formats else ""
    sure = bound.layout.time_format not in ("", "auto") or form.startswith("%Y-")
    return form if sure and form and form not in NUMERIC else None


def _schema(table: Records, heading: Heading, bound: Bound) -> dict[str, pl.DataType] | None:
    """Give the types of all columns, or None where a column of values has to be looked at as text."""
    layout, places = bound.layout, {column.place for column in bound.columns}
    text = any(channel.is_text for column in bound.columns for channel in column.channels.values())
    judged = bound.quality is not None or any(column.quality is not None for column in bound.columns)
    if text or judged or bound.machine_place is not None or not places or places & set(bound.times):
        return None
    rows = data_rows(table, heading, places)
    plain = layout.decimal == "." and layout.thousands != "."
    schema: dict[str, pl.DataType] = {str(place): pl.String() for place in range(len(heading.names))}
    for place in places:
        cells = rows.column(place)
        whole = cells.cast(pl.Int64, strict=False).null_count() == 0
        if not whole and not plain:
            return None
        schema[str(place)] = pl.Int64() if whole else pl.Float64()
    return schema


class _Columns:
    """The columns of a file as they grow piece by piece."""

    def __init__(
        self,
        schema: dict[str, pl.DataType],
        separator: str,
        bound: Bound,
        form: str,
        size: int,
        told: Callable[[int], None],
    ) -> None:
        self._schema, self._separator, self._form, self._told = schema, separator, form, told
        self._time = str(bound.times[0])
        # As long as the file can have rows at the most; what stays empty takes no memory.
        most = size // (2 * len(schema)) + 1
        self._values = {str(column.place): np.empty(most) for column in bound.columns}
        self._moments = np.empty(most, dtype=np.int64)
        self._clock: pl.DataType | None = None
        self.rows = 0

    def take(self, data: bytes) -> bool:
        """Take the rows of a piece; False where one of them is odd."""
        try:
            frame = pl.read_csv(
                data,
                has_header=False,
                schema=self._schema,
                separator=self._separator,
                quote_char=None,
                infer_schema=False,
                empty_string_is_null=False,
            )
        except pl.exceptions.PolarsError:
            return False
        lines = data.count(b"\n") + (not data.endswith(b"\n"))
        if self.rows + lines > len(self._moments):  # the file has grown meanwhile
            return False
        if frame.height != lines or any(column.null_count() for column in frame):
            return False
        times = parse_one(frame[self._time], self._form)
        if times.null_count():
            return False
        here = slice(self.rows, self.rows + lines)
        for name, whole in self._values.items():
            whole[here] = frame[name].to_numpy()
            if frame[name].dtype == pl.Float64 and not np.isfinite(whole[here]).all():
                return False
        self._moments[here] = times.to_physical().to_numpy()
        self._clock = times.dtype
        self.rows += lines
        self._told(self.rows)
        return True

    def times(self) -> pl.Series:
        """Give the times of all rows, once."""
        times = pl.Series("at", self._moments[: self.rows]).cast(self._clock or UTC_US)
        self._moments = np.empty(0, dtype=np.int64)
        return times

    def column(self, place: int) -> pl.Series:
        """Give the values of a column, once."""
        return pl.Series("value", self._values.pop(str(place))[: self.rows])


def _outcome(
    columns: _Columns, heading: Heading, bound: Bound, plant: Plant, facts: tuple[str, int]
) -> BigOutcome | None:
    if not columns.rows:
        return None
    times = columns.times()
    naive, moment = (times.clear(), times) if times.dtype == UTC_US else (times, times.clear())
    at, _, said = in_utc(naive, moment, bound.layout.zone or plant.zone, None)
    if at.null_count():
        return None
    at = less_offset(at, bound.layout).alias("at")
    del times, naive, moment
    row = pl.int_range(heading.first + 1, heading.first + 1 + columns.rows, dtype=pl.Int64, eager=True)
    frames = []
    values = {place: columns.column(place) for place in {column.place for column in bound.columns}}
    for column in bound.columns:
        for channel in column.channels.values():
            scaled = channel.scaled(values[column.place]).alias("value")
            alike = {"machine": channel.machine, "channel": channel.part.id, "quality": "good"}
            literals = [pl.lit(text, pl.String()).alias(name) for name, text in alike.items()]
            nothing = [pl.lit(None, pl.String()).alias("text"), pl.lit(0, pl.Int64()).alias("intake")]
            frame = pl.DataFrame([at, scaled, row.alias("row")]).with_columns(*literals, *nothing)
            frames.append(frame.select(list(READINGS)))
    notes = (*said, *bound.notes)
    outcome = Outcome(bound.layout.id, "readings", empty(READINGS), empty(REFUSED), columns.rows, 0, notes)
    return BigOutcome(outcome, Part("readings", *frames), *facts)
