"""Proschan, Technometrics 5 (1963) 375: air-conditioning failures; Davison and Hinkley (1997) Example 1.1.

Partly from memory.
"""

import pytest

from lineview.stats.events import mean_between_limits

HOURS = [3.0, 5.0, 7.0, 18.0, 43.0, 85.0, 91.0, 98.0, 100.0, 130.0, 230.0, 487.0]


def test_mean_and_limits_of_a_complete_exponential_sample() -> None:
    assert sum(HOURS) / 12 == pytest.approx(108.083, abs=6e-4)
    assert mean_between_limits(12, sum(HOURS), ends_at_event=True) == pytest.approx((65.9, 209.2), abs=0.051)
