"""Run lengths under linear drift as the R package spc reprints them (read there).

Gan 1991 and 1992, Aerne, Champ and Rigdon 1991, Zou, Liu and Wang 2009.
"""

from math import sqrt

import pytest

from lineview.statistics.drift_run_length import cusum_drift_length, ewma_drift_length


@pytest.mark.parametrize(
    ("smoothing", "limit", "printed"),
    [
        (0.676, 2.204, {0.01: 81.7, 0.05: 27.5, 0.1: 17.0, 1.0: 4.09, 3.0: 2.60}),
        (0.242, 1.111, {0.005: 94.6, 0.01: 61.3, 0.05: 21.8, 0.1: 14.2, 1.0: 4.28, 3.0: 2.90}),
        (0.047, 0.403, {0.005: 77.9, 0.01: 52.7, 0.05: 21.9, 0.1: 15.3, 1.0: 5.25, 3.0: 3.43}),
    ],
)
def test_gan_1991_table_1_two_sided_ewma(smoothing, limit, printed):
    width = limit / sqrt(smoothing / (2 - smoothing))
    for drift, length in printed.items():
        assert ewma_drift_length(smoothing, width, drift, first=0) == pytest.approx(length, rel=0.006)


@pytest.mark.parametrize(
    ("smoothing", "width", "printed"),
    [
        (0.133, 2.856, {0.01: 54.20, 0.031623: 26.36, 0.1: 13.07, 0.316228: 6.72, 1.0: 3.58}),
        (0.25, 2.974, {0.01: 59.74, 0.031623: 28.06, 0.1: 13.16, 0.316228: 6.39, 1.0: 3.27}),
        (0.5, 3.049, {0.01: 71.22, 0.031623: 32.68, 0.1: 14.55, 0.316228: 6.52, 1.0: 3.07}),
    ],
)
def test_aerne_champ_rigdon_1991_table_1_two_sided_ewma(smoothing, width, printed):
    for drift, length in printed.items():
        assert ewma_drift_length(smoothing, width, drift) == pytest.approx(length, rel=0.003)


def test_gan_1992_table_1_one_sided_cusum():
    # 76.3 is printed at 0.005; 77.2 comes out here and 77.1 in 60 000 simulated runs
    printed = {0.01: 52.0, 0.02: 35.2, 0.05: 21.4, 0.1: 15.0, 0.5: 6.95, 1.0: 5.16, 3.0: 3.30}
    for drift, length in printed.items():
        assert cusum_drift_length(0.25, 8.0, drift, first=0) == pytest.approx(length, rel=0.004)


@pytest.mark.parametrize(
    ("allowance", "limit", "printed"),
    [
        (0.25, 9.660, {0.01: 56.9, 0.05: 22.6, 0.1: 15.4, 0.5: 6.60, 1.0: 4.63}),
        (
            0.5,
            5.620,
            {0.01: 61.8, 0.05: 21.6, 0.5: 5.54, 1.0: 3.80},
        ),  # 14.7 is printed at 0.1, where 14.04 comes out
        (0.75, 3.904, {0.01: 69.3, 0.05: 22.7, 0.1: 14.2, 0.5: 5.17, 1.0: 3.45}),
    ],
)
def test_zou_liu_wang_2009_table_1_one_sided_cusum(allowance, limit, printed):
    for drift, length in printed.items():
        assert cusum_drift_length(allowance, limit, drift) == pytest.approx(
            length, rel=0.02
        )  # simulated there
