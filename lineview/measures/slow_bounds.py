"""How sure the slow minutes are: the ends of a slow stretch are told no finer than the counter was read."""

from __future__ import annotations

import numpy as np
import polars as pl

#: However often it is read, a leg's rate is taken over a minute, half of it either side [min].
_LEAST_END_MIN = 0.5


def slow_bounds_min(tape: pl.DataFrame, every_min: float) -> tuple[float, float]:
    """Give the least and most slow minutes.

    Parameters
    ----------
    tape : polars.DataFrame
        TAPE.
    every_min : float
        Usual time between two readings [min].

    Returns
    -------
    tuple of float
        Each end of a slow stretch may lie a reading interval, or half a minute, further in or out, and a
        stretch of two intervals may as well hold a stop [min].

    Notes
    -----
    Source: derived-tape

    Examples
    --------
    >>> from datetime import datetime
    >>> at = [datetime(2026, 6, 9, 6, m) for m in (0, 20, 22)]
    >>> tape = pl.DataFrame({"start": at[:2], "end": at[1:], "state": ["slow", "running"]})
    >>> slow_bounds_min(tape, 1.0)
    (18.0, 22.0)
    """
    slow = tape.filter(pl.col("state") == "slow")
    minutes = ((slow["end"] - slow["start"]).dt.total_microseconds() / 6e7).to_numpy()
    ends = 2 * max(every_min, _LEAST_END_MIN)
    return float(np.clip(minutes - ends, 0.0, None).sum()), float((minutes + ends).sum())
