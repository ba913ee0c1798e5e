"""The cheapest order of flavours: exact against sets of products tried one by one; a day's list and sixty."""

import time
from itertools import pairwise, permutations

import numpy as np
import pytest

from lineview.core.errors import MeasureError
from lineview.plant import Product
from lineview.shift.study import MOST_PRODUCTS, FlavourOrder, cheapest_order
from lineview.stats.tour import shortest_tour
from tests.factories import product

ALLERGENS = ((), (), (), ("nuts",), ("milk",), ("nuts", "milk"))


def busy_works(count: int, seed: int) -> tuple[list[Product], dict[tuple[str, str], float]]:
    """Products of a busy works: minutes by base, darker after lighter dearer, each pair a little apart."""
    rng = np.random.default_rng(seed)
    products = [product(f"p{k:02}", *ALLERGENS[rng.integers(len(ALLERGENS))]) for k in range(count)]
    base, shade = rng.integers(0, 3, count), rng.uniform(0, 1, count)
    cost = 4 + 5 * (base[:, None] != base[None, :]) + 6 * np.clip(shade[:, None] - shade[None, :], 0, None)
    cost = np.round(cost + rng.exponential(1.0, (count, count)), 1)
    ids = [p.id for p in products]
    return products, {(a, b): float(cost[i, j]) for i, a in enumerate(ids) for j, b in enumerate(ids)}


def by_sets(products: list[Product], minutes: dict[tuple[str, str], float], first: int | None) -> tuple[int, float]:
    """The least clean-downs and minutes by dynamic programming over sets of products (Held and Karp)."""
    n, heavy = len(products), 1e6
    down = [[bool(set(a.allergens) - set(b.allergens)) for b in products] for a in products]
    cost = np.array([[0.0 if a is b else minutes[a.id, b.id] for b in products] for a in products])
    cost += heavy * np.array(down)
    best = np.full((1 << n, n), np.inf)
    for k in range(n) if first is None else (first,):
        best[1 << k, k] = 0.0
    for done in range(1, 1 << n):
        through = (best[done][:, None] + cost).min(axis=0)
        for k in range(n):
            if not done >> k & 1:
                best[done | 1 << k, k] = min(best[done | 1 << k, k], through[k])
    least = float(best[-1].min())
    return int(least // heavy), least % heavy


def checked(found: FlavourOrder, products: list[Product], minutes: dict[tuple[str, str], float]) -> None:
    """The order holds each product once and costs what it says."""
    allergens = {p.id: set(p.allergens) for p in products}
    steps = list(pairwise(found.products))
    assert sorted(found.products) == sorted(p.id for p in products)
    assert found.minutes == pytest.approx(sum(minutes[step] for step in steps))
    assert found.clean_downs == sum(bool(allergens[a] - allergens[b]) for a, b in steps)


@pytest.mark.parametrize("seed", range(8))
def test_the_order_is_the_cheapest_by_sets_of_products(seed: int) -> None:
    products, minutes = busy_works(9 + seed % 3, seed)
    first = None if seed % 2 else seed % 9
    found = cheapest_order(products, minutes, first=None if first is None else products[first].id)
    checked(found, products, minutes)
    assert (found.clean_downs, round(found.minutes, 6)) == pytest.approx(by_sets(products, minutes, first))
    assert found.above_percent == 0


def test_one_flavour_is_an_order_without_a_minute() -> None:
    assert cheapest_order([product("mint")], {}) == FlavourOrder(("mint",), 0.0, 0, 0.0, 0, 0.0)


def timed(count: int, seed: int) -> float:
    products, minutes = busy_works(count, seed)
    begin = time.perf_counter()
    found = cheapest_order(products, minutes, first=products[0].id, solve_s=60)
    took = time.perf_counter() - begin
    checked(found, products, minutes)
    print(
        f"{count} products: {took:.2f} s, {found.clean_downs} clean-downs and {found.minutes:.1f} min "
        f"(as given {found.as_given_clean_downs} and {found.as_given_min:.1f}), "
        f"above the least {found.above_percent} %"
    )
    assert found.above_percent == 0
    return took


def test_a_day_of_fifteen_products_is_quick() -> None:
    assert timed(15, 1) < 10


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("count", [15, 30, 60])
def test_a_busy_works_is_put_in_order(count: int, seed: int) -> None:
    assert timed(count, seed) < 120


def test_where_the_time_runs_out_the_bound_is_told() -> None:
    products, minutes = busy_works(40, 3)
    found = cheapest_order(products, minutes, solve_s=1e-3)
    checked(found, products, minutes)
    assert found.above_percent is None or found.above_percent >= 0
    exact = cheapest_order(products, minutes)
    if found.above_percent is not None:
        assert found.minutes <= exact.minutes * (1 + found.above_percent / 100) + 1e-6


def test_too_many_products_are_refused_in_plain_words() -> None:
    products = [product(f"p{k:02}") for k in range(MOST_PRODUCTS + 1)]
    with pytest.raises(MeasureError, match="cannot be put in order"):
        cheapest_order(products, {(a.id, b.id): 5.0 for a in products for b in products})


def test_a_tour_of_equal_steps_is_any_tour() -> None:
    cost = np.ones((12, 12))
    np.fill_diagonal(cost, np.inf)
    found = shortest_tour(cost)
    assert sorted(found.tour) == list(range(12))
    assert found.exact
    assert found.cost == 12


def test_without_time_to_solve_a_tour_goes_on_to_the_nearest_place_each_time() -> None:
    """Places 1, 2, 4 … 2048 along a line, no step from the first to the last: up to the last and back again."""
    at = 2.0 ** np.arange(12)
    cost = np.abs(at[:, None] - at)
    np.fill_diagonal(cost, np.inf)
    cost[0, 11] = np.inf
    found = shortest_tour(cost, solve_s=0)
    assert (found.tour, found.cost, found.exact) == (tuple(range(12)), 2 * (2048 - 1), False)


@pytest.mark.parametrize("places", range(2, 8))
def test_a_tour_of_few_places_is_the_cheapest_of_all_orders(places: int) -> None:
    cost = np.random.default_rng(places).integers(1, 9, (places, places)).astype(float)
    np.fill_diagonal(cost, np.inf)
    if places > 3:
        cost[-1, 1:-1] = np.inf  # the first product is given
    orders = [(places - 1, *order) for order in permutations(range(places - 1))]
    costs = [sum(cost[a, b] for a, b in pairwise((*order, places - 1))) for order in orders]
    found = shortest_tour(cost)
    assert found.tour == orders[int(np.argmin(costs))]  # of equal ones the first
    assert (found.cost, found.exact) == (min(costs), True)
