"""Weights made ready to be worked on: batch, product, target, net mass of a piece, and what is set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from lineview.columns import BATCHES, UTC_US, WEIGHTS, require
from lineview.measures.weight_batches import with_batches

#: One weighing that can be used: `net_g` is the mean net mass of its `pieces` pieces [g].
WEIGHINGS: dict[str, pl.DataType] = {
    "at": UTC_US,
    "batch": pl.String(),
    "sample": pl.String(),
    "product": pl.String(),
    "target_g": pl.Float64(),
    "tolerance_g": pl.Float64(),
    "pieces": pl.Int64(),
    "mass_g": pl.Float64(),
    "wrap_g": pl.Float64(),
    "gross": pl.Boolean(),
    "net_g": pl.Float64(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}


@dataclass(frozen=True)
class PieceFacts:
    """What is known of a product's piece: target and tolerance [g], wrap [g] or None where unknown."""

    product: str
    target_g: float
    tolerance_g: float
    wrap_g: float | None


def weighings(
    weights: pl.DataFrame, batches: pl.DataFrame, facts: Mapping[str, PieceFacts], only: str = ""
) -> pl.DataFrame:
    """Give weights with batch, product and the net mass of a piece.

    Parameters
    ----------
    weights : polars.DataFrame
        WEIGHTS of one machine.
    batches : polars.DataFrame
        BATCHES of its line.
    facts : mapping of str to PieceFacts
        By the product's name as the batch sheet writes it.
    only : str
        The product to take where the batch sheet names none; "" where there are several.

    Returns
    -------
    polars.DataFrame
        WEIGHINGS, one row a weight, by time; what is not known is null.

    Raises
    ------
    MeasureError
        Where a column is missing.
    """
    require(weights, WEIGHTS, "weights")
    require(batches, BATCHES, "batches")
    known = pl.DataFrame(
        [(name, f.product, f.target_g, f.tolerance_g, f.wrap_g) for name, f in facts.items()],
        schema={"named": pl.String, "product": pl.String, "target_g": pl.Float64,
                "tolerance_g": pl.Float64, "wrap_g": pl.Float64},
        orient="row",
    )  # fmt: skip
    placed = with_batches(weights, batches).with_columns(
        pl.col("named").replace("", None).fill_null(pl.lit(only or None, dtype=pl.String)),
    )
    joined = placed.join(known, on="named", how="left", maintain_order="left")
    wrap = pl.when(pl.col("gross").fill_null(False)).then(pl.col("wrap_g") * pl.col("pieces")).otherwise(0.0)
    return (
        joined.with_columns(
            net_g=(pl.col("mass_g") - wrap) / pl.when(pl.col("pieces") > 0).then(pl.col("pieces")),
            product=pl.coalesce("product", "named"),
        )
        .select(list(WEIGHINGS))
        .sort("at", "intake", "row", maintain_order=True)
    )
