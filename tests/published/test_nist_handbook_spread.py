"""NIST/SEMATECH e-Handbook: 3.5.1 furnace (capability, nested components), 1.3.5 gears, 3.2.3.1 pins."""

from __future__ import annotations

import numpy as np
import pytest

from lineview.statistics.anova import nested_balanced, one_way
from lineview.statistics.capability import cp_interval, cpk_interval, cpm, indices, share_beyond
from lineview.statistics.equal_spread import bartlett, chi_square_of_sd, levene_median
from lineview.statistics.sample_interval import mean_interval, sd_interval
from lineview.statistics.summary import summarize
from lineview.statistics.variance_components import reml

# fmt: off
#: Oxide thickness: 21 furnace runs, each 4 zones of 2 wafers.
FURNACE = [
    [546, 540, 566, 564, 577, 546, 543, 529],
    [561, 556, 577, 553, 563, 577, 556, 540],
    [515, 520, 548, 542, 505, 487, 506, 514],
    [568, 584, 570, 545, 589, 562, 569, 571],
    [550, 550, 562, 580, 560, 554, 545, 546],
    [584, 581, 567, 558, 556, 560, 591, 599],
    [593, 626, 584, 559, 634, 598, 569, 592],
    [522, 535, 535, 581, 527, 520, 532, 539],
    [562, 568, 548, 548, 533, 553, 533, 521],
    [555, 545, 584, 572, 546, 552, 586, 584],
    [565, 557, 583, 585, 582, 567, 549, 533],
    [548, 528, 563, 588, 543, 540, 585, 586],
    [580, 570, 556, 569, 609, 625, 570, 595],
    [564, 555, 585, 588, 564, 583, 563, 558],
    [550, 557, 538, 525, 556, 547, 534, 542],
    [552, 547, 563, 578, 571, 572, 575, 584],
    [549, 546, 584, 593, 567, 548, 606, 607],
    [539, 554, 533, 535, 522, 521, 547, 550],
    [610, 592, 587, 587, 572, 612, 566, 563],
    [569, 609, 558, 555, 577, 579, 552, 558],
    [595, 583, 599, 602, 598, 616, 580, 575],
]
#: Ten batches of ten gears.
GEARS = [
    [1.006, 0.996, 0.998, 1.0, 0.992, 0.993, 1.002, 0.999, 0.994, 1.0],
    [0.998, 1.006, 1.0, 1.002, 0.997, 0.998, 0.996, 1.0, 1.006, 0.988],
    [0.991, 0.987, 0.997, 0.999, 0.995, 0.994, 1.0, 0.999, 0.996, 0.996],
    [1.005, 1.002, 0.994, 1.0, 0.995, 0.994, 0.998, 0.996, 1.002, 0.996],
    [0.998, 0.998, 0.982, 0.99, 1.002, 0.984, 0.996, 0.993, 0.98, 0.996],
    [1.009, 1.013, 1.009, 0.997, 0.988, 1.002, 0.995, 0.998, 0.981, 0.996],
    [0.99, 1.004, 0.996, 1.001, 0.998, 1.0, 1.018, 1.01, 0.996, 1.002],
    [0.998, 1.0, 1.006, 1.0, 1.002, 0.996, 0.998, 0.996, 1.002, 1.006],
    [1.002, 0.998, 0.996, 0.995, 0.996, 1.004, 1.004, 0.998, 0.999, 0.991],
    [0.991, 0.995, 0.984, 0.994, 0.997, 0.997, 0.991, 0.998, 1.004, 0.997],
]
PINS = [
    [0.125, 0.127, 0.125, 0.126, 0.128],
    [0.118, 0.122, 0.12, 0.124, 0.119],
    [0.123, 0.125, 0.125, 0.124, 0.126],
    [0.126, 0.128, 0.126, 0.127, 0.129],
    [0.118, 0.129, 0.127, 0.12, 0.121],
]
# fmt: on
VALUES = [float(v) for run in FURNACE for v in run]
LSL, USL, TARGET = 460, 660, 560


def test_3_5_1_2_mean_and_sd() -> None:
    found = summarize(VALUES)
    assert found.mean == pytest.approx(563.0357, abs=6e-5)
    assert found.sd == pytest.approx(25.38468, abs=6e-6)
    assert mean_interval(VALUES) == pytest.approx((559.16916, 566.90227), abs=6e-6)
    assert sd_interval(VALUES) == pytest.approx((22.92967, 28.43306), abs=6e-6)


