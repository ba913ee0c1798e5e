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
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from pathlib import Path

import polars as pl

from lineview.core.errors import IntakeError
from lineview.core.frames import READINGS, UTC_US, empty
from lineview.intake.cells.dateless import are_clocks
from lineview.intake.cells.far_times import FarTimes, far_times
from lineview.intake.cells.numbers import NumberSeparators, SeparatorCounts, parse_numbers
from lineview.intake.cells.quality import meanings
from lineview.intake.cells.timestamp_columns import (
    gap_notes,
    in_utc,
    joined_cells,
    less_offset,
    must_have_24_hours,
    settled_clock,
)
from lineview.intake.cells.timestamps import NUMERIC, Clock, formats_in, parse_one, spaced_alike
from lineview.intake.detect.delimited import Records
from lineview.intake.detect.header import Heading, second_headers
from lineview.intake.detect.sheets import NotInPieces, Stretch
from lineview.intake.layout.bind import BoundLayout
from lineview.intake.outcome import outcome, passed_notes, settled_marks
from lineview.intake.pieces import is_plain, pieces_of, records_of
from lineview.intake.tidy.counts import CountReadings
from lineview.intake.tidy.readings import ChannelColumn
from lineview.intake.tidy.rows import REFUSED, data_rows
from lineview.intake.tidy.take_readings import evidence_of, name_notes, take_rows, value_places
from lineview.plant import Plant

_DAY = timedelta(days=1)
#: Pieces further apart than this are looked at together [µs].
_FAR_US = 60 * 86_400_000_000


class NearFold(Exception):  # noqa: N818 - no error: the piece is read later, with the next
    """A piece has times of a night in which the clock goes back, or of the day before or after it."""


