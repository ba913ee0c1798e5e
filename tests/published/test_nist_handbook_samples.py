"""NIST/SEMATECH e-Handbook: Grubbs (1.3.5.17.1), sample sizes (7.2.2.2, 7.2.3.2), share (7.2.4.1)."""

from __future__ import annotations

import pytest

from lineview.statistics.outlier import grubbs
from lineview.statistics.sample_size import df_for_sd, miss_of_sd, n_for_mean
from lineview.statistics.share_interval import share_interval


def test_1_3_5_17_1_grubbs() -> None:
    found = grubbs([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57], 0.05, "upper")
    assert found.g == pytest.approx(2.4687, abs=1e-4)
    assert found.critical == pytest.approx(2.032, abs=6e-4)
    assert (found.outlying, found.index) == (True, 7)


def test_7_2_2_2_sample_size_for_a_mean() -> None:
    assert n_for_mean(0.05, 0.10, 1.0) == pytest.approx(8.567, abs=0.004)


def test_7_2_3_2_sample_size_for_a_standard_deviation() -> None:
    """Variance 100 against 155: the page's N of 170 is the degrees of freedom; 171 values have as many."""
    assert df_for_sd(0.05, 0.01, 1.55) == 170
    assert miss_of_sd(169, 0.05, 1.55) == pytest.approx(0.0101, abs=6e-5)


def test_7_2_4_1_exact_interval_of_a_share() -> None:
    assert share_interval(4, 20, 0.90) == pytest.approx((0.071354, 0.401029), abs=2e-6)
