"""One figure of the weight answer made of a value with its limits."""

from __future__ import annotations

from lineview.figure import Figure, Period
from lineview.measures.weight_spread import Spread

CONFIDENCE = "95 % confidence"
SPREAD_SOURCES = ("searle-casella-mcculloch", "weerahandi-1993")


def from_spread(
    spread: Spread,
    name: str,
    label: str,
    unit: str,
    *,
    n: int,
    period: Period,
    sources: tuple[str, ...],
    working: str,
) -> Figure:
    """Make a figure of a value with limits, or of the reason for none.

    Parameters
    ----------
    spread : Spread
        Value and limits.
    name, label, unit, n, period, sources, working
        As in Figure.

    Returns
    -------
    Figure
        As told.
    """
    if spread.value is None:
        why = spread.why_none
        return Figure(
            name, label, None, unit, n=n, period=period, interval_kind=why, why_none=why, sources=sources
        )
    none = "too few batches or weighings for an interval"
    kind = CONFIDENCE if spread.low is not None else none
    return Figure(name, label, spread.value, unit, spread.low, spread.high, kind, n, period, sources, working)
