"""Snyder & Shen, Fundamentals of Supply Chain Theory (2nd ed., Wiley 2019): printed inventory examples."""

import math

import pytest

from lineview.stock.demand_loss import standard_normal_loss, standard_normal_loss2
from lineview.stock.inventory_theory import (
    economic_production,
    economic_quantity,
    economic_quantity_backorders,
)
from lineview.stock.reorder_policy import (
    Costs,
    Policy,
    best_policy,
    best_reorder,
    by_loss,
    exact_cost,
    with_backorder_quantity,
    with_cost_per_unit_short,
    with_safety_stock,
)
from lineview.stock.safety_stock import LeadDemand, lead_time_demand
from lineview.stock.service_policy import poisson_policy

COSTS = Costs(fixed=8, holding=0.225, shortage=7.5, rate=1300)
DEMAND = lead_time_demand(1300, 150, 1 / 12, 0)


def test_example_3_1_economic_quantity() -> None:
    found = economic_quantity(8, 0.225, 1300)
    assert found.quantity == pytest.approx(304.0467800264, abs=1e-9)
    assert found.cost == pytest.approx(68.4105255059, abs=1e-9)


def test_example_3_8_economic_quantity_with_backorders() -> None:
    found = economic_quantity_backorders(8, 0.225, 5, 1300)
    assert found.quantity == pytest.approx(310.812555159, abs=1e-9)
    assert found.backorder_share == pytest.approx(0.0430622009569, abs=1e-12)
    assert found.cost == pytest.approx(66.921363551, abs=1e-9)


def test_economic_production_example() -> None:
    found = economic_production(8, 0.225, 1300, 1700)
    assert found.quantity == pytest.approx(626.808494589, abs=1e-9)
    assert found.cost == pytest.approx(33.1839791253, abs=1e-9)


def test_example_5_1_lead_time_demand() -> None:
    assert pytest.approx(1300 / 12) == DEMAND.mean
    assert pytest.approx(150 * math.sqrt(1 / 12)) == DEMAND.sd


def test_example_5_2_expected_inventory_level_approximation() -> None:
    found = with_cost_per_unit_short(COSTS, DEMAND)
    assert found.reorder == pytest.approx(213.97044213580244, abs=1e-6)
    assert found.quantity == pytest.approx(318.5901810768729, abs=1e-6)
    assert found.cost == pytest.approx(95.45114022285196, abs=1e-6)


def test_example_5_8_exact_cost() -> None:
    cost = exact_cost(COSTS, DEMAND, Policy(126.8, 328.5))
    assert cost == pytest.approx(78.07116250928294, abs=1e-6)


def test_economic_quantity_with_safety_stock() -> None:
    assert with_safety_stock(COSTS, DEMAND).reorder == pytest.approx(190.3369965715624, abs=1e-9)


def test_loss_function_approximation() -> None:
    found = by_loss(COSTS, DEMAND)
    assert found.reorder == pytest.approx(126.8670634479628, abs=1e-6)
    assert found.quantity == pytest.approx(328.4491421980451, abs=1e-6)


def test_economic_quantity_with_backorders_and_best_reorder_point() -> None:
    found = with_backorder_quantity(COSTS, DEMAND)
    assert found.reorder == pytest.approx(128.63781442427097, abs=1e-6)
    assert found.quantity == pytest.approx(308.5737801203754, abs=1e-6)


def test_best_reorder_point_for_a_quantity_of_300() -> None:
    assert best_reorder(COSTS, DEMAND, 300) == pytest.approx(129.4272799263067, abs=1e-6)


def test_the_best_policy_costs_no_more_than_any_approximation() -> None:
    best = best_policy(COSTS, DEMAND)
    assert best.cost is not None
    for other in (by_loss(COSTS, DEMAND), with_backorder_quantity(COSTS, DEMAND)):
        assert best.cost <= exact_cost(COSTS, DEMAND, other) + 1e-9


def test_poisson_demand_exact() -> None:
    found = poisson_policy(Costs(fixed=100, holding=20, shortage=150, rate=1.5), 1.5 * 2)
    assert (found.reorder, found.quantity) == (3, 5)
    assert found.cost == pytest.approx(107.92358063314975, abs=1e-6)


@pytest.mark.parametrize(
    ("z", "printed"),
    [(0, 0.3989), (0.5, 0.1978), (1.0, 0.0833), (1.3, 0.0455), (1.5, 0.0293), (2, 0.0085), (2.5, 0.0020),
     (3.0, 0.0004)],
)  # fmt: skip
def test_standard_normal_loss_table_partly_from_memory(z: float, printed: float) -> None:
    assert standard_normal_loss(z) == pytest.approx(printed, abs=6e-5)


def test_loss_functions_at_1_3() -> None:
    assert standard_normal_loss(1.3) == pytest.approx(0.04552796208651397, abs=1e-12)
    assert standard_normal_loss2(1.3) == pytest.approx(0.01880706693657111, abs=1e-12)


def test_the_exact_cost_is_the_integral_of_the_position_cost() -> None:
    from scipy.integrate import quad

    from lineview.stock.reorder_policy import position_cost

    demand = LeadDemand(100.0, 25.0)
    area, _ = quad(lambda y: position_cost(COSTS, demand, y), 120.0, 420.0)
    whole = (COSTS.fixed * COSTS.rate + area) / 300.0
    assert exact_cost(COSTS, demand, Policy(120.0, 300.0)) == pytest.approx(whole, rel=1e-9)
