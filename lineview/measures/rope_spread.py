"""How far the rope's diameter scatters within a batch, and how it runs from a batch's start to its end."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.stats.means import interval_of_mean
from lineview.stats.serial_correlation import effective_n
from lineview.stats.within_batch_correlation import SLOPE_FROM, within_batch_correlation


@dataclass(frozen=True)
class WithinBatch:
    """Spread within batches and taper, and how far a batch's mean may stray by sampling [mm]."""

    sd: Estimate
    taper: Estimate
    sampling_sd_mm: float


def within_batch(core: pl.DataFrame, points: pl.DataFrame) -> WithinBatch:
    """Estimate spread and taper within batches.

    Parameters
    ----------
    core : polars.DataFrame
        Readings sorted into batches (readings_in_batches).
    points : polars.DataFrame
        ROPE_BATCHES with taper_mm.

    Returns
    -------
    WithinBatch
        The spread is that of a reading about its batch's line, as if batches went on for ever: what a
        short batch's mean and line take out is put back. Its interval allows for an autocorrelation that
        is not known, and for batches that differ. `sampling_sd_mm` is how far a batch's mean may lie from
        the batch's level for that spread.

    Notes
    -----
    Source: restricted-likelihood, derived-rope
    """
    if core.is_empty():
        none = Estimate.unknown("no reading within a batch")
        return WithinBatch(none, none, 0.0)
    nr = core["nr"].rank("dense").to_numpy().astype(np.int64) - 1
    seconds = core["at"].dt.epoch("us").to_numpy() / 1e6
    usual = int(np.median(np.bincount(nr)))
    long = usual >= SLOPE_FROM
    values = core["value"].to_numpy().astype(np.float64)
    readings = within_batch_correlation(values, seconds, nr, independent=not long)
    taper = interval_of_mean(points["taper_mm"].drop_nulls().to_numpy())
    if readings.sd.value is None:
        return WithinBatch(readings.sd, taper, 0.0)
    worth = effective_n(usual, max(readings.autocorrelation, 0.0)) if long else max(1, usual)
    return WithinBatch(readings.sd, taper, readings.sd.value / sqrt(worth))
