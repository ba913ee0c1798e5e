"""A clock that turns with every wrap, blank ones too, and still counts pieces only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from lineview.measures.states import Clock, clock


def clock_with_blanks(
    pieces: pl.DataFrame, blanks: pl.DataFrame, *, band_low_per_min: float, gap_s: float
) -> Clock:
    """Split the clock by pieces and blank wraps together, and lay the pieces alone along it.

    Parameters
    ----------
    pieces : polars.DataFrame
        INCREMENTS of the piece counter.
    blanks : polars.DataFrame
        INCREMENTS of the blank wraps, read at the same moments; others are passed over.
    band_low_per_min : float
        Low end of the nominal band [pieces/min].
    gap_s : float
        Longest interval between readings that still tells what happened in it [s].

    Returns
    -------
    Clock
        A machine that wraps nothing at a restart runs, though it makes no piece. Within an interval pieces
        go along with the wraps.

    Notes
    -----
    Source: derived-tape
    """
    both = pieces.join(
        blanks.select("start", "end", blank="n"), on=["start", "end"], how="left", maintain_order="left"
    )
    wraps = both.with_columns(pl.col("n") + pl.col("blank").fill_null(0.0)).drop("blank")
    turning = clock(wraps, band_low_per_min=band_low_per_min, gap_s=gap_s)
    making = clock(pieces, band_low_per_min=band_low_per_min, gap_s=gap_s)
    if not len(turning.at):
        return making
    wraps_until = np.interp(turning.span, turning.at, turning.pieces)
    pieces_until = np.interp(turning.span, making.at, making.pieces)
    along = np.interp(turning.pieces, wraps_until, pieces_until)
    return replace(making, edge=turning.edge, code=turning.code, at=turning.at, pieces=along)
