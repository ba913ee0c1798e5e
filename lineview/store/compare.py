"""What of an export is new, what repeats what is there, and what contradicts it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from lineview.core.frames import UTC_US
from lineview.store.blocks import Block, moments_us
from lineview.store.query import WEIGHING, JournalRows, MeasuredRows, contradictions, disputed_weighings, nth_alike
from lineview.store.rolling import with_steps, without_replaced
from lineview.store.tables import RecordType

#: Moments for which entries contradict each other; `label` separates what one owner has at one moment.
DISPUTES = {"kind": pl.String(), "owner": pl.String(), "label": pl.String(), "at": UTC_US}

#: What a reading says.
_CONTENT = ["at", "value", "text"]


@dataclass
class Tally:
    """Which rows of an export say something new, by part and row, and the moments that are disputed.

    A row is a duplicate when nothing that it says is new. `first_row` is a number that no row's is below.
    """

    first_row: int = 0
    row_marks: dict[int, np.ndarray] = field(default_factory=dict)
    new: dict[int, np.ndarray] = field(default_factory=dict)
    disputes: list[pl.DataFrame] = field(default_factory=list)

    def add(self, part: int, rows: pl.Series, repeats: pl.Series | None) -> None:
        """Count rows; `repeats` marks those that say nothing new, None where all are new."""
        numbers = rows.to_numpy() - self.first_row
        every = _as_slice(numbers)
        for marks_by_part, chosen in (
            (self.row_marks, every),
            (self.new, every if repeats is None else numbers[~repeats.to_numpy()]),
        ):
            marks = marks_by_part.get(part, np.zeros(0, dtype=bool))
            top = every.stop if isinstance(every, slice) else int(numbers.max(initial=0)) + 1
            if top > marks.size:
                marks = np.concatenate([marks, np.zeros(top - marks.size, dtype=bool)])
            marks[chosen] = True
            marks_by_part[part] = marks

    @property
    def new_rows(self) -> int:
        """Rows that say something new."""
        return sum(int(marks.sum()) for marks in self.new.values())

    @property
    def duplicate(self) -> int:
        """Rows that say nothing new."""
        return sum(int(marks.sum()) for marks in self.row_marks.values()) - self.new_rows

    def dispute(self, kind: str, rows: pl.DataFrame, owner: str, label: str, at: str) -> None:
        """Note the moments of disputed rows."""
        moments = rows.select(
            pl.lit(kind).alias("kind"),
            pl.col(owner).fill_null("").alias("owner"),
            (pl.col(label).cast(pl.String).fill_null("") if label else pl.lit("")).alias("label"),
            pl.col(at).alias("at"),
        )
        self.disputes.append(moments.unique(maintain_order=True))


def _as_slice(numbers: np.ndarray) -> np.ndarray | slice:
    """Give numbers that follow one another as a slice, which is marked in a fraction of the time."""
    dense = numbers.size and int(numbers[-1]) - int(numbers[0]) + 1 == numbers.size
    if dense and bool((numbers[1:] - numbers[:-1] == 1).all()):
        return slice(int(numbers[0]), int(numbers[-1]) + 1)
    return numbers


def compare_readings(block: Block, there: pl.DataFrame | None, tally: Tally) -> None:
    """Compare the readings of one channel with each other and with those that are there.

    Moments that either side has once are looked up in order; only the few that a side has in several
    versions are grouped.
    """
    once = _each_once(block.moments)
    if once and (there is None or there.is_empty()):
        tally.add(block.part, block.rows["row"], None)
        return
    rows = block.rows[[*_CONTENT, "row"]]
    stored = rows[_CONTENT].clear() if there is None else there[_CONTENT].sort("at")
    if once and _each_once(moments_us(stored["at"])):
        repeats, disputed = _look_up(rows, stored)
        _note(block, rows["row"], repeats, disputed, tally)
        return
    again = _as_before(rows)
    stored = stored.filter(~_as_before(stored))
    several = pl.concat([_twice(rows.filter(~again)["at"]), _twice(stored["at"])]).unique()
    tangled = rows["at"].is_in(several.implode()) if several.len() else pl.repeat(False, rows.height, eager=True)
    repeats, disputed = _look_up(rows, stored)
    if several.len():
        few = rows.filter(tangled)
        versions = pl.concat([few.select(_CONTENT), stored.join(several.to_frame(), on="at", how="semi")])
        distinct = stored.with_columns(is_stored=pl.lit(value=True)).unique(_CONTENT)
        of_few = few.join(distinct, on=_CONTENT, how="left", nulls_equal=True, maintain_order="left")["is_stored"]
        first = few.select(pl.struct(_CONTENT).is_first_distinct().alias("first"))["first"]
        repeat_marks = np.array(repeats.to_numpy(), copy=True)
        repeat_marks[tangled.to_numpy()] = (of_few.fill_null(value=False) | ~first).to_numpy()
        repeats = pl.Series(repeat_marks)
        contradicted = versions.unique().group_by("at").len().filter(pl.col("len") > 1)["at"]
        disputed = pl.concat([disputed.filter(~disputed.is_in(several.implode())), contradicted])
    _note(block, rows["row"], repeats | again, disputed, tally)


def _note(block: Block, row: pl.Series, repeats: pl.Series, disputed: pl.Series, tally: Tally) -> None:
    tally.add(block.part, row, repeats if bool(repeats.any()) else None)
    if disputed.len():
        moments = disputed.sort().alias("at").to_frame()
        moments = moments.with_columns(machine=pl.lit(block.machine), channel=pl.lit(block.channel))
        tally.dispute("readings", moments, "machine", "channel", "at")


def _each_once(moments: np.ndarray) -> bool:
    """Whether no moment stands twice in sorted moments."""
    return bool((moments[1:] > moments[:-1]).all())


def _as_before(rows: pl.DataFrame) -> pl.Series:
    """Mark the rows that say what the row before them says."""
    same = pl.all_horizontal(pl.col(name).eq_missing(pl.col(name).shift(1)) for name in _CONTENT)
    return rows.select(same.alias("same"))["same"].fill_null(value=False)


def _twice(at: pl.Series) -> pl.Series:
    """The moments that stand more than once in sorted moments."""
    return at.tail(-1).filter(at.tail(-1) == at.head(-1)).unique()


def _look_up(rows: pl.DataFrame, stored: pl.DataFrame) -> tuple[pl.Series, pl.Series]:
    """Mark the rows that the known ones say too, and give the moments of which they say another thing."""
    if stored.is_empty():
        return pl.repeat(False, rows.height, eager=True), rows["at"].clear()
    at, old = moments_us(rows["at"]), moments_us(stored["at"])
    place = np.minimum(np.searchsorted(old, at), old.size - 1)
    matches = np.flatnonzero(old[place] == at)
    mine, other = rows[matches], stored[place[matches]]
    same = mine["value"].eq_missing(other["value"]) & mine["text"].eq_missing(other["text"])
    repeats = np.zeros(at.size, dtype=bool)
    repeats[matches] = same.to_numpy()
    return pl.Series(repeats), mine["at"].filter(~same)


def compare_weights(block: Block, there: pl.DataFrame | None, tally: Tally) -> None:
    """Compare the weighings of one machine with those that are there; alike ones of one file are not one."""
    if there is None or there.is_empty():
        tally.add(block.part, block.rows["row"], None)
        return
    columns = [*WEIGHING, "nth"]
    stored = there.with_columns(nth_alike()).select(columns).unique().with_columns(known=pl.lit(value=True))
    rows = block.rows.with_columns(nth_alike())
    joined = rows.join(stored, on=columns, how="left", nulls_equal=True, maintain_order="left")
    tally.add(block.part, rows["row"], joined["known"].fill_null(value=False))
    mine = block.rows.with_columns(intake=pl.lit(_THIS_ONE, pl.Int64))
    disputed = disputed_weighings(pl.concat([there.select(mine.columns), mine])).filter(intake=_THIS_ONE)
    if disputed.height:
        tally.dispute("weights", disputed, "machine", "", "at")


#: The number of an export that has none yet.
_THIS_ONE = 2**62


def compare_kind(part: int, kind: RecordType, tidy: pl.DataFrame, there: pl.DataFrame, tally: Tally) -> None:
    """Compare rows of one of the journal's kinds with each other and with those that are there."""
    columns: Sequence[str] = [*kind.keys, *kind.values]
    repeats = ~tidy.select(pl.struct(columns).is_first_distinct().alias("first"))["first"]
    stored = there.select(columns).unique().with_columns(known=pl.lit(value=True))
    joined = tidy.join(stored, on=columns, how="left", nulls_equal=True, maintain_order="left")
    tally.add(part, tidy["row"], repeats | joined["known"].fill_null(value=False))
    rows = without_replaced(kind, pl.concat([there, with_steps(kind, tidy)], how="diagonal"))
    both = contradictions(rows.select(columns), kind.keys, kind.values)
    mine = both.join(tidy.select(kind.keys), on=kind.keys, how="semi", nulls_equal=True)
    if mine.height:
        tally.dispute(kind.name, mine, kind.owner, kind.label, kind.at)


