"""Reels of a web for a number of pieces: net, fixed waste and proportional waste apart, whole reels up."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lineview.core.errors import Fault, MeasureError
from lineview.core.language import tr
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
                tr("a reel of {reel_m:.0f} m wastes {lost_m:.0f} m", reel_m=comes_m, lost_m=lost_per_reel),
                web.id,
                tr("a reel longer than what it wastes"),
                tr("Correct the allowances in plant.toml."),
            )
        )
    net = pieces * web.cut_length_mm / 1000.0
    proportional = net * percent / 100.0
    at_starts = starts * per_start
    # Each reel brings what is left after its own waste. The tiny allowance keeps 41.0000001 at 41.
    reels = math.ceil((net + proportional + at_starts) / (comes_m - lost_per_reel) - 1e-9)
    fixed = at_starts + reels * lost_per_reel
    order = rounded_order(reels, web.minimum_reels, web.multiple_reels)
    working = tr(
        "{pieces:,.0f} pieces × {cut_mm:g} mm = {net:,.0f} m net; + {percent:g} % = "
        "{proportional:,.0f} m in proportion; + {at_starts:,.0f} m at {starts:,.0f} starts; ÷ "
        "({reel_m:,.0f} m a reel − {lost_m:g} m lost with each) → {reels} whole reels",
        pieces=pieces,
        cut_mm=web.cut_length_mm,
        net=net,
        percent=percent,
        proportional=proportional,
        at_starts=at_starts,
        starts=starts,
        reel_m=comes_m,
        lost_m=lost_per_reel,
        reels=reels,
    )
    if under_delivery_percent:
        working += tr(" (a delivery may come {percent:g} % short)", percent=under_delivery_percent)
    return ReelsNeeded(web.id, pieces, net, proportional, fixed, reel_m, reels, order, working)


def rounded_order(reels: int, minimum: int, multiple: int) -> int:
    """Raise a number of reels to a supplier's minimum and multiple; 0 stays 0."""
    return 0 if reels <= 0 else math.ceil(max(reels, minimum) / multiple) * multiple


def _check(values: dict[str, float], reel_m: float, under_percent: float) -> None:
    faults = [
        Fault(tr("{name} is {value:g}", name=name, value=value), name, tr("a number of 0 or more"))
        for name, value in values.items()
        if not (math.isfinite(value) and value >= 0)
    ]
    if not (math.isfinite(reel_m) and reel_m > 0):
        faults.append(Fault(tr("a reel holds {reel_m:g} m", reel_m=reel_m), "reel_m", tr("above 0")))
    if not 0 <= under_percent < 100:
        faults.append(
            Fault(tr("{percent:g} % short", percent=under_percent), "under_delivery_percent", tr("0 up to 100"))
        )
    if faults:
        raise MeasureError(faults)
