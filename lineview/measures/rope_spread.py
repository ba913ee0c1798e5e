"""How far the rope's diameter scatters within a batch, and how it runs from a batch's start to its end."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.stats.serial_correlation import effective_n
from lineview.stats.within_batch_correlation import SLOPE_FROM, pooled_memory

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Estimate:
    """A value with its 95 % interval and the number of batches behind it."""

    value: float
    low: float
    high: float
    n: int


@dataclass(frozen=True)
class WithinBatch:
    """Spread within batches [mm], its memory from one reading to the next, and the taper [mm]."""

    sd: Estimate | None
    memory: float | None
    taper: Estimate | None
    sampling_sd_mm: float


def within_batch(core: pl.DataFrame, points: pl.DataFrame) -> WithinBatch:
    """Estimate spread, memory and taper within batches.

    Parameters
    ----------
    core : polars.DataFrame
        Readings sorted into batches (readings_in_batches).
    points : polars.DataFrame
        ROPE_BATCHES with taper_mm.

    Returns
    -------
    WithinBatch
        The spread is that of a reading about its batch's own line, as if batches went on for ever: what a
        short batch's mean and line take out is put back. Its interval allows for the readings' memory not
        being known, and for batches that differ. `sampling_sd_mm` is how far a batch's mean may lie from
        the batch's own level for that spread.

    Notes
    -----
    Source: restricted-likelihood, derived-rope
    """
    if core.is_empty():
        return WithinBatch(None, None, None, 0.0)
    nr = core["nr"].rank("dense").to_numpy().astype(np.int64) - 1
    seconds = core["at"].dt.epoch("us").to_numpy() / 1e6
    usual = int(np.median(np.bincount(nr)))
    long = usual >= SLOPE_FROM
    pooled = pooled_memory(core["value"].to_numpy().astype(np.float64), seconds, nr, remembers=long)
    tapers = points["taper_mm"].drop_nulls().to_numpy().astype(np.float64)
    if pooled is None:
        return WithinBatch(None, None, _mean(tapers), 0.0)
    memory = pooled.memory if long else None
    worth = effective_n(usual, max(memory, 0.0)) if memory is not None else max(1, usual)
    spread = Estimate(pooled.sd, pooled.low, pooled.high, pooled.runs)
    return WithinBatch(spread, memory, _mean(tapers), pooled.sd / sqrt(worth))


def _mean(values: Floats) -> Estimate | None:
    from scipy.special import stdtrit

    m = values.size
    if m < 2:
        return None
    half = float(stdtrit(m - 1, 0.975)) * float(values.std(ddof=1)) / sqrt(m)
    return Estimate(float(values.mean()), float(values.mean()) - half, float(values.mean()) + half, m)
