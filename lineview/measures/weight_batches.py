"""Which batch a weight belongs to: by its own batch column, else by time against the batch sheet."""

from __future__ import annotations

from datetime import timedelta

import polars as pl

#: How long after a batch's end on the sheet a weight may still be of it: what stands on the table is
#: wrapped and weighed a while later.
GRACE = timedelta(minutes=15)


def with_batches(weights: pl.DataFrame, batches: pl.DataFrame, grace: timedelta = GRACE) -> pl.DataFrame:
    """Add to each weight its batch and the product the batch sheet names.

    Parameters
    ----------
    weights : polars.DataFrame
        WEIGHTS.
    batches : polars.DataFrame
        BATCHES of the same line.
    grace : datetime.timedelta
        How long after the end of a batch a weight still counts to it.

    Returns
    -------
    polars.DataFrame
        The weights with `batch` filled where it can be told (else null) and `named`, the product's name.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from lineview.columns import BATCHES, WEIGHTS
    >>> t = datetime(2026, 6, 9, 6, tzinfo=UTC)
    >>> w = pl.DataFrame([("wrap1", t, 6.6, 1, False, "", "", 1, 2)], schema=WEIGHTS, orient="row")
    >>> b = pl.DataFrame([("line1", "B7", "mint", t, None, 22.7, 1, 2)], schema=BATCHES, orient="row")
    >>> with_batches(w, b).select("batch", "named").row(0)
    ('B7', 'mint')
    """
    sheet = (
        batches.filter(pl.col("start").is_not_null())
        .sort("start")
        .unique(["batch", "start"], keep="first", maintain_order=True)
        .select(
            pl.col("start").alias("at"),
            pl.col("batch").alias("sheet_batch"),
            pl.col("product").alias("sheet_product"),
            pl.col("end").alias("sheet_end"),
            pl.col("start").shift(-1).alias("next_start"),
        )
    )
    own = weights.with_columns(pl.col("batch").str.strip_chars().replace("", None)).sort(
        "at", maintain_order=True
    )
    by_time = own.join_asof(sheet, on="at", strategy="backward", check_sortedness=False)
    # Without an end on the sheet a batch lasts until the next one starts, the last one without limit.
    limit = pl.col("sheet_end") + pl.lit(grace)
    inside = pl.col("sheet_end").is_null() | (pl.col("at") <= limit)
    timed = by_time.with_columns(
        pl.when(inside).then(pl.col("sheet_batch")).alias("sheet_batch"),
        pl.when(inside).then(pl.col("sheet_product")).alias("sheet_product"),
    )
    named = _named_by_sheet(timed, sheet)
    return named.with_columns(batch=pl.coalesce("batch", "sheet_batch")).drop(
        "sheet_batch", "sheet_product", "sheet_end", "next_start"
    )


def _named_by_sheet(timed: pl.DataFrame, sheet: pl.DataFrame) -> pl.DataFrame:
    """Add the product: of the batch the weight itself names if the sheet has it, else by time."""
    by_name = sheet.sort("at").select(
        pl.col("sheet_batch").alias("batch"), pl.col("sheet_product").alias("own_product"), "at"
    )
    # A batch number may come again: of its entries the latest before the weight counts, else the first.
    listed = timed.with_row_index("_row")
    entries = listed.filter(pl.col("batch").is_not_null()).select("_row", "batch", pl.col("at").alias("_at"))
    match = (
        entries.join(by_name, on="batch", how="inner")
        .with_columns(_late=pl.col("at") > pl.col("_at"), _away=(pl.col("at") - pl.col("_at")).abs())
        .sort("_row", "_late", "_away")
        .unique("_row", keep="first", maintain_order=True)
        .select("_row", "own_product")
    )
    joined = listed.join(match, on="_row", how="left", maintain_order="left").drop("_row")
    named = pl.when(pl.col("batch").is_not_null() & pl.col("own_product").is_not_null())
    return joined.with_columns(
        named=named.then(pl.col("own_product")).otherwise(pl.col("sheet_product"))
    ).drop("own_product")
