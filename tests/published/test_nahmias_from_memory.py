"""From memory: economic order quantities of Harris and of Chopra."""

import pytest

from lineview.order.policy import economic_quantity


def test_harris_1913() -> None:
    # M = 1000 a month, S = $2, C = $0.10, printed X = sqrt(240 M S / C) = 2190: a year of 12 months at 10 %.
    assert economic_quantity(2, 0.10 * 0.10, 12 * 1000).quantity == pytest.approx(2190, abs=1)


def test_chopra_meindl_economic_quantity() -> None:
    assert economic_quantity(4000, 100, 12000).quantity == pytest.approx(980, abs=0.51)