def test_3_5_1_2_capability_with_limits_of_the_handbooks_own_output() -> None:
    """The page's table misprints three intervals; its R output, used here, follows from its formula."""
    found = summarize(VALUES)
    index = indices(found.mean, found.sd, LSL, USL)
    got = [
        (index.c, *cp_interval(index.c, found.n - 1)),
        (index.lower, *cpk_interval(index.lower, found.n)),
        (index.upper, *cpk_interval(index.upper, found.n)),
        (index.ck, *cpk_interval(index.ck, found.n)),
    ]
    printed = [
        (1.313, 1.172, 1.454), (1.353, 1.199, 1.507), (1.273, 1.128, 1.419), (1.273, 1.128, 1.419),
    ]  # fmt: skip
    assert np.array(got) == pytest.approx(np.array(printed), abs=5.1e-4)
    assert cpm(found.mean, found.sd, LSL, USL, TARGET) == pytest.approx(1.304, abs=5.1e-4)
    below, above = share_beyond(found.mean, found.sd, LSL, USL)
    assert (100 * below, 100 * above) == pytest.approx((0.00246, 0.00668), abs=6e-6)


def test_3_5_1_4_nested_analysis() -> None:
    found = nested_balanced(np.array(FURNACE, dtype=float).reshape(21, 4, 2))
    assert found.ss == pytest.approx((61442.29, 36014.5, 10155), abs=0.006)
    assert found.ms == pytest.approx((3072.11, 571.659, 120.893), abs=0.0051)
    assert found.f == pytest.approx((5.37404, 4.72864), abs=6e-6)
    assert found.p == pytest.approx((1.393903e-07, 3.85036e-11), abs=1e-12)
    assert found.components == pytest.approx((312.55694, 225.38294, 120.89286), abs=6e-6)
    share = np.array(found.components) / sum(found.components)
    assert 100 * share == pytest.approx([47.44, 34.21, 18.35], abs=0.0051)


def test_3_5_1_4_reml_agrees_in_a_balanced_layout() -> None:
    run, zone = np.repeat(np.arange(21), 8), np.tile(np.repeat(np.arange(4), 2), 21)
    found = reml(VALUES, [run, zone])
    assert found.variances == pytest.approx((312.557, 225.381, 120.893), abs=0.0021)
    assert found.sds == pytest.approx((17.679, 15.013, 10.995), abs=6e-4)


def test_1_3_5_4_gears_one_way() -> None:
    found = one_way(GEARS)
    assert (found.ss_between, found.ss_within) == pytest.approx((0.000729, 0.003174), abs=6e-7)
    assert found.f == pytest.approx(2.2969, abs=6e-5)
    assert found.ms_within**0.5 == pytest.approx(0.00594, abs=6e-6)
    printed = [0.998, 0.9991, 0.9954, 0.9982, 0.9919, 0.9988, 1.0015, 1.0004, 0.9983, 0.9948]
    assert [summarize(g).mean for g in GEARS] == pytest.approx(printed, abs=6e-6)


def test_1_3_5_7_and_10_gears_spread_alike() -> None:
    assert bartlett(GEARS).statistic == pytest.approx(20.7858, abs=1e-4)
    assert levene_median(GEARS).statistic == pytest.approx(1.70591, abs=1e-5)


def test_1_3_5_8_gears_sd_against_a_tenth() -> None:
    values = [v for g in GEARS for v in g]
    assert chi_square_of_sd(values, 0.1) == pytest.approx(0.3903, abs=6e-5)


def test_3_2_3_1_pins_exact_f_not_the_one_from_rounded_mean_squares() -> None:
    """The page prints F = 4.86 from mean squares rounded to .000034 and .000007; exactly it is 5.20606."""
    found = one_way(PINS)
    assert (found.ss_between, found.ss_within) == pytest.approx((0.000137, 0.000132), abs=6e-7)
    assert found.f == pytest.approx(5.20606, abs=6e-6)
    assert found.p == pytest.approx(0.0048587, abs=6e-8)
    assert round(0.000034 / 0.000007, 2) == 4.86


def test_6_1_6_capability_arithmetic() -> None:
    index = indices(16, 2, 8, 20)
    assert (index.c, index.lower, index.upper) == pytest.approx((1.0, 1.3333, 0.6667), abs=6e-5)
    assert index.ck == pytest.approx(0.6667, abs=6e-5)
    k = abs(14 - 16) / 6
    assert k == pytest.approx(0.3333, abs=6e-5)
    assert index.c * (1 - k) == pytest.approx(index.ck)
    assert 100 * sum(share_beyond(0, 1, -3, 3)) == pytest.approx(0.27, abs=5e-4)
    assert 1e6 * sum(share_beyond(0, 1, -4, 4)) == pytest.approx(64, abs=0.8)


def test_montgomery_cp_interval_from_memory() -> None:
    """Montgomery, example on the interval of Cp: limits printed from Cp rounded to 2.29."""
    found = indices(50, 1.75, 38, 62)
    assert found.c == pytest.approx(2.29, abs=0.0065)
    assert cp_interval(found.c, 19) == pytest.approx((1.57, 3.01), abs=0.0065)
