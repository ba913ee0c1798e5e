"""Plan a bag that meets its label: the least count, or the least fill, for a wanted chance of passing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import polars as pl

from lineview.core.errors import Fault, MeasureError
from lineview.core.language import tr
from lineview.weight.bag_law import (
    BagPieces,
    Chance,
    Filling,
    Law,
    Lots,
    bag_by_count,
    draw_lots,
    normal_offsets,
    piece_law,
)
from lineview.weight.contents import ContentsRules, Sampling
from lineview.weight.giveaway import mean_deviations
from lineview.weight.spread import WeightSpread, within_offsets

#: The chance of a lot to pass that bags are planned for, and lots drawn to find a chance.
PASS_CHANCE, LOTS = 0.95, 40_000


def chance_by_count(
    pieces: BagPieces, count: int, label_g: float, lot: int, rules: ContentsRules, lots: int = LOTS
) -> Chance:
    """The chance that a lot of bags filled by count passes.

    The law of a bag within its batch is the convolution of the pieces' own; the sample is then drawn from
    it, each bag with the shift of a batch drawn at random among the lot's.
    Source: derived-bag-plan
    """
    return _lots_by_count(pieces, count, label_g, lot, rules, lots).chance()


def _lots_by_count(pieces: BagPieces, count: int, label_g: float, lot: int, rules: ContentsRules, lots: int) -> Lots:
    """Lots of bags by count: a mean common to all pieces moves the law of their sum by count × mean, exactly."""
    law, by_g = (pieces.piece, 0.0) if pieces.about_mean is None else (pieces.about_mean, count * pieces.piece.mean_g)
    return _lots_of(law, pieces.sd_batch_g, pieces.batches, count, label_g, rules.plan(lot), rules, lots).moved(by_g)


@lru_cache(maxsize=8)
def _lots_of(
    law: Law,
    sd_batch_g: float,
    batches: int,
    count: int,
    label_g: float,
    plan: Sampling,
    rules: ContentsRules,
    lots: int,
) -> Lots:
    """Lots of bags by count, kept while plans ask for them again."""
    pieces = BagPieces(law, sd_batch_g, batches)
    return draw_lots(pieces, bag_by_count(law, count), count, label_g, plan, rules, lots)


def chance_by_weight(
    pieces: BagPieces, fill_g: float, label_g: float, lot: int, rules: ContentsRules, lots: int = LOTS
) -> Chance:
    """The chance that a lot of bags filled to a mass passes."""
    law = Filling(pieces.piece, fill_g).bag(fill_g)
    return draw_lots(pieces, law, 0, label_g, rules.plan(lot), rules, lots).chance()


def smallest_count(
    pieces: BagPieces, label_g: float, lot: int, rules: ContentsRules, confidence: float, lots: int
) -> tuple[int, Chance]:
    """Find the least number of pieces in a bag for a wanted chance of passing.

    The mean bag must hold its label too: what a test's sampling allows is not there to be filled less.
    """
    mean = pieces.piece.mean_g
    # A bag whose mean is a hundredth short is not tried: the mean bag must hold its label.
    count = max(1, math.ceil(0.99 * label_g / mean))
    while count * mean <= 1.5 * label_g + mean:
        chance = chance_by_count(pieces, count, label_g, lot, rules, lots)
        if chance.passing >= confidence and chance.bag_mean_g >= label_g:
            return count, chance
        count += 1
    raise MeasureError(
        Fault(tr("no bag up to half again the label passes as often"), "wanted", tr("less spread, or a lower chance"))
    )


def smallest_mean(
    pieces: BagPieces, count: int, label_g: float, lot: int, rules: ContentsRules, confidence: float, lots: int
) -> float:
    """Find the least mean piece with which bags of so many pieces pass as often as wanted.

    It is the target that the present spread allows: its law is moved, its shape and spread stay.

    Gives [g].
    """
    low = label_g / count
    high = low + (rules.allowance_g(label_g) + 5 * count**0.5 * pieces.piece.sd_g) / count + 3 * pieces.sd_batch_g

    # Moving every piece moves every bag alike, so the lots need to be drawn only once.
    lots_drawn = _lots_by_count(pieces, count, label_g, lot, rules, lots)
    goal_g = pieces.piece.mean_g + lots_drawn.lacking(confidence) / count
    return float(np.clip(goal_g, low, high))


def smallest_fill(
    pieces: BagPieces, label_g: float, lot: int, rules: ContentsRules, confidence: float, step_g: float, lots: int
) -> tuple[float, Chance]:
    """Find the least mass at which to stop filling for a wanted chance of passing.

    Gives [g].
    """
    reach = math.ceil((pieces.piece.mean_g * 1.5 + rules.allowance_g(label_g)) / step_g)
    base = label_g - reach * step_g
    low, high, passes, wanted_g = 0, 2 * reach, None, label_g
    plan, filling = rules.plan(lot), Filling(pieces.piece, base + high * step_g)
    means_g = filling.means_g(base + step_g * np.arange(high, dtype=np.float64))
    while high - low > 1:
        at = min(max(int(np.searchsorted(means_g, wanted_g)), low + 1), high - 1)
        lot_draws = draw_lots(pieces, filling.bag(base + at * step_g), 0, label_g, plan, rules, lots)
        chance = lot_draws.chance()
        if chance.passing >= confidence and chance.bag_mean_g >= label_g:
            high, passes = at, chance
        else:
            low = at
        # Bags whose mean is as much greater spread nearly as these: there it is tried next.
        wanted_g = float(means_g[at]) + max(lot_draws.lacking(confidence), label_g - chance.bag_mean_g)
    fill = base + high * step_g
    return fill, passes or chance_by_weight(pieces, fill, label_g, lot, rules, lots)


#: Fewer single pieces than this do not show a shape; then a normal one is taken, with a note.
LEAST_PIECES = 100
#: Fewer weighings, or batches, of a product than this do not show its own mean.
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
    product: str
    name: str = ""


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

    Takes `deviation` [g], `declared` [g].

    Source: derived-bag-plan
    """
    batches, by_product = pl.coalesce("batch", "sample").n_unique(), weighings.group_by("product", maintain_order=True)
    counts = by_product.agg(n=pl.len(), batches=batches, target_g=pl.col("target_g").first())
    counts = counts.sort("n", "product", descending=[True, False])
    within = deviation.within.value
    if within is None or not within > 0:
        return ()
    means, off = mean_deviations(weighings, deviation), within_offsets(weighings)
    real = off.size >= LEAST_PIECES
    offsets = off if real else normal_offsets()
    about_mean = piece_law(offsets, 0.0, within, STEP_G)
    shape = tr("a normal shape, as few single pieces were weighed")
    if real:
        shape = tr("shape of {count:,} single pieces", count=off.size)
    plans: list[BagPlan] = []
    for at, (product, n, batches, target_g) in enumerate(counts.iter_rows()):
        labels = tuple(declared.get(product, ())) or (tuple(usual_g) if at == 0 else ())
        enough = n >= LEAST_WEIGHINGS and batches >= LEAST_BATCHES
        if at and labels and not enough:
            plans.append(_too_few(product, labels, n, batches, rules))
            continue
        if labels:
            law = piece_law(offsets, target_g + (means[product] if enough else deviation.mean), within, STEP_G)
            of_lot = max(1, round(pieces_per_lot * law.mean_g / 1000 / batch_kg))
            pieces = BagPieces(law, deviation.between.value or 0.0, of_lot, about_mean)
            rows = tuple(_row(pieces, label, pieces_per_lot, rules) for label in labels)
            plans.append(BagPlan(rows, rules.banner, shape, of_lot, product, rules.short_banner))
    return tuple(plans)


