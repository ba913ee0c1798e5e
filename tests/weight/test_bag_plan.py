"""Bags: laws by convolution against closed forms, and plans that do what they promise."""

from __future__ import annotations

import dataclasses

import numpy as np
import polars as pl
import pytest

from lineview.app.bags import net_contents_tables
from lineview.core.errors import MeasureError
from lineview.weight.bag_law import Chance, Filling, Law, bag_by_count, normal_offsets, piece_law
from lineview.weight.bags import (
    PASS_CHANCE,
    BagPieces,
    BagPlan,
    BagRow,
    chance_by_count,
    chance_by_weight,
    plan_products,
    smallest_count,
    smallest_fill,
    smallest_mean,
)
from lineview.weight.contents import Sampling
from lineview.weight.spread import spread_of
from lineview.weight.tables import bag_table

TABLES = net_contents_tables()


@pytest.mark.parametrize(
    ("faces", "count", "ways"), [(6, 2, [1, 2, 3, 4, 5, 6, 5, 4, 3, 2, 1]), (2, 4, [1, 4, 6, 4, 1])]
)
def test_sum_of_dice_is_exact(faces: int, count: int, ways: list[int]) -> None:
    law = bag_by_count(Law(1.0, 1.0, np.full(faces, 1 / faces)), count)
    assert law.start_g == count
    assert law.p * faces**count == pytest.approx(ways, abs=1e-9)


def test_dice_thrown_until_ten_overshoot_as_counted_by_hand() -> None:
    """Chance that the running total of a die first reaches 10 or more at 10 is the chance to hit 10."""
    hit = [1.0]
    for total in range(1, 11):
        hit.append(sum(hit[max(0, total - 6) : total]) / 6)
    law = Filling(Law(1.0, 1.0, np.full(6, 1 / 6)), 10.0).bag(10.0)
    assert law.start_g == 10
    assert law.p[0] == pytest.approx(hit[10])
    assert law.p.sum() == pytest.approx(1)
    assert law.p[5] == pytest.approx(hit[9] / 6)


def test_piece_law_keeps_shape_mean_and_spread() -> None:
    rng = np.random.default_rng(2)
    skewed = rng.exponential(0.3, 5000)
    law = piece_law(skewed - skewed.mean(), 6.6, 0.3, 0.01)
    third = float(law.p @ ((law.grid_g - law.mean_g) / law.sd_g) ** 3)
    assert (law.mean_g, law.sd_g) == pytest.approx((6.6, 0.3), abs=1e-3)
    assert third == pytest.approx(float(np.mean(((skewed - skewed.mean()) / skewed.std()) ** 3)), abs=0.02)


def test_skewness_of_a_bag_falls_with_the_root_of_the_count() -> None:
    rng = np.random.default_rng(2)
    skewed = rng.exponential(0.3, 5000)
    piece = piece_law(skewed - skewed.mean(), 6.6, 0.3, 0.01)

    def skewness(law: Law) -> float:
        return float(law.p @ ((law.grid_g - law.mean_g) / law.sd_g) ** 3)

    assert skewness(bag_by_count(piece, 25)) == pytest.approx(skewness(piece) / 5, abs=0.002)


def test_smallest_count_is_smallest_and_its_mean_holds_the_label() -> None:
    pieces = BagPieces(piece_law(normal_offsets(), 6.6, 0.25, 0.01), 0.1, 6)
    count, found = smallest_count(pieces, 454, 1000, TABLES["hb133"], 0.95, 4000)
    assert found.passing >= 0.95 and found.bag_mean_g >= 454
    less = chance_by_count(pieces, count - 1, 454, 1000, TABLES["hb133"], 4000)
    assert less.passing < 0.95 or less.bag_mean_g < 454


def test_the_mean_bag_of_a_fill_is_that_of_its_law() -> None:
    """By Wald's identity the mean is the mean piece times the mean number of pieces."""
    filling = Filling(piece_law(normal_offsets(), 6.6, 0.25, 0.02), 260)
    fills = np.array([3.0, 6.6, 40.0, 250.0, 259.98])
    assert filling.means_g(fills) == pytest.approx([filling.bag(float(f)).mean_g for f in fills], abs=1e-6)
    assert filling.means_g(np.array([-1.0, 0.0])).tolist() == [0.0, 0.0]


def test_the_least_fill_found_passes_and_a_step_less_does_not() -> None:
    pieces, rules = BagPieces(piece_law(normal_offsets(), 6.6, 0.25, 0.02), 0.2, 2), TABLES["eu"]
    for label in (20.0, 113.0, 250.0):
        fill, found = smallest_fill(pieces, label, 500, rules, 0.95, 0.5, 1000)
        assert found == chance_by_weight(pieces, fill, label, 500, rules, 1000)
        less = chance_by_weight(pieces, fill - 0.5, label, 500, rules, 1000)
        assert found.passing >= 0.95 and found.bag_mean_g >= label
        assert less.passing < 0.95 or less.bag_mean_g < label


