"""ISO 22400-2's key figures as figures, with their formulas and the edition of our map of states."""

from __future__ import annotations

from lineview.figure import Figure, Period, cannot_tell
from lineview.measures.key_figures import (
    EDITION,
    KeyFigure,
    iso_key_figures,
    productive_maintenance_figures,
    time_elements,
    untold,
)
from lineview.measures.shift_measures import ShiftMeasures


def iso_figures(measured: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """Give ISO 22400-2's key figures of the minutes that were seen.

    Parameters
    ----------
    measured : ShiftMeasures
        Of the period.
    period : Period
        As asked.
    n : int
        Readings behind it.

    Returns
    -------
    tuple of Figure
        Named iso_..., in percent, never capped; then two with short stops placed as TPM places them.
    """
    elements = time_elements(measured.so_far)
    reasons = untold(measured.so_far)
    short = measured.so_far.minutes["short stop"]
    return (
        *(_figure(key, period, n, "iso_", reasons.get(key.name)) for key in iso_key_figures(elements)),
        *(_figure(key, period, n, "") for key in productive_maintenance_figures(elements, short)),
    )


def _figure(key: KeyFigure, period: Period, n: int, prefix: str, reason: str | None = None) -> Figure:
    name = f"{prefix}{key.name}_percent"
    if reason or key.value is None:
        return cannot_tell(name, key.label, "%", reason or "its divisor is 0", period)
    working = f"{key.formula} = {key.top:,.4g} ÷ {key.bottom:,.4g} (map of states {EDITION})"
    return Figure(
        name,
        key.label,
        100 * key.value,
        "%",
        n=n,
        period=period,
        sources=("iso-22400-2",) if prefix else ("willmott-mccarthy",),
        working=working,
    )