def _too_few(product: str, labels: Sequence[float], n: int, batches: int, rules: ContentsRules) -> BagPlan:
    why = tr(
        "too few: needs {weighings} weighings of {batches} batches, has {has_weighings} of {has_batches}",
        weighings=LEAST_WEIGHINGS,
        batches=LEAST_BATCHES,
        has_weighings=n,
        has_batches=batches,
    )
    rows = tuple(BagRow(g, 0, why_none=why) for g in labels)
    return BagPlan(rows, rules.banner, "", 0, product, rules.short_banner)


def _row(pieces: BagPieces, label_g: float, pieces_per_lot: float, rules: ContentsRules) -> BagRow:
    lot = max(1, math.floor(pieces_per_lot * pieces.piece.mean_g / label_g))
    try:
        count, _ = smallest_count(pieces, label_g, lot, rules, PASS_CHANCE, _SEARCH)
        fill, by_weight = smallest_fill(pieces, label_g, lot, rules, PASS_CHANCE, 0.5, _SEARCH)
    except MeasureError as error:
        return BagRow(label_g, lot, why_none=str(error))
    by_count = chance_by_count(pieces, count, label_g, lot, rules, _FINAL)
    less = chance_by_count(pieces, count - 1, label_g, lot, rules, _SEARCH) if count > 1 else None
    least = smallest_mean(pieces, count, label_g, lot, rules, PASS_CHANCE, _SEARCH)
    return BagRow(label_g, lot, count, by_count, less, fill, by_weight, least)
