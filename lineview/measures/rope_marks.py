"""Where batches start and end, where no batch sheet tells: from pauses of the rope, else not at all."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl

from lineview.columns import BATCHES, UTC_US, empty


def marks_from_pauses(
    readings: pl.DataFrame, *, line: str, product: str, pause_s: float = 45.0, least_min: float = 3.0
) -> pl.DataFrame:
    """Find batches from pauses in the rope, where no batch sheet was exported.

    Parameters
    ----------
    readings : polars.DataFrame
        Column at [UTC], usable gauge readings in order of time.
    line, product : str
        What the rows are labelled with.
    pause_s : float
        Shortest pause that parts two batches [s]; at least five times the usual distance of readings.
    least_min : float
        Shortest stretch that counts as a batch [min].

    Returns
    -------
    polars.DataFrame
        BATCHES named p1, p2, ...; empty where the rope never pauses.

    Notes
    -----
    Source: derived-rope
    """
    if readings.height < 3:
        return empty(BATCHES)
    gaps = readings["at"].diff().dt.total_microseconds() / 1e6
    usual = float(np.median(gaps.drop_nulls().to_numpy()))
    parted = (gaps > max(pause_s, 5 * usual)).fill_null(value=False)
    if int(parted.sum()) < 1:
        return empty(BATCHES)
    runs = (
        readings.with_columns(run=parted.cast(pl.Int64).cum_sum())
        .group_by("run", maintain_order=True)
        .agg(start=pl.col("at").min(), end=pl.col("at").max() + timedelta(microseconds=1))
        .filter(pl.col("end") - pl.col("start") >= timedelta(minutes=least_min))
    )
    return _named(runs, line, product, "p")


def blocks_of_time(readings: pl.DataFrame, *, line: str, product: str, block_min: float) -> pl.DataFrame:
    """Cut readings into blocks of equal length, where batches cannot be known.

    Parameters
    ----------
    readings : polars.DataFrame
        Column at [UTC], usable gauge readings in order of time.
    line, product : str
        What the rows are labelled with.
    block_min : float
        Length of a block [min].

    Returns
    -------
    polars.DataFrame
        BATCHES named b1, b2, ...

    Notes
    -----
    Source: derived-rope
    """
    if readings.is_empty():
        return empty(BATCHES)
    first = readings["at"].min()
    block = ((pl.col("at") - first).dt.total_microseconds() / (block_min * 6e7)).floor().cast(pl.Int64)
    runs = (
        readings.with_columns(block=block)
        .group_by("block", maintain_order=True)
        .agg(start=pl.col("at").min(), end=pl.col("at").max() + timedelta(microseconds=1))
    )
    return _named(runs, line, product, "b")


def _named(runs: pl.DataFrame, line: str, product: str, letter: str) -> pl.DataFrame:
    number = pl.int_range(1, pl.len() + 1).cast(pl.String)
    return runs.select(
        line=pl.lit(line),
        batch=pl.lit(letter) + number,
        product=pl.lit(product),
        start=pl.col("start").cast(UTC_US),
        end=pl.col("end").cast(UTC_US),
        mass_in_kg=pl.lit(None, dtype=pl.Float64),
        intake=pl.lit(0, dtype=pl.Int64),
        row=pl.lit(0, dtype=pl.Int64),
    )
