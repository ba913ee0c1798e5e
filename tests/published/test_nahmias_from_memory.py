"""From memory: Nahmias, Production and Operations Analysis, ch. 5, Examples 5.4 to 5.6; Harris; Chopra."""

import pytest

from lineview.stock.inventory_theory import economic_quantity
from lineview.stock.reorder_policy import Costs, with_cost_per_unit_short
from lineview.stock.safety_stock import LeadDemand
from lineview.stock.service_policy import cycle_service_reorder, fill_rate_policy, fill_rate_reorder

COSTS = Costs(fixed=50, holding=2, shortage=25, rate=200)
DEMAND = LeadDemand(100, 25)


def test_example_5_4_cost_of_a_unit_short() -> None:
    found = with_cost_per_unit_short(COSTS, DEMAND)
    assert found.quantity == pytest.approx(111, abs=0.51)
    assert found.reorder == pytest.approx(143, abs=0.51)
    # Unrounded, recomputed: Q 110.774, R 142.568, cost 306.68 a year.
    assert found.quantity == pytest.approx(110.774, abs=6e-4)
    assert found.reorder == pytest.approx(142.568, abs=6e-4)
    assert found.cost == pytest.approx(306.68, abs=6e-3)


def test_example_5_4_share_of_cycles_without_a_shortage() -> None:
    from scipy.stats import norm

    found = with_cost_per_unit_short(COSTS, DEMAND)
    assert norm.cdf((found.reorder - 100) / 25) == pytest.approx(0.956, abs=1.5e-3)


def test_example_5_5_type_1_service_of_98_percent() -> None:
    assert cycle_service_reorder(0.98, DEMAND) == pytest.approx(151, abs=0.51)


def test_example_5_5_type_2_service_of_98_percent_with_the_economic_quantity() -> None:
    assert fill_rate_reorder(0.98, DEMAND, 100) == pytest.approx(126, abs=0.51)


def test_example_5_6_type_2_service_with_both_found_together() -> None:
    found = fill_rate_policy(0.98, COSTS, DEMAND)
    assert found.quantity == pytest.approx(114, abs=0.51)
    assert found.reorder == pytest.approx(124, abs=0.51)


def test_harris_1913() -> None:
    # M = 1000 a month, S = $2, C = $0.10, printed X = sqrt(240 M S / C) = 2190: a year of 12 months at 10 %.
    assert economic_quantity(2, 0.10 * 0.10, 12 * 1000).quantity == pytest.approx(2190, abs=1)


def test_chopra_meindl_economic_quantity() -> None:
    assert economic_quantity(4000, 100, 12000).quantity == pytest.approx(980, abs=0.51)
