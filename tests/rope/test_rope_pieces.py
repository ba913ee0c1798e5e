"""Pieces by product, and kilograms and money of a deviation summed over products."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.core.frames import BATCHES, empty
from lineview.plant import Counter, Line, Machine, Plant, Product
from lineview.rope.mass import mass_change_g, pieces_by_product, week_effect
from tests import factories
from tests.one_count import count_machine

START = datetime(2026, 6, 8, 4, tzinfo=UTC)
PIECES = Counter(id="pieces", counts="pieces", fastest_per_min=500)
WRAPPER = Machine(id="wrap", kind="cut-and-wrap machine", line="1", counters=(PIECES,))


def product(name: str, price: float | None, mass_g: float = 6.0, diameter_mm: float = 14.0) -> Product:
    return factories.product(name, mass_g=mass_g, diameter_mm=diameter_mm, price_per_kg=price)


def plant(*products: Product) -> Plant:
    return Plant(shop="Invented", lines=(Line(id="1"),), machines=(WRAPPER,), products=products)


def counted(minutes: int, per_min: int = 100) -> pl.DataFrame:
    at = [START + timedelta(minutes=i) for i in range(minutes + 1)]
    return factories.readings("wrap", "pieces", at, [per_min * i for i in range(minutes + 1)])


def sheet(*marks: tuple[int, str | None]) -> pl.DataFrame:
    rows = [("1", str(m), name, START + timedelta(minutes=m), None, None, 1, m) for m, name in marks]
    return pl.DataFrame(rows, schema=BATCHES, orient="row")


def made(marks: pl.DataFrame, works: Plant, only: Product | None = None) -> dict[str, float] | None:
    period = (START, START + timedelta(minutes=60))
    counts = count_machine(WRAPPER, counted(60), gap_s=works.gap_s)
    return pieces_by_product(works, (counts,), marks, only, period)


def test_pieces_go_to_the_batch_in_which_they_were_counted():
    works = plant(product("mint", 3.0), product("pear", 4.0))
    found = made(sheet((0, "mint"), (40, "pear"), (55, None)), works)
    assert found == {"mint": 4000.0, "pear": 1500.0, "": 500.0}


def test_without_a_sheet_all_are_of_the_one_product():
    mint = product("mint", 3.0)
    assert made(empty(BATCHES), plant(mint), mint) == {"mint": 6000.0}
    assert pieces_by_product(plant(mint), (), empty(BATCHES), mint, (START, START)) is None


def test_kilograms_and_money_are_summed_product_by_product():
    mint, pear = product("mint", 3.0), product("pear", 5.0, 9.0, 16.0)
    effect = week_effect(plant(mint, pear), {"mint": 4000.0, "pear": 2000.0}, 10.0, (0.1, 0.05, 0.15), mint)
    kg = [mass_change_g(6.0, 14.0, 0.1) * 40, mass_change_g(9.0, 16.0, 0.1) * 20]
    assert effect.kg[0] == pytest.approx(sum(kg))
    assert effect.money[0] == pytest.approx(3 * kg[0] + 5 * kg[1])
    assert effect.money[1] < effect.money[0] < effect.money[2]


def test_a_product_without_a_price_is_named_and_no_money_told():
    works = plant(product("mint", 3.0), product("pear", None))
    effect = week_effect(works, {"mint": 4000.0, "pear": 1.0}, 1.0, (0.1, 0.0, 0.2), works.products[0])
    assert effect.money is None
    assert effect.why_no_money == "no price_per_kg in plant.toml of pear"
    assert effect.kg[0] > 0


def test_many_pieces_of_no_named_product_leave_the_money_untold():
    works = plant(product("mint", 3.0))
    few, many = (
        week_effect(works, {"mint": 4000.0, "": n}, 1.0, (0.1, 0.0, 0.2), works.products[0]) for n in (100.0, 1000.0)
    )
    assert few.money[0] == pytest.approx(3 * mass_change_g(6.0, 14.0, 0.1) * 4)
    assert many.money is None
    assert "20 % of the pieces" in many.why_no_money
