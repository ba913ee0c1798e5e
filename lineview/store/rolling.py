"""Exports that are written anew, such as plans: which of their rows a later one takes the place of."""

from __future__ import annotations

import polars as pl

from lineview.store.tables import RecordType


def with_steps(kind: RecordType, tidy: pl.DataFrame) -> pl.DataFrame:
    """The rows of one export, where its kind rolls with when it begins and of how many moments it speaks."""
    if not kind.rolls or tidy.is_empty():
        return tidy
    first, moments = pl.col(kind.at).min(), pl.col(kind.at).n_unique().cast(pl.Int64)
    return tidy.with_columns(step_first=first.over(kind.owner), step_moments=moments.over(kind.owner))


def without_replaced(kind: RecordType, rows: pl.DataFrame) -> pl.DataFrame:
    """Rows with their steps, without those that a later export of as many moments replaces."""
    if not kind.rolls or rows.is_empty():
        return rows
    first, moments = pl.col("step_first"), pl.col("step_moments")
    rolls = (moments.n_unique() == 1) & (moments.first() > 1)
    return _without_laid_over(kind, rows.filter((~rolls | (first == first.max())).over(kind.keys)))


#: A row of a plan that does not say when it ends lasts so long.
_A_DAY = pl.duration(days=1)


def _without_laid_over(kind: RecordType, rows: pl.DataFrame) -> pl.DataFrame:
    """Rows without those of other hours that a later export of as many moments is laid over.

    Both have to speak of one thing at least: exports of other products lie beside each other.
    """
    until = pl.coalesce("end", pl.col(kind.at) + _A_DAY)
    ids = pl.col(kind.owner, kind.label, "row", "step_first", "step_moments")
    lasting = rows.select(ids, begin=kind.at, until=until, intake=pl.col("intake").fill_null(-1))
    exports = lasting.group_by(kind.owner, "intake", maintain_order=True).agg(
        pl.col("step_first", "step_moments", kind.label).first(), pl.col("begin").min(), pl.col("until").max()
    )
    meet = (pl.col("begin") < pl.col("until_new")) & (pl.col("begin_new") < pl.col("until"))
    newer = (
        exports.filter(pl.col("step_moments") > 1)
        .join(exports, on=[kind.owner, "step_moments"], suffix="_new")
        .filter(meet & (pl.col("step_first_new") > pl.col("step_first")))
        .select(kind.owner, "intake", "intake_new")
    )
    if newer.is_empty():
        return rows
    both = lasting.join(newer, on=[kind.owner, "intake"]).join(
        lasting.rename({"intake": "intake_new"}), on=[kind.owner, "intake_new"], suffix="_new", nulls_equal=True
    )
    of_one = (pl.col(kind.label) == pl.col(f"{kind.label}_new")).any().over(kind.owner, "intake", "intake_new")
    old_rows = both.filter(meet & of_one).select("intake", "row").unique(maintain_order=True)
    return rows.filter(
        ~rows.select(intake=pl.col("intake").fill_null(-1), row="row").to_struct().is_in(old_rows.to_struct().implode())
    )


def lying_over(kind: RecordType, rows: pl.DataFrame) -> pl.DataFrame:
    """The rows of which another export says the same owner's same thing at hours that meet theirs."""
    if not kind.rolls or rows["intake"].n_unique() < 2:
        return rows.clear()
    lasting = rows.select(
        kind.owner, kind.label, "intake", "row", begin=kind.at, until=pl.coalesce("end", pl.col(kind.at) + _A_DAY)
    )
    meet = (pl.col("begin") < pl.col("until_other")) & (pl.col("begin_other") < pl.col("until"))
    other = (pl.col("intake") != pl.col("intake_other")) & (pl.col("begin") != pl.col("begin_other"))
    pairs = lasting.join(lasting, on=[kind.owner, kind.label], suffix="_other").filter(meet & other)
    return rows.join(pairs.select("intake", "row"), on=["intake", "row"], how="semi", maintain_order="left")
