"""Correlated data, run rules: constructed checks, NIST 6.6.2.4 (read), Nelson 1984 by a glossary (read)."""

import numpy as np
import pytest

from lineview.stats.control_charts import NELSON, nelson_test
from lineview.stats.serial_correlation import effective_n, ljung_box


def test_worth_of_50_pieces_constructed():
    assert effective_n(50, 0.8) == pytest.approx(6.0976, abs=1e-3)


def test_nist_6_6_2_4_ljung_box_reference_points():
    """The 50, 75, 90 and 95 % points of 24 degrees of freedom that the handbook prints are ours too."""
    printed = {0.5: 23.33673, 0.25: 28.24115, 0.1: 33.19624, 0.05: 36.41503}
    x = np.random.default_rng(5).standard_normal(200)
    test = ljung_box(x, 24)
    assert test.df == 24
    below = [chance for chance, point in printed.items() if test.statistic > point]
    above = [chance for chance, point in printed.items() if test.statistic <= point]
    assert test.p < min(below, default=1.0)
    assert test.p >= max(above, default=0.0)


def test_ljung_box_against_statsmodels():
    from statsmodels.stats.diagnostic import acorr_ljungbox

    x = np.random.default_rng(5).standard_normal(200)
    ours, theirs = ljung_box(x, 24), acorr_ljungbox(x, lags=[24])
    assert ours.statistic == pytest.approx(float(theirs["lb_stat"].iloc[0]), rel=1e-10)
    assert ours.p == pytest.approx(float(theirs["lb_pvalue"].iloc[0]), rel=1e-10)


@pytest.mark.parametrize(
    ("test", "z", "first"),
    [
        (1, [0, 0, 3.1], 3),
        (2, [0.1] * 9, 9),
        (3, [0, 0.1, 0.2, 0.3, 0.4, 0.5], 6),
        (4, [0.1, -0.1] * 7, 14),
        (5, [2.1, 0, 2.1], 3),
        (6, [1.1, 1.1, 0, 1.1, 1.1], 5),
        (7, [0.5] * 15, 15),
        (8, [1.1, -1.1] * 4, 8),
    ],
)
def test_nelson_1984(test, z, first):
    assert len(NELSON) == 8
    hit = np.flatnonzero(nelson_test(np.array(z), test))
    assert hit.size == 1
    assert hit[0] + 1 == first
    assert not nelson_test(np.array(z[:-1]), test).any()
