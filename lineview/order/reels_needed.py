"""Reels of a web for a number of pieces: net, fixed waste and proportional waste apart, whole reels up."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lineview.core.errors import Fault, MeasureError
from lineview.plant import Web


@dataclass(frozen=True)
class ReelsNeeded:
    """Reels of one web for a number of pieces, with the metres that make them up [m].

    `reels` is the whole number that covers the need though every reel comes short by the agreed
    tolerance; `order` is that number raised to the minimum and the multiple of the supplier.
    """

    web: str
    pieces: float
    net_m: float
    proportional_m: float
    fixed_m: float
    reel_m: float
    reels: int
    order: int
    working: str

    @property
    def gross_m(self) -> float:
        """Net and waste together [m]."""
        return self.net_m + self.proportional_m + self.fixed_m


def reels_needed(
    web: Web,
    pieces: float,
    *,
    reel_m: float,
    starts: float = 0.0,
    start_m: float | None = None,
    reel_waste_m: float | None = None,
    splices_per_reel: float = 0.0,
    splice_m: float | None = None,
    waste_percent: float | None = None,
    under_delivery_percent: float = 0.0,
) -> ReelsNeeded:
    """The whole reels of a web that a number of pieces takes.

    Gross = net × (1 + p/100) + starts × start waste + reels × (reel waste + splices × splice waste): the
    fixed and the proportional part of make-ready and running waste kept apart.

    Source: printers-waste, reel-order
    """
    per_start = 0.0 if start_m is None else start_m
    per_reel = web.start_m + web.end_m if reel_waste_m is None else reel_waste_m
    per_splice = web.splice_m if splice_m is None else splice_m
    percent = web.running_waste_percent if waste_percent is None else waste_percent
    _check(
        {
            "pieces": pieces,
            "starts": starts,
            "start_m": per_start,
            "reel_waste_m": per_reel,
            "splices_per_reel": splices_per_reel,
            "splice_m": per_splice,
            "waste_percent": percent,
        },
        reel_m,
        under_delivery_percent,
    )
    lost_per_reel = per_reel + splices_per_reel * per_splice
    comes_m = reel_m * (1.0 - under_delivery_percent / 100.0)
    if lost_per_reel >= comes_m:
        raise MeasureError(
            Fault(
                f"a reel of {comes_m:.0f} m wastes {lost_per_reel:.0f} m",
                web.id,
                "a reel longer than what it wastes",
                "Correct the allowances in plant.toml.",
            )
        )
    net = pieces * web.cut_length_mm / 1000.0
    proportional = net * percent / 100.0
    at_starts = starts * per_start
    # Each reel brings what is left after its own waste. The tiny allowance keeps 41.0000001 at 41.
    reels = math.ceil((net + proportional + at_starts) / (comes_m - lost_per_reel) - 1e-9)
    fixed = at_starts + reels * lost_per_reel
    order = rounded_order(reels, web.minimum_reels, web.multiple_reels)
    working = (
        f"{pieces:,.0f} pieces × {web.cut_length_mm:g} mm = {net:,.0f} m net; + {percent:g} % = "
        f"{proportional:,.0f} m in proportion; + {at_starts:,.0f} m at {starts:,.0f} starts; "
        f"÷ ({comes_m:,.0f} m a reel − {lost_per_reel:g} m lost with each) → {reels} whole reels"
    )
    if under_delivery_percent:
        working += f" (a delivery may come {under_delivery_percent:g} % short)"
    return ReelsNeeded(web.id, pieces, net, proportional, fixed, reel_m, reels, order, working)


def rounded_order(reels: int, minimum: int, multiple: int) -> int:
    """Raise a number of reels to a supplier's minimum and multiple; 0 stays 0."""
    if reels <= 0:
        return 0
    return math.ceil(max(reels, minimum) / multiple) * multiple


def _check(values: dict[str, float], reel_m: float, under_percent: float) -> None:
    faults = [
        Fault(f"{name} is {value:g}", name, "a number of 0 or more")
        for name, value in values.items()
        if not (math.isfinite(value) and value >= 0)
    ]
    if not (math.isfinite(reel_m) and reel_m > 0):
        faults.append(Fault(f"a reel holds {reel_m:g} m", "reel_m", "above 0"))
    if not 0 <= under_percent < 100:
        faults.append(Fault(f"{under_percent:g} % short", "under_delivery_percent", "0 up to 100"))
    if faults:
        raise MeasureError(faults)
