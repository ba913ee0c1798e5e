"""What the increments of one counter add up to, added plainly."""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True)
class Total:
    """Counts over a period.

    Parameters
    ----------
    n : float or None
        The sum where every increment is known, else None.
    low, high : float and float or None
        Bounds; equal to `n` where it is known; `high` None: unbounded.
    missing_s : float
        Seconds of the intervals whose increment is not known.
    """

    n: float | None
    low: float
    high: float | None
    missing_s: float


def total(increments: pl.DataFrame) -> Total:
    """Add increments up.

    Parameters
    ----------
    increments : polars.DataFrame
        INCREMENTS, of one counter.

    Returns
    -------
    Total
        The counts, or bounds where some increment is not known.

    Examples
    --------
    >>> total(empty(INCREMENTS))
    Total(n=0.0, low=0.0, high=0.0, missing_s=0.0)
    """
    unknown = increments["n"].is_null()
    exact = float(increments["n"].sum())
    if not unknown.any():
        return Total(exact, exact, exact, 0.0)
    missing = increments.filter(unknown)
    seconds = float((missing["end"] - missing["start"]).dt.total_microseconds().sum()) / 1e6
    high = None if missing["high"].has_nulls() else exact + float(missing["high"].sum())
    return Total(None, exact + float(missing["low"].sum()), high, seconds)
