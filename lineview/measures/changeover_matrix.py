"""Changeovers from product to product, and from base to base: how many, how long."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import polars as pl


def changeover_matrix(changeovers: pl.DataFrame, name_of: Callable[[str], str]) -> pl.DataFrame:
    """Count changeovers from each name to each other.

    Parameters
    ----------
    changeovers : polars.DataFrame
        CHANGEOVERS: start, end, before, after; where there is a column minutes [min] that is taken.
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
    whole = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    minutes = pl.col("minutes") if "minutes" in changeovers.columns else whole
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


def with_planned_minutes(changeovers: pl.DataFrame, tape: pl.DataFrame) -> pl.DataFrame:
    """Give each changeover its minutes, breaks left out.

    Parameters
    ----------
    changeovers : polars.DataFrame
        CHANGEOVERS.
    tape : polars.DataFrame
        TAPE, for its breaks.

    Returns
    -------
    polars.DataFrame
        With a column minutes [min].
    """
    start, end = (changeovers[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    pauses = tape.filter(pl.col("state") == "break").sort("start")
    long = (end - start) / 6e7
    if pauses.height and len(start):
        opens, closes = (pauses[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
        edges = np.stack((opens, closes), axis=1).ravel()
        until = np.cumsum(np.stack((np.zeros(len(opens)), (closes - opens) / 6e7), axis=1).ravel())
        long = long - (np.interp(end, edges, until) - np.interp(start, edges, until))
    return changeovers.with_columns(minutes=pl.Series(long, dtype=pl.Float64))
