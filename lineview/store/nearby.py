"""What the store and the earlier exports of a group hold in the time that an export is of."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from lineview.store.blocks import Block
from lineview.store.kinds import Kind
from lineview.store.query import Measured, Told

#: Up to so many rows of a machine, all its channels are fetched at once; beyond, one after the other.
_AT_ONCE = 200_000

Extents = dict[tuple[str, str], list[tuple[int, int]]]


class Nearby:
    """What an export of a group is compared with: what is done, and the group's exports before it.

    Parameters
    ----------
    measured : dict of str to Measured
        The Delta tables.
    told : Told
        The journal's own kinds.
    """

    def __init__(self, measured: dict[str, Measured], told: Told) -> None:
        self._measured = measured
        self._told = told
        self._extents: dict[str, Extents] = {}
        self._blocks: dict[tuple[str, str, str], list[Block]] = {}
        self._tidy: dict[str, list[pl.DataFrame]] = {}
        self._given = 0

    def expect(self, found: dict[str, list[Block]]) -> None:
        """Look up once which channels have readings in the time that the group's blocks span."""
        for name, blocks in found.items():
            if blocks:
                machines = {block.machine for block in blocks}
                first, last = min(b.first for b in blocks), max(b.last for b in blocks)
                rows = self._measured[name].extents(machines, first, last)
                extents: Extents = {}
                for machine, channel, begin, end in rows.iter_rows():
                    extents.setdefault((machine, channel), []).append((begin, end))
                self._extents[name] = extents

    def there(self, name: str, blocks: Sequence[Block]) -> list[pl.DataFrame | None]:
        """Give what is there between the first and last moment of each block; None where nothing can be.

        Parameters
        ----------
        name : str
            "readings" or "weights".
        blocks : sequence of Block
            Of one export.
        """
        wanted = [self._overlap(name, block) for block in blocks]
        stored = self._stored(name, blocks, wanted)
        result: list[pl.DataFrame | None] = []
        for block, rows in zip(blocks, stored, strict=True):
            before = self._blocks.get((name, block.machine, block.channel), [])
            met = [b for b in before if b.last >= block.first and b.first <= block.last]
            parts = ([rows] if rows is not None else []) + [_compared(name, b) for b in met]
            result.append(pl.concat(parts) if parts else None)
        return result

    def _overlap(self, name: str, block: Block) -> tuple[int, int] | None:
        """Give the part of a block's time in which the store has readings of its channel, or None."""
        met = [
            (first, last)
            for first, last in self._extents.get(name, {}).get((block.machine, block.channel), ())
            if last >= block.first and first <= block.last
        ]
        if not met:
            return None
        return max(min(first for first, _ in met), block.first), min(max(last for _, last in met), block.last)

    def _stored(
        self, name: str, blocks: Sequence[Block], wanted: Sequence[tuple[int, int] | None]
    ) -> list[pl.DataFrame | None]:
        table = self._measured[name]
        stored: list[pl.DataFrame | None] = [None] * len(blocks)
        if name != "readings":
            for i, span in enumerate(wanted):
                if span is not None:
                    stored[i] = table.between(blocks[i].machine, *span)
            return stored
        for machine in {block.machine for block, span in zip(blocks, wanted, strict=True) if span}:
            mine = [i for i, block in enumerate(blocks) if block.machine == machine and wanted[i]]
            several = sum(blocks[i].rows.height for i in mine) <= _AT_ONCE
            for some in [mine] if several else [[i] for i in mine]:
                spans = [span for i in some if (span := wanted[i])]
                channels = sorted({blocks[i].channel for i in some})
                low, high = min(first for first, _ in spans), max(last for _, last in spans)
                rows = table.between(machine, low, high, channels)
                if rows is not None:
                    of = rows.partition_by("channel", as_dict=True, include_key=False)
                    for i in some:
                        stored[i] = of.get((blocks[i].channel,))
        return stored

    def like(self, kind: Kind, tidy: pl.DataFrame) -> pl.DataFrame:
        """Give the rows that may speak of the same things as these."""
        return pl.concat([self._told.like(kind, tidy), *self._tidy.get(kind.name, [])])

    def add(self, found: dict[str, list[Block]], kinds: Sequence[tuple[str, pl.DataFrame]]) -> None:
        """Hold what an export of the group gives, for those after it."""
        self._given -= 1  # a number of its own, so that alike weighings of two exports are not counted on
        for name, blocks in found.items():
            for block in blocks:
                rows = block.rows.with_columns(intake=pl.lit(self._given, pl.Int64))
                held = Block(block.part, block.machine, block.channel, rows)
                self._blocks.setdefault((name, block.machine, block.channel), []).append(held)
        for kind, tidy in kinds:
            self._tidy.setdefault(kind, []).append(tidy)


def _compared(name: str, block: Block) -> pl.DataFrame:
    return block.rows.select("at", "value", "text") if name == "readings" else block.rows
