"""What of an export is new, what repeats what is there, and what contradicts it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from lineview.columns import UTC_US
from lineview.store.blocks import Block
from lineview.store.kinds import Kind
from lineview.store.settle import WEIGHING, contradictions, nth_alike

#: The moments of which two different things are told; `label` tells apart what one owner has at one moment.
DISPUTES = {
    "kind": pl.String(),
    "owner": pl.String(),
    "label": pl.String(),
    "at": UTC_US,
}

#: What a reading says.
_SAID = ["at", "value", "text"]


@dataclass
class Tally:
    """Which rows of an export say something new, by part and row, and the moments that are disputed.

    A row is a duplicate when nothing that it says is new. `first_row` is a number that no row's is below.
    """

    first_row: int = 0
    seen: dict[int, np.ndarray] = field(default_factory=dict)
    new: dict[int, np.ndarray] = field(default_factory=dict)
    disputes: list[pl.DataFrame] = field(default_factory=list)

    def add(self, part: int, rows: pl.Series, repeats: pl.Series | None) -> None:
        """Count rows; `repeats` marks those that say nothing new, None where all are new."""
        numbers = rows.to_numpy() - self.first_row
        every = _as_slice(numbers)
        for found, chosen in (
            (self.seen, every),
            (self.new, every if repeats is None else numbers[~repeats.to_numpy()]),
        ):
            marks = found.get(part, np.zeros(0, dtype=bool))
            top = every.stop if isinstance(every, slice) else int(numbers.max(initial=0)) + 1
            if top > marks.size:
                marks = np.concatenate([marks, np.zeros(top - marks.size, dtype=bool)])
            marks[chosen] = True
            found[part] = marks

    @property
    def kept(self) -> int:
        """Rows that say something new."""
        return sum(int(marks.sum()) for marks in self.new.values())

    @property
    def duplicate(self) -> int:
        """Rows that say nothing new."""
        return sum(int(marks.sum()) for marks in self.seen.values()) - self.kept

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

    Parameters
    ----------
    block : Block
        The readings, sorted by moment.
    there : polars.DataFrame or None
        at, value and text of what is there between the block's first and last moment; None for nothing.
    tally : Tally
        Is added to.

    Notes
    -----
    Moments that either side has once are looked up in order; only the few that a side tells in several
    versions are grouped.
    """
    if (there is None or there.is_empty()) and _each_once(block.rows["at"]):
        tally.add(block.part, block.rows["row"], None)
        return
    rows = block.rows.select(*_SAID, "row")
    known = rows.select(_SAID).clear() if there is None else there.select(_SAID).sort("at")
    again = _as_before(rows)
    known = known.filter(~_as_before(known))
    several = pl.concat([_twice(rows.filter(~again)["at"]), _twice(known["at"])]).unique()
    tangled = (
        rows["at"].is_in(several.implode()) if several.len() else pl.repeat(False, rows.height, eager=True)
    )
    repeats, disputed = _looked_up(rows, known)
    if several.len():
        few = rows.filter(tangled)
        versions = pl.concat([few.select(_SAID), known.join(several.to_frame(), on="at", how="semi")])
        seen = known.with_columns(seen=pl.lit(value=True)).unique(_SAID)
        of_few = few.join(seen, on=_SAID, how="left", nulls_equal=True, maintain_order="left")["seen"]
        first = few.select(pl.struct(_SAID).is_first_distinct().alias("first"))["first"]
        told = np.array(repeats.to_numpy(), copy=True)
        told[tangled.to_numpy()] = (of_few.fill_null(value=False) | ~first).to_numpy()
        repeats = pl.Series(told)
        counted = versions.unique().group_by("at").len().filter(pl.col("len") > 1)["at"]
        disputed = pl.concat([disputed.filter(~disputed.is_in(several.implode())), counted])
    tally.add(block.part, rows["row"], (repeats | again) if bool((repeats | again).any()) else None)
    if disputed.len():
        named = disputed.sort().alias("at").to_frame()
        named = named.with_columns(machine=pl.lit(block.machine), channel=pl.lit(block.channel))
        tally.dispute("readings", named, "machine", "channel", "at")


def _each_once(at: pl.Series) -> bool:
    """Whether no moment stands twice in sorted moments."""
    moments = at.to_physical().to_numpy()
    return bool((moments[1:] > moments[:-1]).all())


def _as_before(rows: pl.DataFrame) -> pl.Series:
    """Mark the rows that say what the row before them says."""
    same = pl.all_horizontal(pl.col(name).eq_missing(pl.col(name).shift(1)) for name in _SAID)
    return rows.select(same.alias("same"))["same"].fill_null(value=False)


def _twice(at: pl.Series) -> pl.Series:
    """Give the moments that stand more than once in sorted moments."""
    return at.tail(-1).filter(at.tail(-1) == at.head(-1)).unique()


def _looked_up(rows: pl.DataFrame, known: pl.DataFrame) -> tuple[pl.Series, pl.Series]:
    """Mark the rows that the known ones say too, and give the moments of which they say another thing."""
    if known.is_empty():
        return pl.repeat(False, rows.height, eager=True), rows["at"].clear()
    at, old = rows["at"].to_physical().to_numpy(), known["at"].to_physical().to_numpy()
    place = np.minimum(np.searchsorted(old, at), old.size - 1)
    met = pl.Series(old[place] == at)
    other = known[place]
    same = rows["value"].eq_missing(other["value"]) & rows["text"].eq_missing(other["text"])
    return met & same, rows["at"].filter(met & ~same)


def compare_weights(block: Block, there: pl.DataFrame | None, tally: Tally) -> None:
    """Compare the weighings of one machine with those that are there; alike ones of one file are not one.

    Parameters
    ----------
    block : Block
        The weighings, sorted by moment.
    there : polars.DataFrame or None
        WEIGHTS of what is there between the block's first and last moment; None for nothing.
    tally : Tally
        Is added to.
    """
    if there is None or there.is_empty():
        tally.add(block.part, block.rows["row"], None)
        return
    said = [*WEIGHING, "nth"]
    known = there.with_columns(nth_alike()).select(said).unique().with_columns(known=pl.lit(value=True))
    rows = block.rows.with_columns(nth_alike())
    joined = rows.join(known, on=said, how="left", nulls_equal=True, maintain_order="left")
    tally.add(block.part, rows["row"], joined["known"].fill_null(value=False))


def compare_kind(part: int, kind: Kind, tidy: pl.DataFrame, there: pl.DataFrame, tally: Tally) -> None:
    """Compare rows of one of the journal's kinds with each other and with those that are there.

    Parameters
    ----------
    part : int
        Which part of the export the rows are of.
    kind : Kind
        What they are.
    tidy, there : polars.DataFrame
        With the kind's columns: the export's rows, and those there that may speak of the same.
    tally : Tally
        Is added to.
    """
    said: Sequence[str] = [*kind.keys, *kind.values]
    repeats = ~tidy.select(pl.struct(said).is_first_distinct().alias("first"))["first"]
    known = there.select(said).unique().with_columns(known=pl.lit(value=True))
    joined = tidy.join(known, on=said, how="left", nulls_equal=True, maintain_order="left")
    tally.add(part, tidy["row"], repeats | joined["known"].fill_null(value=False))
    both = contradictions(pl.concat([there.select(said), tidy.select(said)]), kind.keys, kind.values)
    mine = both.join(tidy.select(kind.keys), on=kind.keys, how="semi", nulls_equal=True)
    if mine.height:
        tally.dispute(kind.name, mine, kind.owner, kind.label, kind.at)
