"""Increments of one counter as arrays: what INCREMENTS are as a frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.frames import UTC_US
from lineview.machine.speed import Floats, Ints


@dataclass(frozen=True)
class Steps:
    """What one counter added between successive readings that could be used, by time.

    Parameters
    ----------
    start_us, end_us : arrays of int
        The intervals [µs since 1970], each starting where the one before ends.
    n, low, high : arrays of float
        Counts; `n` is nan where the readings leave it open, `high` nan where nothing bounds it.
    turned : array of float, optional
        Counts by the fewest turns where the counter may have turned but `n` is open; nan elsewhere.
    """

    start_us: Ints
    end_us: Ints
    n: Floats
    low: Floats
    high: Floats
    turned: Floats | None = None

    def __len__(self) -> int:
        return len(self.end_us)

    def times(self, unit: float) -> Steps:
        """The same in another unit of so many of this one."""
        if unit == 1.0:
            return self
        n = self.n * unit
        low = n if self.low is self.n else self.low * unit
        high = n if self.high is self.n else self.high * unit
        turned = None if self.turned is None else self.turned * unit
        return Steps(self.start_us, self.end_us, n, low, high, turned)

    def only(self, which: np.ndarray) -> Steps:
        """Those at some places, given as places or marks."""
        turned = None if self.turned is None else self.turned[which]
        return Steps(self.start_us[which], self.end_us[which], self.n[which], self.low[which], self.high[which], turned)

    def frame(self) -> pl.DataFrame:
        """Columns start, end and n; n is null where it is open."""
        return pl.DataFrame(
            {
                "start": pl.Series(self.start_us, dtype=pl.Int64).cast(UTC_US),
                "end": pl.Series(self.end_us, dtype=pl.Int64).cast(UTC_US),
                "n": pl.Series(self.n, dtype=pl.Float64, nan_to_null=True),
            }
        )


_NO_MOMENTS, _NO_COUNTS = np.empty(0, dtype=np.int64), np.empty(0)
NO_STEPS = Steps(_NO_MOMENTS, _NO_MOMENTS, _NO_COUNTS, _NO_COUNTS, _NO_COUNTS)
