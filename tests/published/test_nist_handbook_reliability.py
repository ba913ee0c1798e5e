"""NIST/SEMATECH e-Handbook of Statistical Methods (2012, revised about 2018), chapter 8, printed values."""

import pytest

from lineview.stats.events import laplace, mean_between_limits, mil_hdbk_189, power_law

#: Sections 8.2.3.4 and 8.4.5.2: ten repairs in 1,500 hours.
REPAIRS = [5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0]


#: Section 8.4.5.1, table of factors: lower and upper at 60, 80, 90 and 95 %.
FACTORS = {
    1: [0.334, 4.4814, 0.2571, 9.4912, 0.2108, 19.4958, 0.1795, 39.4978],
    2: [0.4674, 2.426, 0.3758, 3.7607, 0.3177, 5.6281, 0.2768, 8.2573],
    3: [0.544, 1.9543, 0.449, 2.7222, 0.3869, 3.6689, 0.3422, 4.8491],
    5: [0.6324, 1.6184, 0.5391, 2.0554, 0.4756, 2.5379, 0.4285, 3.0798],
    10: [0.7326, 1.3719, 0.6491, 1.6074, 0.5895, 1.8432, 0.5438, 2.0853],
    20: [0.8088, 1.2367, 0.7395, 1.3769, 0.6882, 1.5089, 0.6475, 1.6371],
    50: [0.8788, 1.1371, 0.8286, 1.2142, 0.7901, 1.2832, 0.7585, 1.3473],
    100: [0.9145, 1.0929, 0.8766, 1.1439, 0.8469, 1.1885, 0.8222, 1.229],
}


@pytest.mark.parametrize("events", FACTORS)
def test_8_4_5_1_factors(events: int) -> None:
    factors = []
    for confidence in (0.6, 0.8, 0.9, 0.95):
        factors += [limit / (1.0 / events) for limit in mean_between_limits(events, 1.0, confidence=confidence)]
    assert factors == pytest.approx(FACTORS[events], abs=1.5e-4)


def test_8_4_5_1_factors_without_a_failure() -> None:
    # Row r = 0: .6213, .4343, .3338, .2711 of the time watched.
    factors = [mean_between_limits(0, 1.0, confidence=c)[0] for c in (0.6, 0.8, 0.9, 0.95)]
    assert factors == pytest.approx([0.6213, 0.4343, 0.3338, 0.2711], abs=1e-4)


def test_8_2_3_4_handbook_test() -> None:
    test = mil_hdbk_189(REPAIRS, 1500)
    assert test.statistic == pytest.approx(37.23, abs=0.0051)
    assert 100 * (1 - (1 - test.p_more_often)) == pytest.approx(98.9, abs=0.051)


def test_8_2_3_4_laplace_is_negative_where_repairs_grow_rarer() -> None:
    # The page does not print z, and its words point the wrong way: improvement gives z below 0.
    test = laplace(REPAIRS, 1500)
    assert test.statistic == pytest.approx(-1.3269492, abs=1e-7)
    assert test.p_more_often > 0.9


#: Section 8.2.3.4, table of improvement at 90, 95 and 99 %. For r = 12 the page prints 43, 46, 50; exactly
#: P(R >= 50) is 0.0105, so the 99 % value is 51.
CRITICAL = {
    4: [6, 6, None],
    5: [9, 9, 10],
    6: [12, 13, 14],
    7: [16, 17, 19],
    8: [20, 22, 24],
    9: [25, 27, 30],
    10: [31, 33, 36],
    11: [37, 39, 43],
    12: [43, 46, 51],
}


def test_8_4_5_2_power_law() -> None:
    fit = power_law(REPAIRS, 1500, confidence=0.8)
    assert 1 - fit.b == pytest.approx(0.516494, abs=6e-7)
    assert fit.b == pytest.approx(0.483506, abs=6e-7)
    assert fit.a == pytest.approx(0.2913003, abs=6e-8)
    assert fit.mean_between_end == pytest.approx(310.234, abs=6e-4)
    assert (fit.mean_low, fit.mean_high) == pytest.approx((157.7138, 548.5566), abs=6e-5)
