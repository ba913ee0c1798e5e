"""The weight answer's tables."""

from __future__ import annotations

import polars as pl

from lineview.answers.answer import Table
from lineview.figure import Figure
from lineview.measures.weight_account import WeightAccount

_WITH_LIMITS = (("what", "", ""), ("size", "Size", "g"), ("low", "Low", "g"), ("high", "High", "g"))


def spread_table(figures: tuple[Figure, ...]) -> Table:
    """Give the spread by level.

    Parameters
    ----------
    figures : tuple of Figure
        Of the weight answer.

    Returns
    -------
    Table
        "spread": what, size, its 95 % limits, and from what it is told.
    """
    wanted = ("sd_between_g", "sd_samples_g", "sd_piece_g", "sd_within_g", "sd_total_g")
    rows = [
        {"what": f.label, "size": f.value, "low": f.low, "high": f.high, "from": f.working or f.why_none}
        for name in wanted
        for f in figures
        if f.name == name
    ]
    return Table("spread", "Spread of piece weight", (*_WITH_LIMITS, ("from", "From", "")), rows)


def capability_table(figures: tuple[Figure, ...]) -> Table:
    """Give the capability and performance indices.

    Parameters
    ----------
    figures : tuple of Figure
        Of the weight answer.

    Returns
    -------
    Table
        "capability".
    """
    columns = (("what", "", ""), ("size", "Index", ""), ("low", "Low", ""), ("high", "High", ""),
               ("from", "From", ""))  # fmt: skip
    rows = [
        {
            "what": f"{f.label}, %" if f.unit == "%" else f.label,
            "size": f.value,
            "low": f.low,
            "high": f.high,
            "from": f.working or f.why_none,
        }
        for f in figures
        if f.sources and "iso-22514-2" in f.sources
    ]
    return Table("capability", "Capability against the tolerance", columns, rows)


def product_table(account: WeightAccount) -> Table:
    """Give mean and deviation by product.

    Parameters
    ----------
    account : WeightAccount
        Of the period.

    Returns
    -------
    Table
        "products".
    """
    kept = account.sorted.kept
    columns = (
        ("product", "Product", ""),
        ("batches", "Batches", ""),
        ("pieces", "Pieces", ""),
        ("mean_g", "Mean", "g"),
        ("target_g", "Target", "g"),
        ("deviation_g", "Off target", "g"),
    )
    pieces = pl.col("pieces").cast(pl.Float64)
    rows = (
        kept.group_by("product", maintain_order=True)
        .agg(
            pl.col("batch").drop_nulls().n_unique().alias("batches"),
            pl.col("pieces").sum(),
            ((pl.col("net_g") * pieces).sum() / pieces.sum()).alias("mean_g"),
            pl.col("target_g").first(),
        )
        .with_columns(deviation_g=pl.col("mean_g") - pl.col("target_g"))
        .sort("product")
    )
    return Table("products", "By product", columns, rows.to_dicts())
