"""Cells that leave the tool in files: text that a spreadsheet would run as a formula is defused."""

from __future__ import annotations

import polars as pl

#: A spreadsheet takes a cell that begins with one of these for a formula or a command.
RISKY = r"^[=+\-@\t\r]"


def guarded(frame: pl.DataFrame) -> pl.DataFrame:
    """Put an apostrophe before text that a spreadsheet would take for a formula.

    Parameters
    ----------
    frame : polars.DataFrame
        Any; only its text columns are looked at.

    Returns
    -------
    polars.DataFrame
        The same columns and rows.

    Examples
    --------
    >>> guarded(pl.DataFrame({"text": ["=1+1", "12"]}))["text"].to_list()
    ["'=1+1", '12']
    """
    text = pl.col(pl.String)
    return frame.with_columns(pl.when(text.str.contains(RISKY)).then("'" + text).otherwise(text).name.keep())
