"""What the first rows of a big export settle for all of it, and what in a later piece would unsettle it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from functools import lru_cache

import polars as pl

from lineview.errors import IntakeError
from lineview.intake.bind import Bound
from lineview.intake.clock_cells import joined_cells, settled_clock
from lineview.intake.clock_formats import formats_in
from lineview.intake.clock_read import NUMERIC, Clock, spaced_alike
from lineview.intake.export import NotInPieces
from lineview.intake.heading import Heading
from lineview.intake.number_cells import Evidence, Marks
from lineview.intake.outcome import settled_marks
from lineview.intake.quality import meanings
from lineview.intake.readings import Strip
from lineview.intake.records import Records
from lineview.intake.rows import data_rows
from lineview.intake.take_readings import evidence_of, value_places

_DAY = timedelta(days=1)


class NearFold(Exception):  # noqa: N818 - no error: the piece is read later, with the next
    """A piece has times of a night in which the clock goes back, or of the day before or after it."""


class SettledByHead:
    """What the first rows of a file settle; see lineview.intake.take_readings.Settled.

    Parameters
    ----------
    table : Records
        The first lines.
    heading : Heading
        Of the table.
    bound : Bound
        Where the layout finds everything.
    zone : str
        Of wall-clock times.
    where : str
        The file, for messages.

    Raises
    ------
    NotInPieces, IntakeError
        Where the first rows settle nothing.
    """

    def __init__(self, table: Records, heading: Heading, bound: Bound, zone: str, where: str) -> None:
        self.where, self.separator = where, table.separator
        self._layout, self._zone = bound.layout, zone
        self._rows = data_rows(table, heading, [*bound.times, *value_places(bound)])
        cells = joined_cells(self._rows, bound.times)
        self._formats = settled_clock(cells, bound.layout, where, typed=False).formats
        declared = bound.layout.time_format not in ("", "auto")
        if not self._formats or not (declared or all(map(_is_sure, self._formats))):
            raise NotInPieces
        self._evidence = evidence_of(self._rows, bound)
        self._marks = settled_marks(bound.layout, lambda: self._evidence, self.separator, where)
        self._meanings: dict[tuple[str, str], dict[str, str]] = {}
        self._joining = False
        self._nights: set[date] = set()
        self._joined: set[date] = set()

    @property
    def form(self) -> str:
        """The format that most times are written in."""
        return self._formats[0]

    def schemas(self, heading: Heading, bound: Bound) -> list[dict[str, pl.DataType]]:
        """Give the types of all columns to try in turn; none where values have to be looked at as text."""
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
        """Give a context in which the pieces of a night in which the clock goes back are read together."""
        self._joining = True
        try:
            yield
        finally:
            self._joining = False
            self._nights |= self._joined
            self._joined = set()

    def formats(self, cells: pl.Series) -> tuple[str, ...]:
        """Give the formats of time cells."""
        return self._formats

    def timed(self, clock: Clock, cells: pl.Series) -> None:
        """Look whether cells that are no time would be one in a format that the first rows do not have."""
        unread = cells.filter(clock.naive.is_null() & clock.moment.is_null())
        if len(unread) and formats_in(spaced_alike(unread.unique()).to_list()):
            raise NotInPieces
        self.times(clock.naive)

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

    def marks(self, gathered: Callable[[], Evidence]) -> Marks:
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

    def judged(self, strip: Strip) -> pl.Series | None:
        """Give the quality of a strip's cells by all codes seen so far; None where all are good."""
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
    """Tell whether a format has no twin with day and month the other way round."""
    return form in NUMERIC or form.startswith(("%Y", "%d."))


def _has_near(naive: pl.Series, night: date) -> bool:
    start = datetime.combine(night, datetime.min.time()) - _DAY
    return bool(naive.is_between(start, start + 3 * _DAY, closed="left").any())


@lru_cache(maxsize=256)
def _nights(zone: str, year: int) -> tuple[date, ...]:
    """Give the days of a year on which the clock goes back in a zone."""
    start = datetime(year, 1, 1)  # noqa: DTZ001 - a wall clock
    every = pl.datetime_range(start, start + 366 * _DAY, "10m", time_unit="us", eager=True)
    local = every.dt.replace_time_zone(zone, ambiguous="null", non_existent="null")
    early = every.filter(local.is_null()).dt.replace_time_zone(
        zone, ambiguous="earliest", non_existent="null"
    )
    return tuple(every.filter(local.is_null()).filter(early.is_not_null()).dt.date().unique().to_list())
