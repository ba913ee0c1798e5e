"""Use of a web per thousand good pieces: metres, m², kilograms and money."""

from __future__ import annotations

from dataclasses import dataclass

from lineview.core.estimate import Estimate
from lineview.measures.wrap_use import WebUse


@dataclass(frozen=True)
class PerThousand:
    """An amount per thousand good pieces, with bounds; None where it cannot be told."""

    value: float
    low: float
    high: float
    working: str


def per_thousand(use: WebUse, what: str, unit: str) -> PerThousand | None:
    """Give what a thousand good pieces take.

    Parameters
    ----------
    use : WebUse
        Of one kind of web.
    what : str
        "" for all of it, "geometry", "fed", "difference" (fed less geometry), or a cause.
    unit : str
        "m", "m2", "kg" or "money".

    Returns
    -------
    PerThousand or None
        None where no counter or no figure in plant.toml tells.
    """
    factor = use.factors.get(unit)
    metres = _metres(use, what)
    if factor is None or metres is None or use.good <= 0:
        return None
    value, low, high, said = metres
    scale = factor * 1000.0 / use.good
    shown = "" if unit == "m" else f" × {factor:.4g} {unit}/m"
    return PerThousand(
        value * scale,
        low * scale,
        high * scale,
        f"{said}{shown} ÷ {use.good:,.0f} good pieces × 1000",
    )


def fed_per_thousand(fed: Estimate, good: float) -> PerThousand | None:
    """Give the metres fed a thousand good pieces, of a web that plant.toml does not describe.

    Parameters
    ----------
    fed : Estimate
        On the feed counter [m].
    good : float
        Good pieces.

    Returns
    -------
    PerThousand or None
        In metres, with the counter's bounds; None where no good piece was counted.
    """
    if good <= 0:
        return None
    scale = 1000.0 / good
    working = f"{fed.number:,.1f} m on the feed counter ÷ {good:,.0f} good pieces × 1000"
    return PerThousand(fed.number * scale, fed.ends[0] * scale, fed.ends[1] * scale, working)


def _metres(use: WebUse, what: str) -> tuple[float, float, float, str] | None:
    """Give the metres, their bounds and their working."""
    if what == "":
        how = (
            "metres fed and left on reels taken off" if use.measured else "sum of the causes; no feed counter"
        )
        return use.metres, use.low_m, use.high_m, f"{use.metres:,.1f} m ({how})"
    if what == "fed":
        if use.fed is None:
            return None
        return use.fed.number, *use.fed.ends, f"{use.fed.number:,.1f} m on the feed counter"
    if what == "difference":
        if use.fed is None:
            return None
        value = use.fed.number - use.geometry_m
        return (
            value,
            use.fed.ends[0] - use.geometry_high_m,
            use.fed.ends[1] - use.geometry_low_m,
            f"({use.fed.number:,.1f} m fed − {use.geometry_m:,.1f} m by geometry)",
        )
    cause = use.cause(what)
    return (
        None
        if cause is None
        else (cause.metres, cause.low, cause.high, f"{cause.metres:,.2f} m: {cause.working}")
    )
