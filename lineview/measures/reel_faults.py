"""What a reel log cannot mean: a reel mounted twice with nothing left, or with more than it can hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from lineview.measures.reel_balance import LENGTH_READ_M, ReelSpan

#: By how much more than its label a reel may hold before it is told: over-delivery of a reel aside.
MORE_SHARE = 0.05


@dataclass(frozen=True)
class ReelFault:
    """Something in the reel log that cannot be."""

    reel: str
    at: datetime
    what: str


def reel_faults(spans: Sequence[ReelSpan]) -> list[ReelFault]:
    """Name what the reel log cannot mean.

    Parameters
    ----------
    spans : sequence of ReelSpan
        Of one machine.

    Returns
    -------
    list of ReelFault
        In order of time. A reel that was taken off with something left may be mounted again later.
    """
    faults: list[ReelFault] = []
    seen: dict[tuple[str, str], list[ReelSpan]] = {}
    for span in sorted(spans, key=lambda s: s.mounted):
        earlier = seen.setdefault((span.kind, span.origin or span.reel), [])
        told = [_again(earlier[-1], span)] if earlier and span.reel else []
        told += [_too_much_left(span), _too_much_fed([*earlier, span]) if span.reel else ""]
        faults += [ReelFault(span.reel, span.mounted, what) for what in told if what]
        earlier.append(span)
    return faults


def _again(before: ReelSpan, span: ReelSpan) -> str:
    """Say why a reel cannot have been mounted again as the log has it, or nothing."""
    if before.left_m == 0 or before.taken_off is None:
        return f"reel {span.reel} was mounted twice and nothing was left on it the first time"
    left, stated = before.left_m, span.stated_m
    if left is None or stated is None or stated == before.label_m:
        return ""
    # The label's own length may be written down again; any other length must be what was left.
    if abs(stated - left) <= max(LENGTH_READ_M, MORE_SHARE * left):
        return ""
    return f"reel {span.reel} was mounted again with {stated:,.0f} m, but {left:,.0f} m were left on it"


def _too_much_left(span: ReelSpan) -> str:
    if span.left_m is None or span.held_m is None or span.left_m <= span.held_m * (1.0 + MORE_SHARE):
        return ""
    return f"reel {span.reel} had {span.left_m:,.0f} m left of {span.held_m:,.0f} m"


def _too_much_fed(spans: Sequence[ReelSpan]) -> str:
    """Say that a reel mounted several times fed more than it can hold, or nothing."""
    fed = [span.fed.number for span in spans if span.fed is not None]
    label = spans[0].label_m
    if len(spans) < 2 or label is None or sum(fed) <= label * (1.0 + MORE_SHARE):
        return ""
    return (
        f"reel {spans[0].reel} fed {sum(fed):,.0f} m in {len(spans)} mountings, but its label says "
        f"{label:,.0f} m"
    )
