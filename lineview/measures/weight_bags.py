"""Bags planned from the pieces weighed: least count and least fill for a label, by chance of passing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import polars as pl

from lineview.errors import MeasureError
from lineview.measures.bag_law import normal_offsets, piece_law
from lineview.measures.bag_plan import (
    BagPieces,
    Chance,
    chance_by_count,
    smallest_count,
    smallest_fill,
    smallest_mean,
)
from lineview.measures.contents_rules import ContentsRules
from lineview.measures.weight_shape import within_offsets
from lineview.measures.weight_spread import WeightSpread

#: Fewer single pieces than this do not show a shape; then a normal one is taken, and said.
LEAST_PIECES = 100
STEP_G = 0.01
_SEARCH, _FINAL = 2000, 10_000


@dataclass(frozen=True)
class BagRow:
    """A planned bag: by count, and by the mass at which filling stops [g].

    `count_chance` and `fill_chance` are chances of a lot to pass; `least_mean_g` is the mean piece that so
    many pieces would still allow; `why_none` says why there is no plan.
    """

    label_g: float
    lot: int
    count: int | None = None
    count_chance: Chance | None = None
    one_less: Chance | None = None
    fill_g: float | None = None
    fill_chance: Chance | None = None
    least_mean_g: float | None = None
    why_none: str = ""


@dataclass(frozen=True)
class BagPlan:
    """Planned bags for one product's pieces under one set of rules."""

    rows: tuple[BagRow, ...]
    rules: str
    shape: str
    batches: int
    wanted: float
    product: str


def plan_bags(
    weighings: pl.DataFrame,
    deviation: WeightSpread,
    product: str,
    labels_g: tuple[float, ...],
    rules: ContentsRules,
    *,
    pieces_per_lot: float,
    batch_kg: float,
    wanted: float = 0.95,
) -> BagPlan | None:
    """Plan bags by count and by weight.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept.
    deviation : WeightSpread
        Of net mass less target [g].
    product : str
        The product to plan for; its target and the common deviation give the mean.
    labels_g : tuple of float
        Labels to plan for [g].
    rules : ContentsRules
        To be passed.
    pieces_per_lot : float
        Pieces that go into the bags of a lot, such as an hour's.
    batch_kg : float
        Mass of a batch [kg].
    wanted : float
        Chance of a lot to pass.

    Returns
    -------
    BagPlan or None
        None where the spread within batches cannot be told.

    Notes
    -----
    Source: derived-bag-plan
    """
    within = deviation.within.value
    own = weighings.filter(pl.col("product") == product)
    if within is None or not within > 0 or own.is_empty():
        return None
    target_g = float(own["target_g"][0])
    off = within_offsets(weighings)
    real = off.size >= LEAST_PIECES
    law = piece_law(off if real else normal_offsets(), target_g + deviation.mean, within, STEP_G)
    batches = max(1, round(pieces_per_lot * law.mean_g / 1000 / batch_kg))
    pieces = BagPieces(law, deviation.between.value or 0.0, batches)
    rows = tuple(_row(pieces, label, pieces_per_lot, rules, wanted) for label in labels_g)
    shape = (
        f"shape of {off.size} single pieces" if real else "a normal shape, as few single pieces were weighed"
    )
    return BagPlan(rows, rules.banner, shape, batches, wanted, product)


def _row(
    pieces: BagPieces, label_g: float, pieces_per_lot: float, rules: ContentsRules, wanted: float
) -> BagRow:
    lot = max(1, math.floor(pieces_per_lot * pieces.piece.mean_g / label_g))
    try:
        count, _ = smallest_count(pieces, label_g, lot, rules, wanted, _SEARCH)
        fill, by_weight = smallest_fill(pieces, label_g, lot, rules, wanted, 0.5, _SEARCH)
    except MeasureError as error:
        return BagRow(label_g, lot, why_none=str(error))
    by_count = chance_by_count(pieces, count, label_g, lot, rules, _FINAL)
    less = chance_by_count(pieces, count - 1, label_g, lot, rules, _SEARCH) if count > 1 else None
    least = smallest_mean(pieces, count, label_g, lot, rules, wanted, _SEARCH)
    return BagRow(label_g, lot, count, by_count, less, fill, by_weight, least)
