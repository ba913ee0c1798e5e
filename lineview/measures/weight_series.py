"""Frames of weight for pictures: one point a batch, and one a weighing."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineview.columns import UTC_US
from lineview.stats.means import coverage_factor

#: One point a batch: mean net mass of a piece and spread within [g]; `low` and `high` are the 95 % limits
#: of this batch's own mean.
BATCH_POINTS: dict[str, pl.DataType] = {
    "at": UTC_US,
    "batch": pl.String(),
    "product": pl.String(),
    "mean_g": pl.Float64(),
    "sd_g": pl.Float64(),
    "n": pl.Int64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "target_g": pl.Float64(),
    "deviation_g": pl.Float64(),
}


def batch_points(weighings: pl.DataFrame, sd_within_g: float | None, df_within: int) -> pl.DataFrame:
    """Give one point a batch, by time.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept.
    sd_within_g : float or None
        Spread of pieces within a batch [g], pooled over batches; None where it cannot be told.
    df_within : int
        Its degrees of freedom.

    Returns
    -------
    polars.DataFrame
        BATCH_POINTS. Single batches have too few pieces for a spread of their own to set limits by, so the
        limits take the pooled one.
    """
    pieces = pl.col("pieces").cast(pl.Float64)
    mean = (pl.col("net_g") * pieces).sum() / pieces.sum()
    half = coverage_factor(df_within) * sd_within_g if sd_within_g is not None and df_within > 0 else None
    return (
        weighings.filter(pl.col("batch").is_not_null())
        .group_by("batch", "product", maintain_order=True)
        .agg(
            pl.col("at").mean().alias("at"),
            mean.alias("mean_g"),
            ((pieces * (pl.col("net_g") - mean) ** 2).sum() / (pl.len() - 1)).sqrt().alias("sd_g"),
            pieces.sum().cast(pl.Int64).alias("n"),
            (pl.col("target_g") * pieces).sum().truediv(pieces.sum()).alias("target_g"),
            pl.len().alias("_weighings"),
        )
        .with_columns(
            pl.when(pl.col("_weighings") > 1).then(pl.col("sd_g")).alias("sd_g"),
            (pl.col("mean_g") - pl.col("target_g")).alias("deviation_g"),
            (pl.col("mean_g") - pl.lit(half, pl.Float64) / pl.col("n").sqrt()).alias("low"),
            (pl.col("mean_g") + pl.lit(half, pl.Float64) / pl.col("n").sqrt()).alias("high"),
        )
        .sort("at")
        .select([pl.col(name).cast(kind) for name, kind in BATCH_POINTS.items()])
    )


def piece_points(weighings: pl.DataFrame, most: int = 5000) -> pl.DataFrame:
    """Give weighings as points, thinned evenly where there are very many.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept, by time.
    most : int
        Points at most.

    Returns
    -------
    polars.DataFrame
        at, mass_g [net mass of a piece, g], batch, product.
    """
    points = weighings.select("at", pl.col("net_g").alias("mass_g"), "batch", "product")
    if points.height <= most:
        return points
    return points[np.linspace(0, points.height - 1, most).round().astype(np.int64)]
