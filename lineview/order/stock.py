"""What of a web is on the shelf and on order, from the latest stock count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import polars as pl

from lineview.core.errors import MeasureError
from lineview.core.language import tr
from lineview.plant import Web
from lineview.wrap.reels import full_reel_m, part_reel_m


@dataclass(frozen=True)
class Delivery:
    """Reels that are to come, and when [UTC]; `at` None where no date was given."""

    at: datetime | None
    reels: float


@dataclass(frozen=True)
class OnHand:
    """Metres and reels of one web at one count.

    `refused` holds the reasons of what could not be counted (a part reel thicker than new).
    """

    web: str
    counted_at: datetime
    whole_reels: float
    part_m: float
    metres: float
    deliveries: tuple[Delivery, ...]
    refused: tuple[str, ...] = ()


def on_hand(web: Web, stock: pl.DataFrame, names: Sequence[str], zone: str) -> OnHand | None:
    """Read the latest stock count of one web."""
    reel_m = full_reel_m(web)
    lower_names = [name.casefold() for name in names]
    of_web = stock.filter(pl.col("web").str.to_lowercase().str.strip_chars().is_in(lower_names)).sort("at", "row")
    if of_web.is_empty() or reel_m is None:
        return None
    day = pl.col("at").dt.convert_time_zone(str(ZoneInfo(zone))).dt.date()
    last = of_web.row(-1, named=True)
    count = of_web.filter((day == of_web.select(day)["at"][-1]) & (pl.col("intake") == last["intake"]))
    whole_reels = float(count["whole_reels"].sum())
    part, refused = _parts(web, count["part_reel_outer_mm"].drop_nulls().to_list())
    deliveries = [
        Delivery(row["expected_on"], float(row["on_order_reels"]))
        for row in count.iter_rows(named=True)
        if row["on_order_reels"]
    ]
    metres = whole_reels * reel_m + part
    return OnHand(web.id, last["at"], whole_reels, part, metres, tuple(deliveries), tuple(refused))


def _parts(web: Web, outer_mm: Sequence[float]) -> tuple[float, list[str]]:
    """Add up the part reels [m]; what cannot be one is refused with its reason."""
    total, refused = 0.0, []
    for diameter in outer_mm:
        try:
            length_m = part_reel_m(web, diameter)
        except MeasureError as error:
            refused += [str(fault) for fault in error.faults]
            continue
        if length_m is None:
            refused.append(
                tr("a part reel of {web} of {diameter:g} mm: no thickness in plant.toml", web=web.id, diameter=diameter)
            )
        else:
            total += length_m
    return total, refused
