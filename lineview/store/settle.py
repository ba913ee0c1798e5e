"""Several exports may tell the same thing: what they agree on is given once, what they dispute is not given.

Notes
-----
Nothing is settled in silence: of a disputed thing no version is given; `disputed` lists them all.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

#: What makes two readings of one channel the same, and what they say.
READING_KEYS = ("channel", "at")
READING_VALUES = ("value", "text")
#: Pieces of equal mass may be weighed at one moment, so the n-th alike of a file is that of another.
WEIGHING = ("machine", "at", "sample", "batch", "mass_g", "pieces", "gross")


def one_a_moment(readings: pl.DataFrame) -> pl.DataFrame:
    """Give one reading a channel and moment: good before uncertain, the earlier intake before the later.

    Parameters
    ----------
    readings : polars.DataFrame
        READINGS of one machine, sorted by channel and moment.

    Returns
    -------
    polars.DataFrame
        The same without repeats and without moments that have two different values.
    """
    repeat = pl.all_horizontal(pl.col(key) == pl.col(key).shift(1) for key in READING_KEYS)
    other = pl.any_horizontal(pl.col(value).ne_missing(pl.col(value).shift(1)) for value in READING_VALUES)
    marks = readings.select(repeat.fill_null(value=False).alias("repeat"), other.alias("other"))
    if not marks["repeat"].any():
        return readings
    # the readings of one moment stand together, so they differ where one differs from the one before it
    marks = marks.with_columns((~pl.col("repeat")).cum_sum().alias("moment"))
    disputed = marks.filter("repeat", "other")["moment"].unique()
    return (
        readings.with_columns(marks["moment"])
        .filter(~pl.col("moment").is_in(disputed.implode()))
        .sort("moment", pl.col("quality") != "good", "intake", "row")
        .filter((pl.col("moment") != pl.col("moment").shift(1)).fill_null(value=True))
        .drop("moment")
    )


def disputed_moments(readings: pl.DataFrame) -> pl.DataFrame:
    """Give the rows of every moment of a channel that has two different values or texts."""
    return readings.filter(_differ(READING_VALUES).over(READING_KEYS))


def _differ(values: Sequence[str]) -> pl.Expr:
    """Whether any of the values differs within the group; a missing value differs from one that is there."""
    return pl.any_horizontal((pl.col(value).n_unique() > 1) for value in values)


def nth_alike() -> pl.Expr:
    """Give the number of each weighing among the alike ones within its intake, by row."""
    return pl.int_range(pl.len()).over([*WEIGHING, "intake"], order_by="row").alias("nth")


def once_weighed(weights: pl.DataFrame) -> pl.DataFrame:
    """Give each weighing once, however many exports tell it.

    Parameters
    ----------
    weights : polars.DataFrame
        WEIGHTS.

    Returns
    -------
    polars.DataFrame
        Sorted by moment, intake and row.
    """
    if weights["intake"].n_unique() > 1:
        numbered = weights.sort("at", "intake", "row").with_columns(nth_alike())
        weights = numbered.unique([*WEIGHING, "nth"], keep="first", maintain_order=True).drop("nth")
    return weights.sort("at", "intake", "row")


def told_once(rows: pl.DataFrame, keys: Sequence[str], values: Sequence[str]) -> pl.DataFrame:
    """Give one row a key: what several agree on; a cell one leaves empty is taken from another.

    Parameters
    ----------
    rows : polars.DataFrame
        All that the exports tell of one kind, with `intake` and `row`.
    keys, values : sequence of str
        As of lineview.store.kinds.Kind.

    Returns
    -------
    polars.DataFrame
        Without the keys of which two different things are told.
    """
    if rows.is_empty():
        return rows
    agreed = rows.sort("intake", "row").filter(~_contradict(values).over(keys))
    told = [pl.col(value).drop_nulls().first() for value in values]
    grouped = agreed.group_by(keys, maintain_order=True).agg(*told, pl.col("intake", "row").first())
    return grouped.select(rows.columns)


def contradictions(rows: pl.DataFrame, keys: Sequence[str], values: Sequence[str]) -> pl.DataFrame:
    """Give the rows of every key of which two different things are told.

    Parameters
    ----------
    rows : polars.DataFrame
        All that the exports tell of one kind.
    keys, values : sequence of str
        As of lineview.store.kinds.Kind.
    """
    return rows.filter(_contradict(values).over(keys)) if rows.height else rows


def _contradict(values: Sequence[str]) -> pl.Expr:
    """Whether two different values are told; an empty cell says nothing."""
    return pl.any_horizontal((pl.col(value).drop_nulls().n_unique() > 1) for value in values)
