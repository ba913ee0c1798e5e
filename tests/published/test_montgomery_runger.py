"""Montgomery and Runger, Applied Statistics and Probability for Engineers, 3rd ed. 2003, ch. 16 (read)."""

import numpy as np
import pytest

from lineview.stats.control_charts import individuals_limits
from lineview.stats.run_lengths import cusum

X = np.array([102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4,
97.0, 96.7,
              100.3, 101.4, 97.2, 101.0])  # fmt: skip


def test_table_16_8_tabular_sums():
    chart = cusum(X, target=99, allowance=1, limit=10)
    upper = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
    lower = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]
    assert chart.upper == pytest.approx(upper, abs=1e-6)
    assert chart.lower == pytest.approx(lower, abs=1e-6)
    assert not chart.outside.any()


def test_table_16_3_individuals_from_memory():
    single, moving = individuals_limits(X)
    # the book rounds the mean and the moving range first: 99.1 and 2.59
    assert (single.centre, moving.centre) == pytest.approx((99.1, 2.59), abs=0.011)
    assert (single.high, single.low) == pytest.approx((105.99, 92.21), abs=0.011)


def test_lucas_crosier_1982_table_5_headstart():
    z = np.array([0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6])
    slow = cusum(z, target=0, allowance=0.5, limit=5)
    fast = cusum(z, target=0, allowance=0.5, limit=5, headstart=2.5)
    assert slow.upper == pytest.approx([0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0], abs=1e-9)
    assert fast.upper == pytest.approx([2.8, 4.2, 5.1, 6.6, 7.2, 7.4, 9.5], abs=1e-9)
    assert int(np.flatnonzero(slow.outside)[0]) + 1 == 7
    assert int(np.flatnonzero(fast.outside)[0]) + 1 == 3