class SettledByHead:
    """What the first rows of a file settle; see lineview.intake.tidy.take_readings.Settled.

    Parameters
    ----------
    table : Records
        The first lines.
    heading : Heading
        Of the table.
    bound : Bound
        Where the layout finds everything.
    plant : Plant
        The plant description.
    where : str
        The file, for messages.
    now : datetime.datetime, optional
        Today.

    Raises
    ------
    NotInPieces, IntakeError
        Where the first rows settle nothing.
    """

    def __init__(
        self,
        table: Records,
        heading: Heading,
        bound: BoundLayout,
        plant: Plant,
        where: str,
        now: datetime | None = None,
    ) -> None:
        self.where, self.separator, self.name = where, table.separator, where
        self._now = now
        self._extent: tuple[int, int] | None = None
        self.notes: tuple[str, ...] = ()
        self._layout, self._zone = bound.layout, bound.layout.zone or plant.zone
        self._rows = data_rows(table, heading, [*bound.times, *value_places(bound)])
        cells = joined_cells(self._rows, bound.times)
        if are_clocks(cells):
            raise NotInPieces  # whose day each is, the rows before say
        self._formats = settled_clock(cells, bound.layout, where, typed=False).formats
        declared = bound.layout.time_format not in ("", "auto")
        if not self._formats or not (declared or all(map(_is_sure, self._formats))):
            raise NotInPieces
        self._evidence = evidence_of(self._rows, bound)
        self._marks = settled_marks(bound.layout, lambda: self._evidence, self.separator, where)
        self._check_counts(bound, plant)
        self._meanings: dict[tuple[str, str], dict[str, str]] = {}
        self._joining = False
        self._nights: set[date] = set()
        self._joined: set[date] = set()

    def _check_counts(self, bound: BoundLayout, plant: Plant) -> None:
        """Look whether counters' first cells are totals; the reading of the whole file says so where not."""
        if bound.name_place >= 0 or len(bound.times) != 1:
            return
        counts = CountReadings(bound.layout, plant, self.where)
        times = parse_one(self._rows.column(bound.times[0]), self.form)
        if not times.drop_nulls().is_sorted():  # an hour twice, or newest first: rows as they stand will do
            steps = times.diff()
            falls = int((steps.dt.total_microseconds() < 0).sum()) > len(times) / 2
            place = pl.int_range(len(times), eager=True, dtype=pl.Int64)
            usual = int(steps.dt.total_microseconds().abs().median() or 0)  # type: ignore[arg-type]  # a number
            first = pl.Series([times.min()], dtype=times.dtype)
            times = first + ((-place if falls else place) * usual).cast(pl.Duration("us"))
        for column in bound.columns:
            values = parse_numbers(self._rows.column(column.place), self._marks)[0]
            for channel in column.channels.values() if bound.machine_place is None else ():
                counts.checked(channel, column.header, times, channel.scaled(values))

    @property
    def form(self) -> str:
        """The format that most times are written in."""
        return self._formats[0]

    def schemas(self, heading: Heading, bound: BoundLayout) -> list[dict[str, pl.DataType]]:
        """The types of all columns to try in turn; none where values have to be looked at as text."""
        places = {column.place for column in bound.columns}
        text = any(channel.is_text for column in bound.columns for channel in column.channels.values())
        judged = bound.quality is not None or any(column.quality is not None for column in bound.columns)
        owned = bound.machine_place is not None or bound.name_place >= 0
        if text or judged or owned or len(bound.times) != 1 or places & set(bound.times):
            return []
        if self.form in NUMERIC:
            return []
        texts: dict[str, pl.DataType] = {str(place): pl.String() for place in range(len(heading.names))}
        whole = {p for p in places if self._rows.column(p).cast(pl.Int64, strict=False).null_count() == 0}
        found = []
        if whole == places:
            found.append({**texts, **{str(place): pl.Int64() for place in places}})
        # a decimal point in a later piece settles nothing only where the mark is sure already
        sure = self._layout.decimal or self._evidence.point or self.separator == ","
        if self._marks.decimal == "." and self._marks.thousands != "." and sure:
            mixed = {str(p): pl.Int64() if p in whole else pl.Float64() for p in places}
            found += [{**texts, **mixed}] if whole != places else []
            found += [{**texts, **{str(p): pl.Float64() for p in places}}] if whole else []
        return found

    @contextmanager
    def joining(self) -> Iterator[None]:
        """A context in which the pieces of a night in which the clock goes back are read together."""
        self._joining = True
        try:
            yield
        finally:
            self._joining = False
            self._nights |= self._joined
            self._joined = set()

    def formats(self, cells: pl.Series) -> tuple[str, ...]:
        """The formats of time cells."""
        return self._formats

    def timed(self, clock: Clock, cells: pl.Series) -> None:
        """Look whether cells that are no time would be one in a format that the first rows do not have."""
        unread = cells.filter(clock.naive.is_null() & clock.moment.is_null())
        if len(unread) and formats_in(spaced_alike(unread.unique()).to_list()):
            raise NotInPieces
        self.whole_hours(clock.naive)
        self.times(clock.naive)

    def whole_hours(self, naive: pl.Series) -> None:
        """Look whether the clock has twelve hours and does not say which."""
        try:
            must_have_24_hours(naive, self.where)
        except IntakeError:
            raise NotInPieces from None

    def far(self, at: pl.Series) -> FarTimes:
        """Look whether moments are far from the others: what they are then is settled by all of them."""
        if at.null_count() == len(at) or self._layout.any_times:
            return FarTimes()
        ends = int(at.to_physical().min()), int(at.to_physical().max())  # type: ignore[arg-type]  # whole numbers
        before = self._extent or ends
        apart = max(ends[0] - before[1], before[0] - ends[1]) > _FAR_US
        self._extent = min(ends[0], before[0]), max(ends[1], before[1])
        try:
            found = far_times(at, self._layout, self._now, self.where)
        except IntakeError:
            raise NotInPieces from None
        if apart or found.far is not None:
            raise NotInPieces
        self.notes = found.notes or self.notes
        return FarTimes()

    def times(self, naive: pl.Series) -> None:
        """Look whether wall-clock times are near a night in which the clock goes back."""
        if self._zone in ("UTC", "Etc/UTC") or naive.null_count() == len(naive):
            return
        moments = naive.to_physical()
        ends = int(moments.min()), int(moments.max())  # type: ignore[arg-type]  # whole numbers
        low, high = (_EPOCH + timedelta(microseconds=us) for us in ends)
        years = range((low - 2 * _DAY).year, (high + 2 * _DAY).year + 1)
        nights = {night for year in years for night in _nights(self._zone, year)}
        near = {night for night in nights if _has_near(naive, night)}
        if near & self._nights:
            raise NotInPieces  # other rows of that night were read before without these
        if near and not self._joining:
            raise NearFold
        self._joined |= near

    def marks(self, gathered: Callable[[], SeparatorCounts]) -> NumberSeparators:
        """How numbers are written, by the first rows."""
        if not self._layout.decimal and self._layout.thousands not in (",", "."):
            self._evidence += gathered()
        return self._marks

    def check(self) -> None:
        """Raise where all cells together settle another decimal mark than the first rows did."""
        try:
            marks = settled_marks(self._layout, lambda: self._evidence, self.separator, self.where)
        except IntakeError:
            raise NotInPieces from None
        if marks != self._marks:
            raise NotInPieces

    def judged(self, strip: ChannelColumn) -> pl.Series | None:
        """The quality of a strip's cells by all codes seen so far; None where all are good."""
        if strip.quality is None:
            return None
        owner = strip.header, strip.channel.machine
        before = self._meanings.get(owner, {})
        now = meanings({*before, *(text or "" for text in strip.quality.unique().to_list())})
        if any(now[text] != meaning for text, meaning in before.items()):
            raise NotInPieces
        self._meanings[owner] = now
        if set(now.values()) <= {"good"}:
            return None
        return strip.quality.fill_null("").replace_strict(now, return_dtype=pl.String())


