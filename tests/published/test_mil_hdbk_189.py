"""MIL-HDBK-189 section 5.3.4, Example 1: 46 failures in 3,000 hours, as read in a public package."""

import pytest

from lineview.stats.events import mil_hdbk_189, power_law

FAILURES = [
    2.4, 24.9, 52.5, 53.4, 54.7, 57.2, 118.6, 140.2, 185.0, 207.6, 293.9, 322.3, 365.9, 366.8, 544.8, 616.8,
    627.5, 646.8, 664.0, 738.1, 764.7, 765.1, 779.6, 799.9, 852.9, 1116.3, 1161.1, 1257.1, 1276.3, 1308.9,
    1340.3, 1437.3, 1482.0, 1489.9, 1715.1, 1828.9, 1971.5, 2303.4, 2429.7, 2457.4, 2535.2, 2609.9, 2674.2,
    2704.8, 2849.6, 2923.5,
]  # fmt: skip


def test_shape_and_scale() -> None:
    fit = power_law(FAILURES, 3000)
    assert fit.b_likeliest == pytest.approx(0.616, abs=6e-4)
    # The scale is printed for the rounded shape; it moves with the third decimal.
    assert len(FAILURES) / 3000**0.616 == pytest.approx(0.332, abs=6e-4)
    assert fit.a_likeliest == pytest.approx(len(FAILURES) / 3000**fit.b_likeliest)


def test_statistic_of_the_trend() -> None:
    # 2N over the rounded shape 0.616 is 149.3506494; the statistic itself uses the unrounded one.
    assert pytest.approx(149.3506494, abs=1e-6) == 2 * 46 / 0.616
    assert mil_hdbk_189(FAILURES, 3000).statistic == pytest.approx(2 * 46 / 0.6164658, rel=1e-6)
