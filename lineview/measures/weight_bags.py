"""Bags planned from the pieces weighed: least count and least fill for a label, by chance of passing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from lineview.errors import MeasureError
from lineview.measures.bag_law import normal_offsets, piece_law
from lineview.measures.bag_lots import BagPieces, Chance
from lineview.measures.bag_plan import chance_by_count, smallest_count, smallest_fill, smallest_mean
from lineview.measures.contents_rules import ContentsRules
from lineview.measures.weight_giveaway import off_targets
from lineview.measures.weight_shape import within_offsets
from lineview.measures.weight_spread import WeightSpread

#: Fewer single pieces than this do not show a shape; then a normal one is taken, and said.
LEAST_PIECES = 100
#: Fewer weighings, or batches, of a product than this do not tell its own mean.
LEAST_WEIGHINGS, LEAST_BATCHES = 20, 3
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
    """Planned bags for one product's pieces under one set of rules, by full title and by `name`."""

    rows: tuple[BagRow, ...]
    rules: str
    shape: str
    batches: int
    wanted: float
    product: str
    name: str = ""


def plan_bags(
    weighings: pl.DataFrame,
    deviation: WeightSpread,
    product: str,
    labels_g: tuple[float, ...],
    rules: ContentsRules,
    *,
    pieces_per_lot: float,
    batch_kg: float,
    off_g: float | None = None,
    wanted: float = 0.95,
) -> BagPlan | None:
    """Plan bags of one product by count and by weight.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept.
    deviation : WeightSpread
        Of net mass less target [g].
    product : str
        The product to plan for.
    labels_g : tuple of float
        Labels to plan for [g].
    rules : ContentsRules
        To be passed.
    pieces_per_lot : float
        Pieces that go into the bags of a lot, such as an hour's.
    batch_kg : float
        Mass of a batch [kg].
    off_g : float, optional
        Mean deviation of this product from its target [g]; the common one where not given.
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
    mean_g = target_g + (deviation.mean if off_g is None else off_g)
    law = piece_law(off if real else normal_offsets(), mean_g, within, STEP_G)
    batches = max(1, round(pieces_per_lot * law.mean_g / 1000 / batch_kg))
    pieces = BagPieces(law, deviation.between.value or 0.0, batches)
    rows = tuple(_row(pieces, label, pieces_per_lot, rules, wanted) for label in labels_g)
    shape = (
        f"shape of {off.size} single pieces" if real else "a normal shape, as few single pieces were weighed"
    )
    return BagPlan(rows, rules.banner, shape, batches, wanted, product, rules.short_banner)


def plan_products(
    weighings: pl.DataFrame,
    deviation: WeightSpread,
    declared: Mapping[str, Sequence[float]],
    usual_g: Sequence[float],
    rules: ContentsRules,
    *,
    pieces_per_lot: float,
    batch_kg: float,
) -> tuple[BagPlan, ...]:
    """Plan the bags that products are packed in, the most weighed product first.

    Parameters
    ----------
    weighings : polars.DataFrame
        WEIGHINGS that are kept.
    deviation : WeightSpread
        Of net mass less target [g].
    declared : mapping of str to sequence of float
        Labels by product [g].
    usual_g : sequence of float
        Labels for the most weighed product where it declares none [g].
    rules, pieces_per_lot, batch_kg
        As in `plan_bags`.

    Returns
    -------
    tuple of BagPlan
        One a product that declares a bag and was weighed, and the most weighed one in any case; each with
        its own mean where it was weighed enough. Empty where the spread within batches cannot be told.
    """
    counts = (
        weighings.group_by("product")
        .agg(pl.len().alias("n"), pl.coalesce("batch", "sample").n_unique().alias("batches"))
        .sort("n", "product", descending=[True, False])
    )
    means = off_targets(weighings, deviation)[0]
    plans: list[BagPlan] = []
    for at, (product, n, batches) in enumerate(counts.iter_rows()):
        labels = tuple(declared.get(product, ())) or (tuple(usual_g) if at == 0 else ())
        enough = n >= LEAST_WEIGHINGS and batches >= LEAST_BATCHES
        if at and labels and not enough:
            plans.append(_too_few(product, labels, n, batches, rules))
            continue
        own = means[product].mean_g if enough else None
        plan = plan_bags(
            weighings, deviation, product, labels, rules, pieces_per_lot=pieces_per_lot, batch_kg=batch_kg,
            off_g=own,
        ) if labels else None  # fmt: skip
        plans += [] if plan is None else [plan]
    return tuple(plans)


def _too_few(product: str, labels: Sequence[float], n: int, batches: int, rules: ContentsRules) -> BagPlan:
    why = f"too few: needs {LEAST_WEIGHINGS} weighings of {LEAST_BATCHES} batches, has {n} of {batches}"
    rows = tuple(BagRow(g, 0, why_none=why) for g in labels)
    return BagPlan(rows, rules.banner, "", 0, 0.95, product, rules.short_banner)


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
