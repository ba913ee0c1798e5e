"""The tidy rows of an export cut into blocks: one machine and channel each, in the order of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property

import numpy as np
import polars as pl

from lineview.core.errors import Fault, StoreError
from lineview.core.language import tr
from lineview.store.frames import micros
from lineview.store.readings import Piece

#: Up to so many runs of equal machine and channel a block, slices are put together; else rows are filtered.
_RUNS_A_BLOCK = 16


@dataclass(frozen=True)
class Block:
    """The rows of one machine and channel, sorted by moment; `part` is the part of the export they are of."""

    part: int
    machine: str
    channel: str
    rows: pl.DataFrame

    @cached_property
    def moments(self) -> np.ndarray:
        """The moments [µs since 1970], in order."""
        return moments_us(self.rows["at"])

    @cached_property
    def first(self) -> int:
        """The first moment [µs since 1970]."""
        return int(self.moments[0])

    @cached_property
    def last(self) -> int:
        """The last moment [µs since 1970]."""
        return int(self.moments[-1])


def blocks(part: int, tidy: pl.DataFrame, by: Sequence[str]) -> list[Block]:
    """Cut tidy rows into blocks without copying them where they already stand together."""
    if tidy.is_empty():
        return []
    if any(tidy[name].null_count() for name in (*by, "at", "row")):
        fault = Fault(tr("a row has no machine, channel, moment or line"), "", tr("rows that say whose they are"))
        raise StoreError(fault)
    changed = pl.any_horizontal(pl.col(name) != pl.col(name).shift(1) for name in by)
    starts = tidy.lazy().select(changed.fill_null(value=True).arg_true()).collect(engine="in-memory")
    offsets = starts.to_series().to_list()
    firsts = tidy.select(by)[offsets] if len(offsets) < tidy.height else tidy.select(by)
    names = firsts.unique().sort(by).rows()
    if len(offsets) > _RUNS_A_BLOCK * len(names):
        cut = {name: tidy.filter(pl.col(k) == v for k, v in zip(by, name, strict=True)) for name in names}
    else:
        runs: dict[tuple[str, ...], list[pl.DataFrame]] = {}
        for name, start, end in zip(firsts.rows(), offsets, [*offsets[1:], tidy.height], strict=True):
            runs.setdefault(name, []).append(tidy.slice(start, end - start))
        cut = {name: pl.concat(runs[name], rechunk=False) for name in names}
    return [Block(part, name[0], name[1] if len(name) > 1 else "", _by_time(cut[name])) for name in names]


def channel_blocks(part: int, frames: Sequence[pl.DataFrame]) -> list[Block]:
    """The blocks of frames that are of one machine and channel each, sorted like those of `blocks`."""
    labelled = [(*frame.select("machine", "channel").row(0), frame) for frame in frames if frame.height]
    owners = [(machine, channel) for machine, channel, _ in labelled]
    if len(set(owners)) < len(owners):  # two columns of one channel
        return blocks(part, pl.concat(frames), ("machine", "channel"))
    sorted_ = sorted(labelled, key=lambda row: row[:2])
    return [Block(part, machine, channel, _by_time(rows)) for machine, channel, rows in sorted_]


def moments_us(at: pl.Series) -> np.ndarray:
    """Moments as whole numbers [µs since 1970]."""
    return at.to_numpy().view(np.int64)


def _by_time(rows: pl.DataFrame) -> pl.DataFrame:
    moments = moments_us(rows["at"])
    return rows if bool((moments[1:] >= moments[:-1]).all()) else rows.sort("at", maintain_order=True)


def pieces(sorted_blocks: Sequence[Block]) -> list[Piece]:
    """What each file is to hold: a machine and month each, its channels one after the other."""
    files: dict[tuple[str, str], list[pl.DataFrame]] = {}
    for block in sorted_blocks:
        for month, rows in _months(block.rows):
            files.setdefault((block.machine, month), []).append(rows)
    return [Piece(machine, month, rows) for (machine, month), rows in files.items()]


def _months(rows: pl.DataFrame) -> list[tuple[str, pl.DataFrame]]:
    """Cut rows sorted by moment at the months' ends [UTC]."""
    at = rows["at"]
    low, high = at[0], at[-1]
    if (low.year, low.month) == (high.year, high.month):
        return [(f"{low:%Y-%m}", rows)]
    months = range(12 * low.year + low.month - 1, 12 * high.year + high.month)
    starts = [datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC) for month in months]
    offsets = [*np.searchsorted(moments_us(at), [micros(start) for start in starts]).tolist(), rows.height]
    cut = []
    for start, begin, end in zip(starts, offsets, offsets[1:], strict=False):
        if end > begin:
            cut.append((f"{start:%Y-%m}", rows.slice(begin, end - begin)))
    return cut