_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - of wall-clock times


def _is_sure(form: str) -> bool:
    """Whether a format has no twin with day and month the other way round."""
    return form in NUMERIC or form.startswith(("%Y", "%d."))


def _has_near(naive: pl.Series, night: date) -> bool:
    start = datetime.combine(night, datetime.min.time()) - _DAY
    return bool(naive.is_between(start, start + 3 * _DAY, closed="left").any())


@lru_cache(maxsize=256)
def _nights(zone: str, year: int) -> tuple[date, ...]:
    """The days of a year on which the clock goes back in a zone."""
    start = datetime(year, 1, 1)  # noqa: DTZ001 - a wall clock
    every = pl.datetime_range(start, start + 366 * _DAY, "10m", time_unit="us", eager=True)
    local = every.dt.replace_time_zone(zone, ambiguous="null", non_existent="null")
    early = every.filter(local.is_null()).dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    return tuple(every.filter(local.is_null()).filter(early.is_not_null()).dt.date().unique().to_list())


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
        bound: BoundLayout,
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
            *self._settled.notes,
            *gap_notes(self._by_gap),
            *name_notes(self._unnamed),
            *self._bound.notes,
        )

    def stretches(self, source: Path) -> Iterator[Stretch]:
        """The rows, some 16 MB of text at a time."""
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
            if frame.schema[str(column.place)] != pl.Float64:
                continue
            whole = any(channel.is_whole for channel in column.channels.values())
            parts = whole and int((values[column.place] % 1.0 != 0).sum()) * 2 > lines
            if parts or not values[column.place].is_finite().all() or b"E+" in data or b"e+" in data:
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
            self._settled.whole_hours(times)
            self._settled.times(times)
            at, _, by_gap = in_utc(times, times.clear().cast(UTC_US), layout.zone or self._plant.zone, None)
            if at.null_count():
                return None
        self._by_gap += by_gap
        self._settled.far(at)
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
        records = records_of(data, self._settled.separator, row)
        if second_headers(records, self._heading):
            raise NotInPieces
        box = [records]
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
