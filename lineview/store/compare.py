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


@dataclass
class Tally:
    """Which rows of an export say something new, by part and row, and the moments that are disputed.

    A row is a duplicate when nothing that it says is new.
    """

    seen: dict[int, np.ndarray] = field(default_factory=dict)
    new: dict[int, np.ndarray] = field(default_factory=dict)
    disputes: list[pl.DataFrame] = field(default_factory=list)

    def add(self, part: int, rows: pl.Series, repeats: pl.Series | None) -> None:
        """Count rows; `repeats` marks those that say nothing new, None where all are new."""
        numbers = rows.to_numpy()
        for found, chosen in (
            (self.seen, numbers),
            (self.new, numbers if repeats is None else numbers[~repeats.to_numpy()]),
        ):
            marks = found.get(part, np.zeros(0, dtype=bool))
            top = int(numbers.max(initial=0)) + 1
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
            (pl.col(label).fill_null("") if label else pl.lit("")).alias("label"),
            pl.col(at).alias("at"),
        )
        self.disputes.append(moments.unique(maintain_order=True))


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
    """
    said = ["at", "value", "text"]
    rows = block.rows.select(*said, "row")
    at = rows["at"]
    repeated = bool((at.head(-1) == at.tail(-1)).any()) if rows.height > 1 else False
    if not repeated and (there is None or there.is_empty()):
        tally.add(block.part, rows["row"], None)
        return
    repeats = ~rows.select(pl.struct(said).is_first_distinct().alias("first"))["first"]
    both = rows.select(said)
    if there is not None and there.height:
        known = there.select(said).unique().with_columns(known=pl.lit(value=True))
        joined = rows.join(known, on=said, how="left", nulls_equal=True, maintain_order="left")
        repeats = repeats | joined["known"].fill_null(value=False)
        both = pl.concat([both, there.select(said)])
    tally.add(block.part, rows["row"], repeats)
    versions = both.unique().group_by("at").len().filter(pl.col("len") > 1)
    new = versions.join(rows.select("at"), on="at", how="semi").sort("at")
    if new.height:
        named = new.with_columns(machine=pl.lit(block.machine), channel=pl.lit(block.channel))
        tally.dispute("readings", named, "machine", "channel", "at")


def compare_weights(block: Block, there: pl.DataFrame | None, tally: Tally) -> None:
    """Compare the weighings of one machine with those that are there; alike ones of one file are not one."""
    if there is None or there.is_empty():
        tally.add(block.part, block.rows["row"], None)
        return
    said = [*WEIGHING, "nth"]
    known = there.with_columns(nth_alike()).select(said).unique().with_columns(known=pl.lit(value=True))
    rows = block.rows.with_columns(nth_alike())
    joined = rows.join(known, on=said, how="left", nulls_equal=True, maintain_order="left")
    tally.add(block.part, rows["row"], joined["known"].fill_null(value=False))


def compare_kind(part: int, kind: Kind, tidy: pl.DataFrame, there: pl.DataFrame, tally: Tally) -> None:
    """Compare rows of one of the journal's kinds with each other and with those that are there."""
    said: Sequence[str] = [*kind.keys, *kind.values]
    repeats = ~tidy.select(pl.struct(said).is_first_distinct().alias("first"))["first"]
    known = there.select(said).unique().with_columns(known=pl.lit(value=True))
    joined = tidy.join(known, on=said, how="left", nulls_equal=True, maintain_order="left")
    tally.add(part, tidy["row"], repeats | joined["known"].fill_null(value=False))
    both = contradictions(pl.concat([there.select(said), tidy.select(said)]), kind.keys, kind.values)
    mine = both.join(tidy.select(kind.keys), on=kind.keys, how="semi", nulls_equal=True)
    if mine.height:
        tally.dispute(kind.name, mine, kind.owner, kind.label, kind.at)
