"""Stop logs and the journal put together: reasons people set, and adjustments a log names."""

from __future__ import annotations

import polars as pl

from lineview.columns import ADJUSTMENTS, STOP_LOG


def with_reasons(log: pl.DataFrame, reasons: pl.DataFrame) -> pl.DataFrame:
    """Put the reasons people set on the board before those of the stop log.

    Parameters
    ----------
    log : polars.DataFrame
        STOP_LOG from exports.
    reasons : polars.DataFrame
        machine, start, end, reason from the journal; may be empty.

    Returns
    -------
    polars.DataFrame
        STOP_LOG; the board's reasons first, with intake and row 0.
    """
    if reasons.is_empty():
        return log
    zeros = [pl.lit(0, pl.Int64).alias("intake"), pl.lit(0, pl.Int64).alias("row")]
    set_by_hand = reasons.with_columns(zeros).select(list(STOP_LOG))
    return pl.concat([set_by_hand.cast(pl.Schema(STOP_LOG)), log])


def with_named(log: pl.DataFrame, recorded: pl.DataFrame) -> pl.DataFrame:
    """Add to the journal's adjustments those that a stop log names ("adjusted roller pair 3").

    Parameters
    ----------
    log : polars.DataFrame
        STOP_LOG.
    recorded : polars.DataFrame
        ADJUSTMENTS of the journal; may be empty.

    Returns
    -------
    polars.DataFrame
        ADJUSTMENTS in order of time.
    """
    named = log.filter(pl.col("reason").str.to_lowercase().str.starts_with("adjust")).select(
        "machine",
        pl.col("start").alias("at"),
        pl.col("reason").alias("what"),
        pl.lit("stop log").alias("note"),
    )
    given = recorded if recorded.width else pl.DataFrame(schema=ADJUSTMENTS)
    return pl.concat([given.select(list(ADJUSTMENTS)), named]).unique(["machine", "at"]).sort("at")
