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

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import READINGS, UTC_US, empty
from lineview.core.language import tr
from lineview.intake.cells.dateless import are_clocks
from lineview.intake.cells.far_times import FarTimes, far_times
from lineview.intake.cells.numbers import NumberSeparators, SeparatorCounts, are_possible, parse_numbers
from lineview.intake.cells.quality import meanings
from lineview.intake.cells.timestamp_columns import gap_notes, in_utc, joined_cells, less_offset, must_have_24_hours
from lineview.intake.cells.timestamps import NUMERIC, Clock, formats_in, parse_one, settled_clock, spaced_alike
from lineview.intake.detect.delimited import Records
from lineview.intake.detect.header import Heading, second_headers
from lineview.intake.exports import NotInPieces, Stretch
from lineview.intake.find import line_ends
from lineview.intake.layout.bind import BoundLayout
from lineview.intake.outcome import outcome, passed_notes, settled_marks
from lineview.intake.pieces import is_plain, parts_of, pieces_of, records_of
from lineview.intake.tidy.counts import CountReadings, PieceEnds
from lineview.intake.tidy.readings import ChannelColumn
from lineview.intake.tidy.rows import REFUSED, data_rows
from lineview.intake.tidy.take_readings import evidence_of, name_notes, take_rows, value_places
from lineview.plant import Plant

_DAY = timedelta(days=1)
#: Pieces further apart than this are looked at together [µs].
_FAR_US = 60 * 86_400_000_000
#: Rows of one file that may be refused; each is kept with its text and reason.
MOST_REFUSED = 2_000_000
#: Pieces with something odd in them are read so much at a time.
_ODD_BYTES = 6 << 20


def _no_export(path: Path, refused: int) -> Fault:
    """The fault of a big file of which far too much cannot be read."""
    what = tr("{refused:,} rows cannot be read", refused=refused)
    expected = tr("up to {most:,} rows that are refused", most=MOST_REFUSED)
    return Fault(what, str(path), expected, tr("Look into the file, or leave it out."))


class NearFold(Exception):  # noqa: N818 - no error: the piece is read later, with the next
    """A piece has times of a night in which the clock goes back, or of the day before or after it."""


