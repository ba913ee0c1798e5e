"""Which weighings were taken together: a sample by its own name, by its moment, or by the gaps between."""

from __future__ import annotations

import polars as pl

#: Weighings further apart than this are two samples, where the gaps show samples at all [s].
GAP_S = 60.0


def with_samples(weighings: pl.DataFrame) -> pl.DataFrame:
    """Name each weighing's sample where none is given.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS, by time.

    Returns
    -------
    polars.DataFrame
        With `sample` filled. Without a name, weighings less than a minute apart are one sample; on an
        inline scale that makes one sample of a whole batch, which is right: there are no sample times.
    """
    gap_s = pl.col("at").diff().dt.total_microseconds().cast(pl.Float64) / 1e6
    fresh = (gap_s > GAP_S).fill_null(True) | (pl.col("batch") != pl.col("batch").shift(1)).fill_null(False)
    named = pl.col("sample").str.strip_chars().replace("", None)
    return (
        weighings.sort("at", maintain_order=True)
        .with_columns(_run=fresh.cum_sum())
        .with_columns(sample=pl.coalesce(named, pl.format("at {}", pl.col("_run"))))
        .drop("_run")
    )
