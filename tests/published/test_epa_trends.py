"""Trend tests as printed in USEPA Unified Guidance (2009), R packages EnvStats and Kendall (read there)."""

import numpy as np
import pytest

from lineview.statistics.trend import mann_kendall, median_slope, seasonal_kendall

# fmt: off
DATE = np.array([
    89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6,
    94.1, 94.6, 95.1, 95.6, 95.8, 96.1, 96.3, 96.6, 96.8,
])
SULFATE = np.array([
    480.0, 450.0, 490.0, 520.0, 485.0, 510.0, 510.0, 530.0, 510.0, 560.0, 560.0, 540.0, 590.0, 550.0,
    600.0, 700.0, 570.0, 610.0, 650.0, 620.0, 830.0, 720.0, 590.0,
])
MONTHLY = np.array([
    1.99, 2.1, 2.12, 2.12, 2.11, 2.15, 2.19, 2.18, 2.16, 2.08, 2.05, 2.08,
    2.01, 2.1, 2.17, 2.13, 2.13, 2.18, 2.25, 2.24, 2.22, 2.13, 2.08, 2.16,
    2.15, 2.17, 2.27, 2.23, 2.24, 2.26, 2.31, 2.32, 2.28, 2.22, 2.19, 2.22,
])
PRECIPITATION = np.array([
    31.69, 29.77, 31.7, 33.06, 31.31, 32.72, 31.18, 29.9, 29.17, 31.48, 28.11, 32.61, 31.31, 30.96,
    28.4, 30.68, 33.67, 28.65, 30.62, 30.21, 28.79, 30.92, 30.92, 28.13, 30.51, 27.63, 34.8, 32.1,
    33.86, 32.33, 25.69, 30.6, 32.85, 30.31, 27.71, 30.34, 29.14, 33.41, 33.51, 29.9, 32.69, 32.34,
    35.01, 33.05, 31.15, 36.36, 29.83, 33.7, 29.81, 32.41, 35.9, 37.45, 30.39, 31.15, 35.75, 31.14,
    30.06, 32.4, 28.44, 36.38, 31.73, 31.27, 28.51, 26.01, 31.27, 35.57, 30.85, 33.35, 35.82, 31.78,
    34.25, 31.43, 35.97, 33.87, 28.94, 34.62, 31.06, 38.84, 32.25, 35.86, 32.93, 32.69, 34.39, 33.97,
    32.15, 40.16, 36.32,
])
# fmt: on


def test_epa_example_17_6_sulfate():
    found, line = mann_kendall(SULFATE), median_slope(DATE, SULFATE)
    assert (found.s, found.variance) == (194, 1428)
    assert found.tau_a == pytest.approx(0.7667984, abs=6e-8)
    assert found.z == pytest.approx(5.107322, abs=6e-7)
    assert found.p == pytest.approx(3.267574e-07, abs=6e-14)
    assert (line.slope, line.intercept) == pytest.approx((26.6666667, -1909.3333333), abs=6e-8)
    assert (line.low, line.high) == pytest.approx((20.0, 35.71182), abs=6e-6)


def test_epa_example_14_10_seasonal():
    years = np.array([1983.0, 1984.0, 1985.0])
    found = seasonal_kendall([(years, MONTHLY[m::12]) for m in range(12)])
    assert (found.s, found.variance) == pytest.approx((35, 43), abs=1e-9)
    assert found.z == pytest.approx(5.1849514, abs=6e-8)
    assert found.p == pytest.approx(2.160712e-07, abs=6e-14)
    assert found.slope == pytest.approx(0.06, abs=1e-9)
    assert found.tau == pytest.approx(0.9722222, abs=6e-8)


def test_kendall_precipgl_partly_from_memory():
    found = mann_kendall(PRECIPITATION)
    assert found.tau_b == pytest.approx(0.265, abs=0.0006)
    assert found.p == pytest.approx(0.00029206, abs=3e-8)
