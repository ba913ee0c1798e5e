"""Giveaway by product: sums and limits against sums by hand, and what is named where it cannot be told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.core.frames import BATCHES, READINGS, empty
from lineview.machine.products import good_by_product
from lineview.plant import Counter, Machine
from lineview.weight.account import DEVIATION
from lineview.weight.giveaway import OffTarget, WeekGiveaway, off_targets, week_giveaway
from lineview.weight.spread import spread_of
from tests.one_count import count_machine

T = datetime(2026, 6, 9, 4, tzinfo=UTC)


def given(prices: dict[str, float | None], made: dict[str, float] | None = None) -> WeekGiveaway:
    """Two products weighed: +0.10 g and -0.05 g off, standard uncertainties 0.02 g and 0.01 g at 10 df."""
    means = {"mint": OffTarget(0.10, 4.0, 6), "rose": OffTarget(-0.05, 1.0, 6)}
    return week_giveaway((means, 0.01**2, 10), made or {"mint": 100_000, "rose": 50_000}, 2.0, prices)


def test_sum_and_limits_as_worked_by_hand() -> None:
    """GUM 5.1.2 by hand: kg = 200 × 0.10 - 100 × 0.05; u² = (200 × 0.02)² + (100 × 0.01)²; t(10) = 2.228."""
    found = given({"mint": 4.0, "rose": 9.0})
    assert found.kg.value == pytest.approx(15.0)
    assert found.kg.high == pytest.approx(15.0 + 2.2281 * (16 + 1) ** 0.5, abs=1e-3)
    assert found.money.value == pytest.approx(4 * 20 - 9 * 5)
    assert found.money.low == pytest.approx(35 - 2.2281 * (16**2 + 9**2) ** 0.5, abs=1e-2)
    assert sum(r.kg_per_week.value or 0 for r in found.rows) == pytest.approx(15.0)
    assert sum(r.money_per_week.value or 0 for r in found.rows) == pytest.approx(35.0)


def test_a_product_without_a_price_is_named_and_the_rest_is_no_total() -> None:
    found = given({"mint": 4.0, "rose": None})
    assert found.money.value is None and "rose" in found.money.why_none
    assert found.money_priced is not None and found.money_priced.value == pytest.approx(80.0)
    assert (found.priced, found.no_price) == (("mint",), ("rose",))
    assert found.kg.value == pytest.approx(15.0)


def test_without_any_price_there_is_no_money_at_all() -> None:
    found = given({})
    assert found.money.value is None and "mint, rose" in found.money.why_none
    assert found.money_priced is None


def test_a_product_made_but_not_weighed_is_in_no_sum() -> None:
    found = given({"mint": 4.0, "rose": 9.0}, {"mint": 100_000, "rose": 50_000, "lime": 30_000, "": 20_000})
    assert found.kg.value == pytest.approx(15.0)
    assert found.not_weighed == ("lime",)
    assert found.covered == pytest.approx(0.75)
    lime = next(r for r in found.rows if r.product == "lime")
    assert lime.kg_per_week.value is None and "not weighed" in lime.kg_per_week.why_none


def test_pieces_follow_the_batch_sheet_by_product() -> None:
    rows = [
        ("line1", "B1", "Mint", T + timedelta(minutes=10), None, 22.7, 1, 2),
        ("line1", "B2", "Rose", T + timedelta(minutes=30), None, 22.7, 1, 3),
        ("line1", "B3", "Mint", T + timedelta(minutes=40), None, 22.7, 1, 4),
    ]
    sheet = pl.DataFrame(rows, schema=BATCHES, orient="row")
    counter = Counter(id="pieces", counts="pieces", fastest_per_min=450)
    machine = Machine(id="wrap1", kind="cut-and-wrap machine", line="line1", counters=(counter,))
    minutes = [("wrap1", "pieces", T + timedelta(minutes=k), 300.0 * k, None, "good", 1, k) for k in range(61)]
    counts = count_machine(machine, pl.DataFrame(minutes, schema=READINGS, orient="row"), gap_s=120)
    ids = {"Mint": "mint", "Rose": "rose"}
    made = good_by_product(sheet, counts, ids, T, T + timedelta(minutes=60))
    assert made == pytest.approx({"": 3000, "mint": 300 * 40, "rose": 300 * 10})
    unread = count_machine(machine, empty(READINGS), gap_s=120)
    assert good_by_product(sheet, unread, {}, T, T + timedelta(minutes=60)) == {}


def test_mean_of_a_product_is_that_of_its_batches() -> None:
    """Equal batches weigh alike, so the mean is plain and its variance the pooled one over the batches."""
    rows = [
        (product, f"{product}{b}", f"{product}{b}s", 6.6 + off, 6.6, 1)
        for product, offs in (("mint", (0.1, 0.2, 0.3)), ("rose", (-0.2, 0.0)))
        for b, at in enumerate(offs)
        for off in (at - 0.05, at + 0.05)
    ]
    names = ["product", "batch", "sample", "net_g", "target_g", "pieces"]
    kept = pl.DataFrame(rows, schema=names, orient="row")
    means, variance, df = off_targets(kept, spread_of(kept, DEVIATION, draws=200))
    assert means["mint"].mean_g == pytest.approx(0.2)
    assert means["rose"].mean_g == pytest.approx(-0.1)
    assert df == 3
    # Within-product sum of squares of batch means 0.02 + 0.02 over 3 degrees of freedom, over 3 batches.
    assert variance * means["mint"].relative_variance == pytest.approx(0.04 / 3 / 3)
