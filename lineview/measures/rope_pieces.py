"""Pieces made of each product while a rope was watched, and what its deviation costs a week."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from lineview.measures.machine_counts import channel_increments, piece_counter
from lineview.measures.rope_weight import mass_change_g
from lineview.plant import Machine, Plant, Product

#: Pieces whose product nobody named are left out of money up to this share; above it no money is told.
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

    `money` is None where it cannot be told, and `why_no_money` says why; `unnamed` is the share of the
    pieces whose product is not known.
    """

    products: tuple[ProductWeek, ...]
    kg: Ends
    money: Ends | None
    why_no_money: str
    unnamed: float


def pieces_by_product(
    plant: Plant,
    wrappers: Sequence[Machine],
    readings: Mapping[str, pl.DataFrame],
    sheet: pl.DataFrame,
    only: Product | None,
    period: tuple[datetime, datetime],
) -> dict[str, float] | None:
    """Count the pieces of each product.

    Parameters
    ----------
    plant : Plant
        For its products.
    wrappers : sequence of Machine
        Cut-and-wrap machines of the line.
    readings : mapping of str to polars.DataFrame
        READINGS a machine.
    sheet : polars.DataFrame
        BATCHES of the line, in order of start.
    only : Product or None
        Stands in where there is no batch sheet.
    period : (datetime, datetime)
        From and to [UTC].

    Returns
    -------
    dict of str to float or None
        Pieces by product id, "" for those of no known product; None where nothing counted pieces.

    Notes
    -----
    Pieces are of the batch that began last before the middle of the time in which they were counted.

    Source: derived-rope
    """
    made: dict[str, float] = {}
    marks = sheet.select("start", "product").drop_nulls("start").sort("start")
    for wrapper in wrappers:
        counter = piece_counter(wrapper)
        if counter is None or wrapper.id not in readings:
            continue
        steps = channel_increments(readings[wrapper.id], counter)
        inside = steps.filter((pl.col("end") > period[0]) & (pl.col("start") < period[1]))
        middle = inside.select("n", at=pl.col("start") + (pl.col("end") - pl.col("start")) / 2).sort("at")
        if marks.is_empty():
            name = only.id if only else ""
            made[name] = made.get(name, 0.0) + float(middle["n"].sum() or 0.0)
            continue
        named = middle.join_asof(
            marks, left_on="at", right_on="start", strategy="backward", check_sortedness=False
        )
        for name, pieces in named.group_by("product").agg(pl.col("n").sum()).iter_rows():
            product = plant.product(name) if name else None
            key = product.id if product else ""
            made[key] = made.get(key, 0.0) + float(pieces or 0.0)
    return made if sum(made.values()) > 0 else None


def week_effect(
    plant: Plant, made: Mapping[str, float], to_week: float, deviation_mm: Ends, unnamed: Product
) -> WeekEffect:
    """Give what a deviation of the rope does a week, summed over the products made.

    Parameters
    ----------
    plant : Plant
        For masses, diameters and prices.
    made : mapping of str to float
        Pieces by product id over the period, "" for those of no known product.
    to_week : float
        Weeks' worth of pieces for each piece counted.
    deviation_mm : (float, float, float)
        The deviation and the ends of its interval [mm].
    unnamed : Product
        Whose mass stands in for pieces of no known product.

    Returns
    -------
    WeekEffect
        Kilograms and money summed; no price is averaged.

    Notes
    -----
    Source: derived-rope
    """
    known = {p.id: p for p in plant.products}
    rows = [
        _week(known.get(name, unnamed), pieces * to_week, deviation_mm)
        for name, pieces in made.items()
        if pieces > 0
    ]
    share = made.get("", 0.0) / sum(made.values())
    named = [_week(known[name], n * to_week, deviation_mm) for name, n in made.items() if name and n > 0]
    bare = [one.product.id for one in named if one.product.price_per_kg is None]
    why = ""
    if bare:
        why = f"no price_per_kg in plant.toml of {', '.join(bare)}"
    elif share > UNNAMED:
        why = f"{share:.0%} of the pieces are of no product the batch sheet names"
    money = None if why else _summed([(one.kg, one.product.price_per_kg or 0.0) for one in named])
    return WeekEffect(tuple(rows), _summed([(one.kg, 1.0) for one in rows]), money, why, share)


def _week(product: Product, pieces: float, deviation_mm: Ends) -> ProductWeek:
    middle, low, high = (mass_change_g(product.mass_g, product.diameter_mm, d) for d in deviation_mm)
    kg = (middle * pieces / 1000, low * pieces / 1000, high * pieces / 1000)
    return ProductWeek(product, pieces, (middle, low, high), kg)


def _summed(parts: Sequence[tuple[Ends, float]]) -> Ends:
    return (
        sum(kg[0] * times for kg, times in parts),
        sum(kg[1] * times for kg, times in parts),
        sum(kg[2] * times for kg, times in parts),
    )
