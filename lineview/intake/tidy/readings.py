"""Tidy readings from rows, wide or long: a value of one channel at one moment each."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import polars as pl

from lineview.core.frames import READINGS, empty
from lineview.core.units import dimension
from lineview.intake import refusal_reasons
from lineview.intake.cells.numbers import NumberSeparators, parse_numbers, units_behind, without_units
from lineview.intake.detect.header import same
from lineview.intake.layout.bind import BoundLayout
from lineview.intake.layout.channels import Channel, machine_named, own_unit
from lineview.intake.tidy.counts import CountReadings
from lineview.intake.tidy.rows import REFUSED, Rows
from lineview.plant import Counter, Plant

#: From so many numbers on a column says what it holds.
_COLUMN = 8
#: A number that only base 16 has: letters beside digits.
_BASE_16 = r"^\s*(?:0[xX])?(?:\d+[A-Fa-f][\dA-Fa-f]*|[A-Fa-f]+\d[\dA-Fa-f]*)\s*$"


@dataclass(frozen=True)
class ChannelColumn:
    """Cells of one channel: `places` are their positions among the rows, None where they are all rows.

    `lanes` are the cells of further columns that are added to them.
    """

    channel: Channel
    header: str
    cells: pl.Series
    places: pl.Series | None = None
    quality: pl.Series | None = None
    lanes: tuple[pl.Series, ...] = ()

    def numbers(self, marks: NumberSeparators) -> tuple[pl.Series, pl.Series | None]:
        """The numbers of the cells in the channel's own unit, lanes added, and why some have none."""
        values, why = self._scaled(marks)
        for cells in self.lanes:
            added, why_not = replace(self, cells=cells, lanes=())._scaled(marks)
            values = values + added
            if why_not is not None:
                why = why_not if why is None else why.zip_with(why.is_not_null(), why_not)
        part = self.channel.part
        if self.lanes and isinstance(part, Counter) and part.modulus != "unknown":
            values = values % float(part.modulus)  # each lane turns on its own, and what they add stays true
        return values, why

    def each_lane(self, marks: NumberSeparators) -> list[pl.Series]:
        """The numbers of each column that is added."""
        return [replace(self, cells=cells, lanes=())._scaled(marks)[0] for cells in (self.cells, *self.lanes)]

    def _scaled(self, marks: NumberSeparators) -> tuple[pl.Series, pl.Series | None]:
        values, why = parse_numbers(self.cells, marks)
        values = self.channel.scaled(values)
        if why is None:
            return values, None
        bare = without_units(self.cells)
        for unit, places in units_behind(self.cells).items():
            if dimension(unit) == dimension(own_unit(self.channel.part)):
                read, _ = parse_numbers(bare.gather(places), marks)
                values = values.scatter(places, replace(self.channel, unit=unit).scaled(read))
                why = why.set(values.is_not_null(), None)
        return values, why


@dataclass(frozen=True)
class Block:
    """Readings of one channel; text and quality are None where they are null and good throughout."""

    channel: Channel
    frame: pl.DataFrame
    has_text: bool
    has_quality: bool


@dataclass
class TidyReadings:
    """What the strips of a table gave so far."""

    is_kept: pl.Series
    blocks: list[Block] = field(default_factory=list)
    cells: list[pl.DataFrame] = field(default_factory=list)
    uncertain: int = 0


