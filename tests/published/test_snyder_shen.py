"""Snyder & Shen, Fundamentals of Supply Chain Theory (2nd ed., Wiley 2019): printed inventory examples."""

import pytest

from lineview.order.policy import economic_quantity


def test_example_3_1_economic_quantity() -> None:
    order = economic_quantity(8, 0.225, 1300)
    assert order.quantity == pytest.approx(304.0467800264, abs=1e-9)
    assert order.cost == pytest.approx(68.4105255059, abs=1e-9)
