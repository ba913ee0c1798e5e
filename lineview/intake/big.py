"""A big text export of readings, read in pieces: plain ones with typed columns, odd ones the careful way.

Notes
-----
What a file settles by all its cells together (formats of times, the decimal mark, what quality codes mean) is
settled by its first rows here, and each piece is looked at for anything that would settle it otherwise. Where
a piece does, or cannot be read without the one beside it, NotInPieces is raised and the file has to be read
whole: what is given here is always what that reading would give.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import polars as pl

from lineview.columns import READINGS, UTC_US, empty
from lineview.errors import IntakeError
from lineview.intake.big_settled import NearFold, SettledByHead
from lineview.intake.bind import Bound
from lineview.intake.clock_cells import gap_notes, in_utc, less_offset
from lineview.intake.clock_read import parse_one
from lineview.intake.export import NotInPieces, Stretch
from lineview.intake.heading import Heading
from lineview.intake.outcome import outcome, passed_notes
from lineview.intake.pieces import is_plain, pieces_of, records_of
from lineview.intake.rows import REFUSED
from lineview.intake.take_readings import name_notes, take_rows
from lineview.plant import Plant


class BigExport:
    """A big export of readings of which the layout fits; see lineview.intake.read.open_big.

    Parameters
    ----------
    path : pathlib.Path
        Of the file.
    skip : int
        Bytes before the data, unpacked.
    heading : Heading
        Of its table.
    bound : Bound
        Where the layout finds everything.
    plant : Plant
        The plant description.
    settled : SettledByHead
        What its first rows settle.
    told : callable
        Given the rows done.
    """

    def __init__(
        self,
        path: Path,
        skip: int,
        heading: Heading,
        bound: Bound,
        plant: Plant,
        settled: SettledByHead,
        told: Callable[[int], None],
    ) -> None:
        self.path: Path = path
        self.layouts: tuple[str, ...] = (bound.layout.id,)
        self._skip, self._bound, self._plant, self._settled, self._told = skip, bound, plant, settled, told
        self._first = heading.first + 1
        self._heading = replace(heading, first=0)
        self._schemas = settled.schemas(heading, bound)
        self._passed: Counter[str] = Counter()
        self._unnamed: Counter[str] = Counter()
        self._by_gap = 0

    @property
    def notes(self) -> tuple[str, ...]:
        """Plain sentences for the summary, once all stretches were given."""
        return (
            *passed_notes(self._passed),
            *gap_notes(self._by_gap),
            *name_notes(self._unnamed),
            *self._bound.notes,
        )

    def stretches(self, source: Path) -> Iterator[Stretch]:
        """Give the rows, some 8 MB of text at a time.

        Parameters
        ----------
        source : pathlib.Path
            Where the file's bytes are read from: the file itself, or a copy of it.

        Raises
        ------
        NotInPieces
            Where the file has to be read whole.
        """
        row, kept = self._first, 0
        held: list[bytes] = []  # pieces of a night in which the clock goes back are read together
        first_held = row
        for data in pieces_of(source, self._skip):
            lines = _lines(data)
            found = self._unless_near(data, row, lines)
            if found is None:
                first_held = first_held if held else row
                held.append(data)
            else:
                ready = [*self._joined(held, first_held), found]
                held = []
                kept += sum(one.rows - one.rows_refused for one in ready)
                yield from ready
            row += lines
            self._told(row - self._first)
        for one in self._joined(held, first_held):
            kept += one.rows - one.rows_refused
            yield one
        if not kept:
            raise NotInPieces  # that reading says why no row is of any use
        self._settled.check()

    def _unless_near(self, data: bytes, row: int, lines: int) -> Stretch | None:
        try:
            return self._read(data, row, lines)
        except NearFold:
            return None

    def _joined(self, held: list[bytes], row: int) -> list[Stretch]:
        if not held:
            return []
        with self._settled.joining():
            joined = b"".join(held)
            return [self._read(joined, row, _lines(joined))]

    def _read(self, data: bytes, row: int, lines: int) -> Stretch:
        if is_plain(data):
            for schema in self._schemas:
                stretch = self._typed(data, row, lines, schema)
                if stretch is not None:
                    return stretch
        return self._careful(data, row)

    def _typed(self, data: bytes, row: int, lines: int, schema: dict[str, pl.DataType]) -> Stretch | None:
        """Read a piece with typed columns; None where anything in it is odd."""
        try:
            frame = pl.read_csv(
                data,
                has_header=False,
                schema=schema,
                separator=self._settled.separator,
                quote_char=None,
                infer_schema=False,
                empty_string_is_null=False,
            )
        except pl.exceptions.PolarsError:
            return None
        if frame.height != lines or any(column.null_count() for column in frame):
            return None
        values = {}
        for column in self._bound.columns:
            values[column.place] = frame[str(column.place)].cast(pl.Float64)
            if frame.schema[str(column.place)] == pl.Float64 and not values[column.place].is_finite().all():
                return None
        times = parse_one(frame[str(self._bound.times[0])], self._settled.form)
        if times.null_count():
            return None
        return self._stretch(times, values, row)

    def _stretch(self, times: pl.Series, values: dict[int, pl.Series], row: int) -> Stretch | None:
        layout = self._bound.layout
        if times.dtype == UTC_US:
            at, by_gap = times, 0
        else:
            self._settled.times(times)
            at, _, by_gap = in_utc(times, times.clear().cast(UTC_US), layout.zone or self._plant.zone, None)
            if at.null_count():
                return None
        self._by_gap += by_gap
        at = less_offset(at, layout).alias("at")
        rows = pl.int_range(row, row + len(at), dtype=pl.Int64, eager=True).alias("row")
        frames = []
        for column in self._bound.columns:
            for channel in column.channels.values():
                scaled = channel.scaled(values[column.place]).alias("value")
                alike = {"machine": channel.machine, "channel": channel.part.id, "quality": "good"}
                literals = [pl.lit(text, pl.String()).alias(name) for name, text in alike.items()]
                nothing = [pl.lit(None, pl.String()).alias("text"), pl.lit(0, pl.Int64()).alias("intake")]
                frame = pl.DataFrame([at, scaled, rows]).with_columns(*literals, *nothing)
                frames.append(frame.select(list(READINGS)))
        return Stretch(tuple(frames), row, len(at), empty(REFUSED), 0)

    def _careful(self, data: bytes, row: int) -> Stretch:
        """Read a piece as a whole file is read."""
        box = [records_of(data, self._settled.separator, row)]
        try:
            taken = take_rows(box, self._heading, self._bound, self._plant, self._settled, lambda _rows: None)
        except IntakeError:
            raise NotInPieces from None  # of a whole file it may not be true
        layout = self._bound.layout
        one = outcome(layout, taken.tidy, taken.rows, taken.kept, taken.cells, (), taken.uncertain)
        self._passed.update(one.passed)
        self._unnamed.update(taken.unnamed)
        self._by_gap += taken.by_gap
        return Stretch((one.tidy,), row, one.rows, one.refused, one.rows_refused, one.uncertain)


def _lines(data: bytes) -> int:
    return data.count(b"\n") + (not data.endswith(b"\n"))