#: Up to so many rows of a machine, all its channels are fetched at once; beyond, one after the other.
_AT_ONCE = 200_000

Extents = dict[tuple[str, str], list[tuple[int, int]]]


class Nearby:
    """What an export of a group is compared with: what is done, and the group's exports before it."""

    def __init__(self, measured: dict[str, MeasuredRows], journal_rows: JournalRows) -> None:
        self._measured = measured
        self._journal_rows = journal_rows
        self._extents: dict[str, Extents] = {}
        self._blocks: dict[tuple[str, str, str], list[Block]] = {}
        self._tidy: dict[str, list[pl.DataFrame]] = {}
        self._given = 0

    def expect(self, blocks_by_kind: dict[str, list[Block]]) -> None:
        """Look up once which channels have readings in the time that the group's blocks span."""
        for name, blocks in blocks_by_kind.items():
            if blocks:
                machines = {block.machine for block in blocks}
                first, last = min(b.first for b in blocks), max(b.last for b in blocks)
                rows = self._measured[name].extents(machines, first, last)
                extents: Extents = {}
                for machine, channel, begin, end in rows.iter_rows():
                    extents.setdefault((machine, channel), []).append((begin, end))
                self._extents[name] = extents

    def there(self, name: str, blocks: Sequence[Block]) -> list[pl.DataFrame | None]:
        """What is there between the first and last moment of each block; None where nothing can be."""
        spans = [self._overlap(name, block) for block in blocks]
        stored = self._stored(name, blocks, spans)
        result: list[pl.DataFrame | None] = []
        for block, rows in zip(blocks, stored, strict=True):
            before = self._blocks.get((name, block.machine, block.channel), [])
            overlapping = [b for b in before if b.last >= block.first and b.first <= block.last]
            parts = ([rows] if rows is not None else []) + [_rows_in_time_of(name, b, block) for b in overlapping]
            result.append(pl.concat(parts) if parts else None)
        return result

    def _overlap(self, name: str, block: Block) -> tuple[int, int] | None:
        """The part of a block's time in which the store has readings of its channel, or None."""
        overlaps = [
            (first, last)
            for first, last in self._extents.get(name, {}).get((block.machine, block.channel), ())
            if last >= block.first and first <= block.last
        ]
        if not overlaps:
            return None
        return max(min(first for first, _ in overlaps), block.first), min(max(last for _, last in overlaps), block.last)

    def _stored(
        self, name: str, blocks: Sequence[Block], block_spans: Sequence[tuple[int, int] | None]
    ) -> list[pl.DataFrame | None]:
        table = self._measured[name]
        stored: list[pl.DataFrame | None] = [None] * len(blocks)
        if name != "readings":
            for i, span in enumerate(block_spans):
                if span is not None:
                    stored[i] = table.between(blocks[i].machine, *span)
            return stored
        for machine in {block.machine for block, span in zip(blocks, block_spans, strict=True) if span}:
            mine = [i for i, block in enumerate(blocks) if block.machine == machine and block_spans[i]]
            several = sum(blocks[i].rows.height for i in mine) <= _AT_ONCE
            for some in [mine] if several else [[i] for i in mine]:
                spans = [span for i in some if (span := block_spans[i])]
                channels = sorted({blocks[i].channel for i in some})
                low, high = min(first for first, _ in spans), max(last for _, last in spans)
                rows = table.between(machine, low, high, channels)
                if rows is not None:
                    of = rows.partition_by("channel", as_dict=True, include_key=False)
                    for i in some:
                        stored[i] = of.get((blocks[i].channel,))
        return stored

    def like(self, kind: RecordType, tidy: pl.DataFrame) -> pl.DataFrame:
        """The rows that may speak of the same things as these."""
        before = [with_steps(kind, rows) for rows in self._tidy.get(kind.name, [])]
        return pl.concat([self._journal_rows.like(kind, tidy), *before], how="diagonal")

    def add(self, blocks_by_kind: dict[str, list[Block]], kinds: Sequence[tuple[str, pl.DataFrame]]) -> None:
        """Hold what an export of the group gives, for those after it."""
        self._given -= 1  # a number of its own, so that alike weighings of two exports are not counted on
        for name, blocks in blocks_by_kind.items():
            for block in blocks:
                compared = block
                if name != "readings":
                    rows = block.rows.with_columns(intake=pl.lit(self._given, pl.Int64))
                    compared = Block(block.part, block.machine, block.channel, rows)
                self._blocks.setdefault((name, block.machine, block.channel), []).append(compared)
        for kind, tidy in kinds:
            self._tidy.setdefault(kind, []).append(tidy)


def _rows_in_time_of(name: str, before: Block, block: Block) -> pl.DataFrame:
    """What an export before it says in the time of a block."""
    begin = int(np.searchsorted(before.moments, block.first, "left"))
    end = int(np.searchsorted(before.moments, block.last, "right"))
    rows = before.rows.slice(begin, end - begin)
    return rows[_CONTENT] if name == "readings" else rows