def tidy_readings(
    rows: Rows,
    at: pl.Series,
    strips: Iterator[ChannelColumn],
    marks: NumberSeparators,
    judged: Callable[[ChannelColumn], pl.Series | None],
    counts: CountReadings,
    report_progress: Callable[[int], None],
) -> tuple[pl.DataFrame, pl.DataFrame, pl.Series, int]:
    """Read strips of cells as readings."""
    number, at = rows.number.rechunk(), at.rechunk()  # else every block would copy them to line up chunks
    gathered = TidyReadings(pl.repeat(False, len(number), dtype=pl.Boolean, eager=True))
    for i, strip in enumerate(strips, 1):
        _take(strip, number, at, marks, judged(strip), counts, gathered)
        report_progress(min(len(number), len(number) * i // (i + 1)))
    cells = pl.concat(gathered.cells) if gathered.cells else empty(REFUSED)
    return _tall(gathered.blocks), cells, gathered.is_kept, gathered.uncertain


def _take(
    strip: ChannelColumn,
    number: pl.Series,
    at: pl.Series,
    marks: NumberSeparators,
    quality: pl.Series | None,
    counts: CountReadings,
    gathered: TidyReadings,
) -> None:
    places = strip.places
    own_at = at if places is None else at.gather(places)
    own_row = number if places is None else number.gather(places)
    if strip.channel.is_text:
        values, why, text = None, None, _texts(strip.cells)
        has = text.is_not_null()
    else:
        values, why = strip.numbers(marks)
        if strip.lanes:
            counts.look_at_lanes(strip.channel, strip.header, own_at, strip.each_lane(marks))
        if strip.channel.is_whole:
            values, why = _whole(strip, values, why)
        sums = counts.sums(strip.channel, own_row, own_at, values)
        if sums is not None:
            values, why = _refused(strip, values, why, sums, refusal_reasons.SUM_OF_ROWS)
        text, has = None, values.is_not_null()
        counts.checked(strip.channel, strip.header, own_at, values)
        counts.plausible(strip.channel, strip.header, own_row, own_at, values)
    if quality is not None:
        bad = (quality == "bad") & (strip.cells != "")
        if bad.any() and strip.quality is not None:
            reasons = pl.select(pl.format(refusal_reasons.BAD_QUALITY, strip.quality.str.strip_chars())).to_series()
            why = reasons.zip_with(bad, _blank_reasons(len(bad)) if why is None else why)
            has = has & ~bad
        quality = pl.select(pl.when(quality == "uncertain").then(quality).otherwise(pl.lit("good"))).to_series()
    if why is not None:
        _refuse(strip, own_row, why, gathered)
    parts = {"value": None if values is None else values.rechunk(), "text": text, "quality": quality}
    columns = {name: part for name, part in parts.items() if part is not None}
    block = pl.DataFrame({"at": own_at, "row": own_row, **columns})
    if has.all():
        gathered.is_kept = has if places is None else gathered.is_kept.scatter(places, True)
    else:
        block = block.filter(has)
        some = has.arg_true() if places is None else places.filter(has)
        gathered.is_kept = gathered.is_kept.scatter(some, True)
    if quality is not None:
        gathered.uncertain += int((quality.filter(has) == "uncertain").sum())
    block = counts.filled(strip.channel, block)
    if block.height:
        gathered.blocks.append(Block(strip.channel, block, text is not None, quality is not None))


def _whole(strip: ChannelColumn, values: pl.Series, why: pl.Series | None) -> tuple[pl.Series, pl.Series | None]:
    """Refuse a column of parts of pieces, its whole numbers too, of thousands that hide pieces, or of other digits."""
    parts = (values % 1.0 != 0.0).fill_null(False)
    read = len(values) - values.null_count()
    rounded = strip.channel.unit == "thousand" and bool((values.round() % 10.0 == 0.0).all()) and values.n_unique() > 1
    if rounded:
        reason = refusal_reasons.ROUNDED
    elif why is not None and strip.cells.str.contains(_BASE_16).sum() > 1:
        reason = refusal_reasons.OF_BASE_16
    elif _has_both_marks(strip.cells):
        reason = refusal_reasons.OF_BOTH_MARKS
    elif read >= _COLUMN and int(parts.sum()) * 2 > read:
        reason = refusal_reasons.OF_PARTS
    else:
        return values, why
    return _refused(strip, values, why, values.is_not_null(), reason)


def _has_both_marks(cells: pl.Series) -> bool:
    if cells.cast(pl.Int64, strict=False).null_count() == 0:
        return False
    return all(cells.str.contains(rf"^\s*\d{{1,3}}{mark}\d{{3}}\s*$").sum() > 1 for mark in (r"\.", ","))


def _refused(
    strip: ChannelColumn, values: pl.Series, why: pl.Series | None, some: pl.Series, reason: str
) -> tuple[pl.Series, pl.Series]:
    reasons = pl.select(pl.format(reason, strip.cells.str.strip_chars())).to_series()
    return values.set(some, None), reasons.zip_with(some, _blank_reasons(len(values)) if why is None else why)


def _blank_reasons(size: int) -> pl.Series:
    return pl.Series("why", [None], dtype=pl.String()).new_from_index(0, size)


def _texts(cells: pl.Series) -> pl.Series:
    """Give names and codes without blanks around, null where there is none."""
    bare = cells.str.strip_chars().str.replace(r"^(\d+\.\d+)E0$", "$1")
    return bare.set(bare.is_in(["", "-", "--", "n/a", "N/A", "null", "NULL", "#N/A"]), None)


def _refuse(strip: ChannelColumn, row: pl.Series, why: pl.Series, gathered: TidyReadings) -> None:
    refused = why.is_not_null()
    cells = {"row": row.filter(refused), "text": strip.cells.filter(refused), "reason": why.filter(refused)}
    column = pl.Series([strip.header], dtype=pl.String).new_from_index(0, len(cells["row"]))
    gathered.cells.append(pl.DataFrame({"row": cells["row"], "column": column, **cells}))


def _tall(blocks: list[Block]) -> pl.DataFrame:
    """Put the blocks under one another; what is alike throughout stays one value, not millions."""
    if not blocks:
        return empty(READINGS)
    alike: dict[str, str | int | None] = {"intake": 0}
    if not any(block.has_text for block in blocks):
        alike["text"] = None
    if not any(block.has_quality for block in blocks):
        alike["quality"] = "good"
    if len({block.channel.machine for block in blocks}) == 1:
        alike["machine"] = blocks[0].channel.machine
    if len({block.channel.part.id for block in blocks}) == 1:
        alike["channel"] = blocks[0].channel.part.id
    names = [name for name in READINGS if name not in alike]
    frames = []
    while blocks:
        block = blocks.pop(0)
        each = {
            "machine": block.channel.machine,
            "channel": block.channel.part.id,
            "value": None,
            "text": None,
            "quality": "good",
        }
        missing = [name for name in names if name not in block.frame.columns]
        literals = [pl.lit(each[name], dtype=READINGS[name]).alias(name) for name in missing]
        frame = block.frame.with_columns(literals) if missing else block.frame
        frames.append(frame[names])
    tall = frames.pop(0)
    for frame in frames:  # shares the frames' memory, where concat would copy them
        tall = tall.vstack(frame)
    literals = [pl.lit(value, dtype=READINGS[name]).alias(name) for name, value in alike.items()]
    return tall.with_columns(literals).select(list(READINGS))


def wide_strips(bound: BoundLayout, rows: Rows, machine: pl.Series | None) -> Iterator[ChannelColumn]:
    """A wide table's strips: a column each, split by machine where a column names it."""
    shared = None if bound.quality is None else rows.column(bound.quality)
    uses = Tally(place for each in bound.columns for place in (each.place, each.quality))
    for column in bound.columns:
        cells = rows.column(column.place)
        quality = shared if column.quality is None else rows.column(column.quality)
        lanes = tuple(rows.column(place) for place in column.lanes)
        if uses[column.place] == 1:
            rows.release(column.place)
        uses[column.place] -= 1
        if machine is None:
            for channel in column.channels.values():
                yield ChannelColumn(channel, column.header, cells, None, quality, lanes)
            continue
        for name, channel in column.channels.items():
            places = (machine == name).arg_true()
            if len(places):
                own_quality = None if quality is None else quality.gather(places)
                mine = tuple(lane.gather(places) for lane in lanes)
                yield ChannelColumn(channel, column.header, cells.gather(places), places, own_quality, mine)


def long_strips(bound: BoundLayout, rows: Rows, machine: pl.Series | None) -> Iterator[ChannelColumn]:
    """A long table's strips: one for each name and machine."""
    names, values = rows.column(bound.name_place), rows.column(bound.value_place)
    quality = None if bound.quality is None else rows.column(bound.quality)
    for name in names.unique(maintain_order=True).to_list():
        for owner, channel in bound.names.get(same(name), {}).items():
            mine = names == name if machine is None else (names == name) & (machine == owner)
            places = mine.arg_true()
            if len(places):
                own_quality = None if quality is None else quality.gather(places)
                yield ChannelColumn(channel, name, values.gather(places), places, own_quality)


def machine_column(place: int | None, fallback: str | None, rows: Rows, plant: Plant) -> pl.Series | None:
    """Each row's machine id by its machine column: null where it is unknown, None without the column."""
    if place is None:
        return None
    cells = rows.column(place)
    known: dict[str, str | None] = {}
    for cell in cells.unique().to_list():
        machine = machine_named(plant, cell) if cell.strip() else plant.machine(fallback or "")
        known[cell] = machine.id if machine else None
    return cells.replace_strict(known, return_dtype=pl.String())


def unknown_names(bound: BoundLayout, rows: Rows) -> pl.Series:
    """Why rows of a long table have no channel; null where they have one."""
    names = rows.column(bound.name_place)
    meaning = {
        name: None if bound.names.get(same(name)) else refusal_reasons.UNKNOWN_NAME.format(name)
        for name in names.unique().to_list()
    }
    return names.replace_strict(meaning, return_dtype=pl.String())
