"""Generalized intervals against the exact textbook ones where those exist."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from lineview.core.errors import MeasureError
from lineview.stats.capability import cheapest_plan, half_width
from lineview.stats.generalized_intervals import Part, draw_components, levels_of, percentiles, variance_shares
from lineview.stats.variance_components import reml


def mean_interval(y: list[float]) -> tuple[float, float]:
    return stats.t.interval(0.95, len(y) - 1, np.mean(y), stats.sem(y))


def sd_interval(y: list[float]) -> tuple[float, float]:
    df = len(y) - 1
    low, high = np.sqrt(df * np.var(y, ddof=1) / stats.chi2.ppf([0.975, 0.025], df))
    return float(low), float(high)


def test_one_level_gives_the_t_and_chi_square_intervals() -> None:
    y = np.random.default_rng(1).normal(6.6, 0.25, 30).tolist()
    draws_of = draw_components(y, [], draws=20000)
    assert percentiles(draws_of.mean) == pytest.approx(mean_interval(y), abs=2e-3)
    low, high = percentiles(draws_of.variances[0])
    assert (low**0.5, high**0.5) == pytest.approx(sd_interval(y), rel=0.01)


def test_balanced_batches_give_the_t_interval_of_batch_means() -> None:
    rng = np.random.default_rng(2)
    batch = np.repeat(np.arange(12), 5)
    y = 6.6 + rng.normal(0, 0.1, 12)[batch] + rng.normal(0, 0.25, 60)
    draws_of = draw_components(y, [batch], draws=20000)
    means = [float(y[batch == b].mean()) for b in range(12)]
    assert percentiles(draws_of.mean) == pytest.approx(mean_interval(means), abs=4e-3)


def test_the_mean_of_five_pieces_has_a_fifth_of_their_variance() -> None:
    rng = np.random.default_rng(3)
    batch = np.repeat(np.arange(60), 8)
    y = rng.normal(0, 0.1, 60)[batch] + rng.normal(0, 0.25 / 5**0.5, 480)
    components = reml(y, [batch], np.full(480, 5.0))
    assert components.sds[1] == pytest.approx(0.25, rel=0.1)
    low, high = percentiles(draw_components(y, [batch], np.full(480, 5.0), draws=2000).variances[1])
    assert low**0.5 < 0.25 < high**0.5


def test_single_and_joint_weighings_go_together() -> None:
    """The same pieces once one by one, once five by five: the mixed layout finds the pieces' spread."""
    rng = np.random.default_rng(4)
    batch = np.repeat(np.arange(40), 6)
    pieces = np.tile([1.0, 1.0, 1.0, 5.0, 5.0, 5.0], 40)
    y = rng.normal(0, 0.1, 40)[batch] + rng.normal(0, 0.25, 240) / np.sqrt(pieces)
    assert reml(y, [batch], pieces).sds == pytest.approx((0.1, 0.25), rel=0.25)


def test_no_difference_between_batches_gives_nought_within_limits() -> None:
    rng = np.random.default_rng(5)
    batch = np.repeat(np.arange(20), 5)
    y = rng.normal(0, 0.25, 100)
    y -= np.repeat([y[batch == b].mean() for b in range(20)], 5)
    assert reml(y, [batch]).sds[0] == 0
    assert percentiles(draw_components(y, [batch], draws=500).variances[0])[0] == 0


def test_the_same_data_give_the_same_limits() -> None:
    y = np.random.default_rng(6).normal(0, 1, 20)
    batch = np.repeat(np.arange(5), 4)
    first, two = (draw_components(y, [batch], draws=200) for _ in range(2))
    assert np.array_equal(first.mean, two.mean)


def test_levels_without_repeats_are_refused() -> None:
    for groups in ([[1, 2, 3]], [[1, 1, 1]]):
        with pytest.raises(MeasureError, match="no two values"):
            draw_components([1.0, 2.0, 3.0], groups)
        with pytest.raises(MeasureError, match="no two values"):
            reml([1.0, 2.0, 3.0], groups)


def test_share_of_one_level_is_the_regression_slope() -> None:
    rng = np.random.default_rng(7)
    x = rng.normal(0, 1, 50)
    y = x + rng.normal(0, 1, 50)
    noisy_x = x + rng.normal(0, 0.5, 50)
    levels = levels_of(np.column_stack([y, noisy_x]), np.arange(50), np.arange(50))
    share = variance_shares(levels, {"x": Part("all", np.array([0.0, 1.0]))}, draws=20000)["x"]
    from scipy.stats import linregress, t

    fit = linregress(y, noisy_x)
    half = t.ppf(0.975, 48) * fit.stderr
    assert share.value == pytest.approx(fit.slope)
    assert (share.low, share.high) == pytest.approx((fit.slope - half, fit.slope + half), abs=0.02)


def test_levels_of_uneven_batches_are_those_of_unweighted_means() -> None:
    """Burdick and Graybill's unweighted means of three batches, and Satterthwaite's share of their degrees, by hand."""
    batch = np.array([0, 0, 1, 1, 1, 2])
    top, low = levels_of(np.array([[1.0, 3.0, 4.0, 6.0, 8.0, 2.0]]).T, batch, batch)
    means = np.array([2.0, 6.0, 2.0])
    assert (top.ss[0, 0], top.df, top.weight, top.above) == pytest.approx((2 * means.var(ddof=1), 2, 1, 1))
    harmonic = (1 / 2 + 1 / 3 + 1 / 1) / 3
    assert (low.ss[0, 0], low.df) == (2.0 + 8.0, 3)
    assert (low.weight, low.above) == pytest.approx((1 - harmonic, -harmonic))
    of_means = 10 / 3 * np.array([1 / 2, 1 / 3, 1 / 1])
    sure = of_means + max(means.var(ddof=1) - of_means.mean(), 0.0)
    assert top.effective_df == pytest.approx(2 * sure.mean() ** 2 / (sure**2).mean())


def test_lines_batches_samples_and_pieces_are_four_levels() -> None:
    rng = np.random.default_rng(8)
    line = np.repeat(np.arange(6), 60)
    batch = np.repeat(np.arange(36), 10)
    sample = np.repeat(np.arange(72), 5)
    truth = (0.3, 0.2, 0.1, 0.25)
    y = rng.normal(0, 0.3, 6)[line] + rng.normal(0, 0.2, 36)[batch]
    y += rng.normal(0, 0.1, 72)[sample] + rng.normal(0, 0.25, 360)
    draws_of = draw_components(y, [line, batch, sample], draws=1000)
    assert len(reml(y, [line, batch, sample]).sds) == 4
    for sd, variances in zip(truth, draws_of.variances, strict=True):
        low, high = percentiles(variances)
        assert low**0.5 < sd < high**0.5


@pytest.mark.parametrize(("variances", "target"), [((0.0121, 0.0, 0.0625), 0.05), ((0.002, 0.004, 0.03), 0.03)])
def test_the_cheapest_plan_is_the_cheapest_of_all(variances: tuple[float, float, float], target: float) -> None:
    """A visit costs as much as five pieces; every plan of up to three samples and twenty pieces is looked at."""
    efforts = [
        min(b for b in range(2, 401) if half_width(variances, b, samples, pieces) <= target) * samples * (5.0 + pieces)
        for samples in (1, 2, 3)
        for pieces in range(1, 21)
        if half_width(variances, 400, samples, pieces) <= target
    ]
    plan = cheapest_plan(variances, target)
    assert plan is not None
    assert plan.batches * plan.samples * (5.0 + plan.pieces) == min(efforts)
    assert plan.half_width == half_width(variances, plan.batches, plan.samples, plan.pieces) <= target
