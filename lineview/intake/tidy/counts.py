"""Counters' readings as they are kept: checked for what they count, with those that the file implies."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.frames import UTC_US
from lineview.intake.cells.counting import Added, Shifts, held, interval_starts, restarts, usual_step_us, what_counts
from lineview.intake.layout.channels import Channel
from lineview.plant import Counter, Layout, Plant

#: So many of a column's first cells are looked at for what they count.
_LOOK = 5_000
_DAY_US = 86_400_000_000
#: Rows of sums stand this far apart at least [µs]; totals that are read more often may rise slowly.
_APART_US = 600_000_000


class CountReadings:
    """What a layout and its plant say of counters' cells, applied to the readings of a column.

    Parameters
    ----------
    layout : Layout
        Of the file.
    plant : Plant
        For its shifts and its longest read interval.
    where : str
        The file, for messages.
    """

    def __init__(self, layout: Layout, plant: Plant, where: str) -> None:
        self._layout, self._plant, self._where = layout, plant, where

    def checked(self, channel: Channel, header: str, at: pl.Series, values: pl.Series) -> None:
        """Raise where cells that nobody said the meaning of go up and down as no total does.

        Takes `values` [counts].
        """
        part = channel.part
        if not isinstance(part, Counter) or channel.counting is not None or part.counting != "total":
            return
        at_us, value = _in_time_order(at.head(_LOOK), values.head(_LOOK))
        if not len(value):
            return
        count = what_counts(at_us, value, part, self._plant)
        is_coarse = usual_step_us(at_us) >= _APART_US and len(np.unique(value)) > 1
        if count.counting in ("since last row", "down") and (count.sure or is_coarse):
            raise IntakeError(_open_fault(header, count.counting, self._where, self._layout.id))

    def filled(self, channel: Channel, block: pl.DataFrame) -> pl.DataFrame:
        """A counter's readings with those that rows imply: restarts, starts of intervals, held values.

        Takes `block` with columns at, row and value [counts].
        """
        part = channel.part
        if not isinstance(part, Counter) or "value" not in block.columns or not block.height:
            return block
        counting = channel.counting or part.counting
        if counting in ("total", "down") and not self._layout.on_change:
            return block
        block = block.sort("at", maintain_order=True)
        if counting == "since last row" and self._layout.stamps == "start":
            block = block.with_columns(at=self._moved(block["at"]))
        added = self._added(block, part, counting)
        if not len(added.at_us):
            return block
        more: pl.DataFrame = block[added.of.tolist()].with_columns(
            at=pl.Series(added.at_us).cast(UTC_US), value=pl.Series(added.value, dtype=pl.Float64)
        )
        both: pl.DataFrame = pl.concat([block, more.select(block.columns)])
        return both

    def _added(self, block: pl.DataFrame, counter: Counter, counting: str) -> Added:
        at_us, value = block["at"].to_physical().to_numpy(), block["value"].to_numpy()
        if counting == "since last row":
            return interval_starts(at_us, usual_step_us(at_us) or self._one_row_us(int(at_us[0])))
        shifts = Shifts.between(self._plant, int(at_us[0]), int(at_us[-1]))
        if counting == "since shift start":
            return restarts(at_us, value, counter, shifts)
        return held(at_us, value, round(self._plant.gap_s * 5e5))

    def _moved(self, at: pl.Series) -> pl.Series:
        """Moments of rows moved from the start of what they count to its end."""
        step = usual_step_us(at.to_physical().to_numpy())
        if not step:
            shifts = Shifts.between(self._plant, int(at.to_physical()[0]), int(at.to_physical()[0]))
            place = max(int(np.searchsorted(shifts.start_us, int(at.to_physical()[0]), side="right")) - 1, 0)
            step = int(shifts.end_us[place] - shifts.start_us[place])
        if step % _DAY_US == 0:  # days have 23 or 25 hours twice a year
            local = at.dt.convert_time_zone(self._plant.zone)
            return local.dt.offset_by(f"{step // _DAY_US}d").dt.convert_time_zone("UTC")
        return at + pl.Series([step]).cast(pl.Duration("us"))

    def _one_row_us(self, at_us: int) -> int:
        """How long a shift took that a single row ends [µs]."""
        shifts = Shifts.between(self._plant, at_us, at_us)
        before = shifts.start_us[shifts.start_us < at_us]
        return at_us - int(before[-1]) if len(before) else _DAY_US


def _in_time_order(at: pl.Series, values: pl.Series) -> tuple[np.ndarray, np.ndarray]:
    frame = pl.DataFrame({"at": at, "value": values}).drop_nulls()
    if not frame["at"].is_sorted():
        frame = frame.sort("at", maintain_order=True)
    return frame["at"].to_physical().to_numpy(), frame["value"].to_numpy()


def _open_fault(header: str, counting: str, where: str, layout: str) -> Fault:
    goes = "goes down from row to row" if counting == "down" else "goes up and down as differences do"
    return Fault(
        f"'{header}' is read as a counter's total, but it {goes}",
        where,
        f'counting = "{counting}", or counting = "total" where it is one, beside the column',
        f"Write it under [layouts.columns] of layout '{layout}'.",
    )
