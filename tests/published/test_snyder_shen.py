"""Snyder & Shen, Fundamentals of Supply Chain Theory (2nd ed., Wiley 2019): printed inventory examples."""

import pytest

from lineview.order.policy import economic_quantity


def test_example_3_1_economic_quantity() -> None:
    found = economic_quantity(8, 0.225, 1300)
    assert found.quantity == pytest.approx(304.0467800264, abs=1e-9)
    assert found.cost == pytest.approx(68.4105255059, abs=1e-9)
