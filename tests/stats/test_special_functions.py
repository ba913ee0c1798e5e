"""Tests and limits by special functions against scipy.stats, which takes too long to import for answers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from lineview.core.errors import MeasureError
from lineview.stats.capability import shape_of
from lineview.stats.dispersed_rates import dispersed_rates
from lineview.stats.events import rate_ratio
from lineview.stats.means import interval_of_block_means, interval_of_mean, student_interval


@pytest.mark.parametrize(
    ("events", "time", "others", "other_time"),
    [(15, 1.0, 5, 1.0), (0, 2.0, 7, 3.0), (9, 0.4, 0, 1.1), (3, 30.0, 40, 400.0), (220, 90.0, 1500, 800.0)],
)
def test_rate_ratio_is_the_exact_binomial_test(events: int, time: float, others: int, other_time: float) -> None:
    share = time / (time + other_time)
    exact = stats.binomtest(events, events + others, share)
    limits = exact.proportion_ci(0.95, "exact")
    rates = rate_ratio(events, time, others, other_time)
    assert rates.p == pytest.approx(exact.pvalue, rel=1e-9)
    odds = other_time / time
    assert rates.low == pytest.approx(limits.low / (1 - limits.low) * odds, rel=1e-9)
    high = limits.high / (1 - limits.high) * odds if limits.high < 1 else np.inf
    assert rates.high == pytest.approx(high, rel=1e-9)


def test_without_an_event_any_ratio_of_rates_is_possible() -> None:
    """Of no event at all any share of them is possible (Clopper and Pearson's limits), and none is less likely."""
    rates = rate_ratio(0, 2.0, 0, 3.0)
    assert np.isnan(rates.ratio)
    assert (rates.low, rates.high, rates.p) == (0.0, np.inf, 1.0)


@pytest.mark.parametrize("power", [1, 2, 3])
def test_shape_is_that_of_the_library(power: int) -> None:
    values = np.random.default_rng(power).normal(2.0, 1.0, 400) ** power
    shape = shape_of(values)
    assert shape.skewness == pytest.approx(stats.skew(values), rel=1e-9)
    assert shape.kurtosis == pytest.approx(stats.kurtosis(values), rel=1e-9)
    assert shape.p_normal == pytest.approx(stats.jarque_bera(values).pvalue, rel=1e-6)


def test_interval_of_a_mean_is_that_of_the_library() -> None:
    values = np.random.default_rng(4).normal(7.0, 0.4, 12)
    limits = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
    mean = interval_of_mean(values)
    assert (mean.low, mean.value, mean.high) == pytest.approx((limits.low, values.mean(), limits.high))
    assert mean.interval == "95 % confidence" and mean.n == 12


def test_too_few_values_have_no_mean_and_no_spread_has_no_limits() -> None:
    assert interval_of_mean([1.0, 2.0, 3.0], least=5).why_none == "too few: needs 5, has 3"
    assert interval_of_block_means([1.0]).value is None
    open_ended = student_interval(3.0, 1.0, 0)
    assert (open_ended.value, open_ended.low, open_ended.high) == (3.0, None, None)


def test_an_interval_ends_at_its_floor() -> None:
    mean = interval_of_mean([0.0, 0.0, 0.0, 9.0], floor=0.0)
    assert mean.low == 0.0 and mean.high is not None and mean.high > 9.0


def test_block_means_hold_where_neighbours_go_together() -> None:
    """AR(1) with φ = 0.8 about 0: 300 values that are worth about 33."""
    rng = np.random.default_rng(11)
    covered = plain = 0
    for _ in range(200):
        noise = rng.normal(0, 1, 300)
        values = np.zeros(300)
        for i in range(1, 300):
            values[i] = 0.8 * values[i - 1] + noise[i]
        blocks, single = interval_of_block_means(values), interval_of_mean(values)
        covered += blocks.low < 0.0 < blocks.high
        plain += single.low < 0.0 < single.high
    assert covered / 200 > 0.88 and plain / 200 < 0.65


@pytest.mark.parametrize(("counts", "time"), [([3, -1, 2], [1, 1, 1]), ([3, 1, 2], [1, 0, 1]), ([3], [1])])
def test_counts_below_none_or_within_no_time_have_no_rate(counts: list[float], time: list[float]) -> None:
    with pytest.raises(MeasureError, match="too few counts, one below 0, or a time not above 0"):
        dispersed_rates([(np.array(counts), np.array(time))])
