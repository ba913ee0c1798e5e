"""What the rope's diameter does to the weight of a piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from lineview.core.language import tr
from lineview.machine.pieces import MachineCounts
from lineview.machine.products import good_by_product
from lineview.plant import Plant, Product


def mass_ratio(diameter_mm: float, target_mm: float) -> float:
    """A piece's mass over its mass at target diameter, length and density as they are.

    Source: derived-rope
    """
    return (diameter_mm / target_mm) ** 2


def mass_change_g(mass_g: float, target_mm: float, deviation_mm: float) -> float:
    """What a deviation of the diameter adds to a piece [g].

    Parameters
    ----------
    mass_g : float
        Mass of a piece at the target diameter [g].
    target_mm : float
        Target diameter [mm].
    deviation_mm : float
        How far the diameter is off it [mm].

    Notes
    -----
    Source: derived-rope
    """
    return mass_g * (mass_ratio(target_mm + deviation_mm, target_mm) - 1)


#: Pieces whose product nobody named are left out of money up to this share; above it no money is given.
UNNAMED = 0.05

Ends = tuple[float, float, float]


@dataclass(frozen=True)
class ProductWeek:
    """What a deviation does to one product a week: pieces; grams a piece and kilograms with their ends."""

    product: Product
    pieces: float
    grams: Ends
    kg: Ends


@dataclass(frozen=True)
class WeekEffect:
    """What a deviation does a week: product by product, in kilograms and in money.

    `money` is None where it is not known, and `why_no_money` says why; `unnamed` is the share of the
    pieces whose product is not known.
    """

    products: tuple[ProductWeek, ...]
    kg: Ends
    money: Ends | None
    why_no_money: str
    unnamed: float


def pieces_by_product(
    plant: Plant,
    wrappers: Sequence[MachineCounts],
    sheet: pl.DataFrame,
    only: Product | None,
    period: tuple[datetime, datetime],
) -> dict[str, float] | None:
    """Good pieces of each product that the line's machines wrapped."""
    names = sheet["product"].drop_nulls().unique(maintain_order=True).to_list()
    ids = {name: product.id for name in names if (product := plant.product(name)) is not None}
    if sheet["start"].drop_nulls().is_empty():
        ids = {"": only.id} if only else {}
    good_of: dict[str, float] = {}
    for counts in wrappers:
        for name, pieces in good_by_product(sheet, counts, ids, *period).items():
            good_of[name] = good_of.get(name, 0.0) + pieces
    return good_of if sum(good_of.values()) > 0 else None


def week_effect(
    plant: Plant, good_of: Mapping[str, float], to_week: float, deviation_mm: Ends, unnamed: Product
) -> WeekEffect:
    """What a deviation of the rope does a week, summed over the products made.

    Source: derived-rope
    """
    product_of = {p.id: p for p in plant.products}
    rows = [
        _week(product_of.get(name, unnamed), pieces * to_week, deviation_mm)
        for name, pieces in good_of.items()
        if pieces > 0
    ]
    share = good_of.get("", 0.0) / sum(good_of.values())
    weeks = [_week(product_of[name], n * to_week, deviation_mm) for name, n in good_of.items() if name and n > 0]
    bare = [week.product.id for week in weeks if week.product.price_per_kg is None]
    why = ""
    if bare:
        why = tr("no price_per_kg in plant.toml of {products}", products=", ".join(bare))
    elif share > UNNAMED:
        why = tr("{share:.0%} of the pieces are of no product the batch sheet names", share=share)
    money = None if why else _sum_ends([(week.kg, week.product.price_per_kg or 0.0) for week in weeks])
    return WeekEffect(tuple(rows), _sum_ends([(week.kg, 1.0) for week in rows]), money, why, share)


def _week(product: Product, pieces: float, deviation_mm: Ends) -> ProductWeek:
    middle, low, high = (mass_change_g(product.mass_g, product.diameter_mm, d) for d in deviation_mm)
    kg = (middle * pieces / 1000, low * pieces / 1000, high * pieces / 1000)
    return ProductWeek(product, pieces, (middle, low, high), kg)


def _sum_ends(parts: Sequence[tuple[Ends, float]]) -> Ends:
    return (
        sum(kg[0] * times for kg, times in parts),
        sum(kg[1] * times for kg, times in parts),
        sum(kg[2] * times for kg, times in parts),
    )