def test_filling_by_weight_needs_less_than_by_count_where_batches_differ() -> None:
    pieces = BagPieces(piece_law(normal_offsets(), 6.6, 0.25, 0.02), 0.2, 2)
    fill, found = smallest_fill(pieces, 250, 500, TABLES["eu"], 0.95, 0.5, 1000)
    _, by_count = smallest_count(pieces, 250, 500, TABLES["eu"], 0.95, 1000)
    assert found.passing >= 0.95
    assert found.bag_mean_g < by_count.bag_mean_g
    assert fill < 254
    assert chance_by_weight(pieces, 250, 250, 500, TABLES["eu"], 500).passing == 1.0


@pytest.mark.parametrize("bad", [0, -1])
def test_no_bag_without_pieces(bad: int) -> None:
    with pytest.raises(MeasureError):
        bag_by_count(piece_law(normal_offsets(), 6.6, 0.25, 0.01), bad)


def test_one_piece_is_no_law() -> None:
    with pytest.raises(MeasureError, match="too few pieces"):
        piece_law([0.1], 6.6, 0.25, 0.01)


def test_the_least_mean_is_the_one_that_just_passes() -> None:
    pieces = BagPieces(piece_law(normal_offsets(), 6.6, 0.25, 0.01), 0.1, 6)
    least = smallest_mean(pieces, 70, 454, 1000, TABLES["hb133"], 0.95, 4000)
    assert 454 / 70 <= least < 6.7
    at = BagPieces(piece_law(normal_offsets(), least, 0.25, 0.01), 0.1, 6)
    assert chance_by_count(at, 70, 454, 1000, TABLES["hb133"], 4000).passing == pytest.approx(0.95, abs=0.01)


def test_where_every_bag_weighed_may_be_short_only_the_mean_decides() -> None:
    """Three bags of two normal pieces, the mean at the label: half of all lots pass."""
    rules = dataclasses.replace(TABLES["eu"], sampling=(Sampling(1, None, packages=3, beyond=3),), never_beyond=None)
    pieces = BagPieces(piece_law(normal_offsets(), 6.6, 0.25, 0.01), 0.0, 1)
    chance = chance_by_count(pieces, 2, 13.2, 100, rules, 4000)
    assert chance.beyond_fails == 0.0
    assert chance.passing == pytest.approx(1 - chance.mean_fails)
    assert chance.passing == pytest.approx(0.5, abs=0.03)
    assert (chance.bag_mean_g, chance.bag_sd_g) == pytest.approx((13.2, 0.25 * 2**0.5), abs=0.01)


@pytest.mark.parametrize(
    ("less", "why"),
    [
        (Chance(0.12, 0.8, 0.08, 455.4, 2.0), "With 69 pieces 88 % of lots would fail, most by their mean."),
        (
            Chance(0.62, 0.08, 0.3, 455.4, 2.0),
            "With 69 pieces 38 % of lots would fail, most by single bags too far below the label.",
        ),
        (Chance(0.62, 0.3, 0.08, 450.5, 2.0), "With 69 pieces the mean bag would be 3.5 g (0.12 oz) short."),
    ],
)
def test_a_plan_says_what_a_piece_fewer_would_do(less: Chance, why: str) -> None:
    """An ounce is 28.349523125 g."""
    row = BagRow(454.0, 1000, 70, Chance(0.96, 0.03, 0.01, 462.0, 2.0), less, 460.0, Chance(0.97, 0, 0.03, 463, 2), 6.5)
    (told,) = bag_table((BagPlan((row,), "rules", "shape", 3, "mint"),)).rows
    assert told == {
        "product": "mint", "label_g": 454.0, "lot": 1000, "count": 70, "count_mean_g": 462.0, "count_chance": 96.0,
        "least_mean_g": 6.5, "fill_g": 460.0, "fill_mean_g": 463, "fill_chance": 97.0, "why": why,
    }  # fmt: skip
    assert PASS_CHANCE == 0.95  # as the page says


def test_an_hours_lot_has_so_many_bags_of_so_many_batches() -> None:
    """20,000 pieces of 6.6 g are 132 kg: 530 bags of 249 g, three batches of 50 kg; what is hardly weighed has none."""
    offs = (-0.2, -0.1, 0.0, 0.0, 0.1, 0.2)
    rows = [(f"b{b}", f"s{b}", "mint", 6.6 + off, 6.5, 1) for b in range(12) for off in offs]
    rows += [("c", "c", "nut", 7.0 + off, 7.0, 1) for off in (-0.1, 0.1)]
    frame = pl.DataFrame(rows, schema=["batch", "sample", "product", "net_g", "target_g", "pieces"], orient="row")
    spread = spread_of(frame, pl.col("net_g") - pl.col("target_g"), draws=400)
    mint, nut = plan_products(
        frame, spread, {"nut": [500.0]}, [249.0], TABLES["eu"], pieces_per_lot=20_000, batch_kg=50
    )
    assert (mint.product, mint.batches, [(row.label_g, row.lot) for row in mint.rows]) == ("mint", 3, [(249.0, 530)])
    assert mint.rows[0].count is not None and 249 / 6.6 < mint.rows[0].count < 40
    (row,) = nut.rows
    assert (nut.product, row.label_g, row.count) == ("nut", 500.0, None)
    assert row.why_none == "too few: needs 20 weighings of 3 batches, has 2 of 1"
