"""Demand now and then: Croston's method as R's forecast prints it. Seasons and smoothing have no printed value here."""

import pytest

from lineview.stats.croston import croston


def test_croston_1972_as_in_r_forecast() -> None:
    y = [0, 1, 0, 0, 3, 0, 0, 0, 2, 0, 1, 0, 0, 0, 0, 4, 0, 2, 0, 0]
    assert croston(y, 0.1).per_period == pytest.approx(0.634365139, abs=1e-8)
    assert croston(y, 0.2).per_period == pytest.approx(0.703446681, abs=1e-8)
    assert croston(y, 0.2).unbiased == pytest.approx(0.9 * 0.703446681, abs=1e-8)
