"""Changeovers from product to product, and from base to base: how many, how long."""

from __future__ import annotations

from collections.abc import Callable

import polars as pl


def changeover_matrix(changeovers: pl.DataFrame, name_of: Callable[[str], str]) -> pl.DataFrame:
    """Count changeovers from each name to each other.

    Parameters
    ----------
    changeovers : polars.DataFrame
        CHANGEOVERS: start, end, before, after.
    name_of : callable
        Gives what stands for a product: its flavour, or its base.

    Returns
    -------
    polars.DataFrame
        Columns before, after, count, median_min, shortest_min, longest_min [min], the most frequent first.

    Examples
    --------
    >>> from datetime import datetime
    >>> two = {"start": [datetime(2026, 6, 9, 6)] * 2, "before": ["a", "a"], "after": ["b", "b"]}
    >>> frame = pl.DataFrame({**two, "end": [datetime(2026, 6, 9, 6, 4), datetime(2026, 6, 9, 6, 8)]})
    >>> changeover_matrix(frame, str)["median_min"].to_list()
    [6.0]
    """
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    named = changeovers.drop_nulls(["before", "after"])
    return (
        named.with_columns(
            minutes=minutes,
            before=pl.Series([name_of(n) for n in named["before"].to_list()], dtype=pl.String),
            after=pl.Series([name_of(n) for n in named["after"].to_list()], dtype=pl.String),
        )
        .group_by("before", "after")
        .agg(
            count=pl.len(),
            median_min=pl.col("minutes").median(),
            shortest_min=pl.col("minutes").min(),
            longest_min=pl.col("minutes").max(),
        )
        .sort("count", "before", "after", descending=[True, False, False])
    )