class SettledByHead:
    """What the first rows of a file settle; see lineview.intake.tidy.take_readings.Settled.

    Takes its first lines as `table`; raises NotInPieces or an IntakeError where they settle nothing.
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
        has_zone = bound.layout.zone or "%Z" in self.form
        if has_zone and parse_one(cells.head(1), self.form).dtype == UTC_US:  # all cells are looked at for their clock
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
        has_quality = bound.quality is not None or any(column.quality is not None for column in bound.columns)
        owned = bound.machine_place is not None or bound.name_place >= 0
        if text or has_quality or owned or len(bound.times) != 1 or places & set(bound.times):
            return []
        if self.form in NUMERIC:
            return []
        texts: dict[str, pl.DataType] = {str(place): pl.String() for place in range(len(heading.names))}
        integer_places = {p for p in places if self._rows.column(p).cast(pl.Int64, strict=False).null_count() == 0}
        options = []
        if integer_places == places:
            options.append({**texts, **{str(place): pl.Int64() for place in places}})
        # a decimal point in a later piece settles nothing only where the mark is sure already
        sure = self._layout.decimal or self._evidence.point or self.separator == ","
        if self._marks.decimal == "." and self._marks.thousands != "." and sure:
            mixed = {str(p): pl.Int64() if p in integer_places else pl.Float64() for p in places}
            options += [{**texts, **mixed}] if integer_places != places else []
            options += [{**texts, **{str(p): pl.Float64() for p in places}}] if integer_places else []
        return options

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
        is_apart = max(ends[0] - before[1], before[0] - ends[1]) > _FAR_US
        self._extent = min(ends[0], before[0]), max(ends[1], before[1])
        try:
            times = far_times(at, self._layout, self._now, self.where)
        except IntakeError:
            raise NotInPieces from None
        if is_apart or times.far is not None:
            raise NotInPieces
        self.notes = times.notes or self.notes
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

    def marks(self, evidence_of_rows: Callable[[], SeparatorCounts]) -> NumberSeparators:
        """How numbers are written, by the first rows."""
        if not self._layout.decimal and self._layout.thousands not in (",", "."):
            self._evidence += evidence_of_rows()
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

    Takes the bytes before the data, unpacked, as `skip`, and as `progress` whom to give the rows done.
    """

    def __init__(
        self,
        path: Path,
        skip: int,
        heading: Heading,
        bound: BoundLayout,
        plant: Plant,
        by_head: SettledByHead,
        progress: Callable[[int], None],
    ) -> None:
        self.path: Path = path
        self.layouts: tuple[str, ...] = (bound.layout.id,)
        self._skip, self._bound, self._plant, self._settled, self._progress = skip, bound, plant, by_head, progress
        self._first = heading.first + 1
        self._heading = replace(heading, first=0)
        self._schemas = by_head.schemas(heading, bound)
        self._passed: Counter[str] = Counter()
        self._unnamed: Counter[str] = Counter()
        self._by_gap = 0
        self._counts = CountReadings(bound.layout, plant, str(path))
        self._ends = PieceEnds(bound.channels)

    @property
    def notes(self) -> tuple[str, ...]:
        """Plain sentences for the summary, once all stretches were given."""
        read = (*passed_notes(self._passed), *self._settled.notes, *gap_notes(self._by_gap))
        return (*read, *self._counts.notes, *name_notes(self._unnamed), *self._bound.notes)

    def stretches(self, source: Path) -> Iterator[Stretch]:
        """The rows, some 11 MB of text at a time."""
        row, rows, refused = self._first, 0, 0
        night: list[bytes] = []  # pieces of a night in which the clock goes back are read together
        first_held = row
        for data, lines, stretch in self._pieces(source):
            if stretch is None:
                first_held = first_held if night else row
                night.append(data)
            else:
                ready = [*self._joined(night, first_held), stretch]
                night = []
                refused += sum(part.rows_refused for part in ready)
                rows += sum(part.rows for part in ready)
                if refused > MOST_REFUSED:
                    raise IntakeError(_no_export(self.path, refused))
                self._must_go_on(ready)
                yield from ready
            row += lines
            self._progress(row - self._first)
        for part in self._joined(night, first_held):
            rows, refused = rows + part.rows, refused + part.rows_refused
            self._must_go_on([part])
            yield part
        if rows == refused:
            raise NotInPieces  # that reading says why no row is of any use
        self._settled.check()

    def _must_go_on(self, parts: list[Stretch]) -> None:
        """Raise where the clock may have been set back between pieces: what then is, all rows settle."""
        if not self._bound.layout.any_times and any(self._ends.go_back(part) for part in parts):
            raise NotInPieces

    def _pieces(self, source: Path) -> Iterator[tuple[bytes, int, Stretch | None]]:
        """The file's pieces, their lines, and what they give.

        That is None where they are near a night in which the clock goes back. A piece with anything odd in it
        is cut smaller, for reading it with care takes several times the memory.
        """
        row = self._first
        for data in pieces_of(source, self._skip):
            lines = _lines(data)
            near, complete = self._unless_near(self._plain, data, row, lines)
            parts = (
                [(data, lines)] if near or complete else [(part, _lines(part)) for part in parts_of(data, _ODD_BYTES)]
            )
            for part, size in parts:
                yield part, size, complete if near or complete else self._unless_near(self._read, part, row, size)[1]
                row += size

    def _unless_near(
        self, read: Callable[[bytes, int, int], Stretch | None], data: bytes, row: int, lines: int
    ) -> tuple[bool, Stretch | None]:
        """Whether a piece is near a night in which the clock goes back, and else what it gives."""
        try:
            return False, read(data, row, lines)
        except NearFold:
            return True, None

    def _joined(self, night: list[bytes], row: int) -> list[Stretch]:
        if not night:
            return []
        with self._settled.joining():
            joined = b"".join(night)
            return [self._read(joined, row, _lines(joined))]

    def _read(self, data: bytes, row: int, lines: int) -> Stretch:
        plain = self._plain(data, row, lines)
        return self._careful(data, row) if plain is None else plain

    def _plain(self, data: bytes, row: int, lines: int) -> Stretch | None:
        """Read a piece with the types of the first rows; None where anything in it is odd."""
        if is_plain(data) and data.endswith(b"\n"):
            for schema in self._schemas:
                stretch = self._typed(data, row, lines, schema)
                if stretch is not None:
                    return stretch
        return None

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
            is_count = any(channel.is_whole for channel in column.channels.values())
            parts = is_count and int((values[column.place] % 1.0 != 0).sum()) * 2 > lines
            if parts or not are_possible(values[column.place]) or b"E+" in data or b"e+" in data:
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
                try:
                    self._counts.plausible(channel, column.header, rows, at, scaled)
                except IntakeError:
                    raise NotInPieces from None  # of the whole file it may not be true
                constants = {"machine": channel.machine, "channel": channel.part.id, "quality": "good"}
                literals = [pl.lit(text, pl.String()).alias(name) for name, text in constants.items()]
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
            table = take_rows(box, self._heading, self._bound, self._plant, self._settled, lambda _rows: None)
        except IntakeError:
            raise NotInPieces from None  # of a whole file it may not be true
        layout = self._bound.layout
        result = outcome(layout, table.tidy, table.rows, table.is_kept, table.cells, (), table.uncertain)
        self._passed.update(result.passed)
        self._unnamed.update(table.unnamed)
        self._by_gap += table.by_gap
        return Stretch((result.tidy,), row, result.rows, result.refused, result.rows_refused, result.uncertain)


def _lines(data: bytes) -> int:
    return line_ends(data) + (not data.endswith(b"\n"))
