"""What else the weights of a machine say: charts, shape, sources of the spread, sample plans, bags, money."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.machine.pieces import MachineCounts
from lineview.plant import Machine, Plant
from lineview.rope.batches import USUAL_PER_MIN
from lineview.rope.gauges import diameter_gauges
from lineview.stats.capability import SamplePlan, cheapest_plan
from lineview.weight.account import WeightAccount
from lineview.weight.bags import BagPlan, plan_products
from lineview.weight.capability import ThreeWay, three_way
from lineview.weight.contents import ContentsRules
from lineview.weight.giveaway import money_given
from lineview.weight.sources import LengthCounters, SpreadSources, spread_sources
from lineview.weight.spread import WeightShape, WeightSpread, weight_shape

#: Labels that bags are planned for, in the order of the table: metric [g], and 4, 8 and 16 oz in grams.
LABELS_G = {"metric": (100.0, 250.0, 500.0), "US": (113.0, 227.0, 454.0)}
RULES = {"metric": "eu", "US": "hb133"}
#: Parts of the tolerance to which the mean shall be known, for sample plans.
PRECISIONS = (0.05, 0.1, 0.2)


@dataclass(frozen=True)
class WeightDetail:
    """Each part is empty where nothing is known.

    `plans` pairs a wanted half-width [g] with its plan; `bags` holds one plan a product, the most weighed
    first.
    """

    chart: ThreeWay
    shape: WeightShape
    sources: SpreadSources
    plans: tuple[tuple[float, SamplePlan | None], ...]
    bags: tuple[BagPlan, ...]
    money_per_week: Estimate

    @property
    def bags_rules(self) -> str:
        """The rules that bags were planned by, or ""."""
        return self.bags[0].rules if self.bags else ""


@dataclass(frozen=True)
class LineSeen:
    """What the line's machines counted and measured: the wrapping machine, and its sizer with its gauges."""

    counts: MachineCounts
    sizer: Machine | None
    rope_readings: pl.DataFrame
    rope_counts: MachineCounts | None
    batches: pl.DataFrame


def weight_detail(
    plant: Plant,
    account: WeightAccount,
    points: pl.DataFrame,
    line_inputs: LineSeen,
    rules: Mapping[str, ContentsRules],
) -> WeightDetail | None:
    """Work out the rest."""
    deviation, target = account.deviation, account.target_g
    if deviation is None or target is None:
        return None
    usable = account.sorting.good
    return WeightDetail(
        three_way(points, usable),
        weight_shape(usable),
        _sources(plant, usable, line_inputs),
        sample_plans(deviation, float(usable["tolerance_g"].mean())),  # type: ignore[arg-type]  # floats
        _bags(plant, account, deviation, rules),
        _money(plant, account),
    )


def sample_plans(spread: WeightSpread, tolerance_g: float) -> tuple[tuple[float, SamplePlan | None], ...]:
    """Give plans that know the mean to parts of the tolerance.

    Takes `spread` [g]. Gives [g].
    """
    if spread.between.value is None or spread.piece.value is None:
        return ()
    variances = (spread.between.value**2, (spread.samples.value or 0.0) ** 2, spread.piece.value**2)
    return tuple((part * tolerance_g, cheapest_plan(variances, part * tolerance_g)) for part in PRECISIONS)


def _bags(
    plant: Plant, account: WeightAccount, spread: WeightSpread, rules: Mapping[str, ContentsRules]
) -> tuple[BagPlan, ...]:
    rules_here = rules.get(RULES[plant.units])
    if rules_here is None:
        return ()
    a_minute = account.week[1] / account.week[2] if account.week else USUAL_PER_MIN
    return plan_products(
        account.sorting.good,
        spread,
        {p.id: p.bag_g for p in plant.products},
        LABELS_G[plant.units],
        rules_here,
        pieces_per_lot=60 * a_minute,
        batch_kg=plant.batch_kg,
    )


def _sources(plant: Plant, usable: pl.DataFrame, line_inputs: LineSeen) -> SpreadSources:
    names = {*line_inputs.batches["product"].drop_nulls().to_list(), *(p.id for p in plant.products)}
    product_of = {name: plant.product(name) for name in names}
    targets = {name: product.diameter_mm for name, product in product_of.items() if product is not None}
    rope = pl.DataFrame(schema={"at": usable.schema["at"], "value": pl.Float64})
    if line_inputs.sizer is not None and line_inputs.rope_readings.height:
        weighed_products = [p for p in plant.products if p.id in set(usable["product"].to_list())]
        target = sum(p.diameter_mm for p in weighed_products) / len(weighed_products) if weighed_products else None
        tolerance = max((p.diameter_tolerance_mm for p in weighed_products), default=None)
        gauges = diameter_gauges(line_inputs.sizer, line_inputs.rope_readings, target, tolerance)
        rope = gauges[0].check.usable.select("at", "value").sort("at") if gauges else rope
    return spread_sources(usable, rope, line_inputs.batches, targets, _length_counters(line_inputs))


def _length_counters(line_inputs: LineSeen) -> LengthCounters | None:
    rope = line_inputs.rope_counts
    if rope is None or not rope.has_read("rope"):
        return None
    has_count = line_inputs.counts.has_read("pieces") or line_inputs.counts.has_read("good pieces")
    return LengthCounters(rope, line_inputs.counts) if has_count else None


def _money(plant: Plant, account: WeightAccount) -> Estimate:
    if account.giveaway is None:
        return Estimate.unknown(tr("not known: no weight can be used"))
    prices = {p.id: p.price_per_kg for p in plant.products}
    return money_given(account.giveaway, account.sorting.good["product"].unique(maintain_order=True).to_list(), prices)
