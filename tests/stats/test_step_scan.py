"""A scan with steps standing in the model against one with the same steps among the columns."""

import numpy as np
import pytest
from scipy.stats import norm

from lineview.stats.change_points import GRID, averaged_over_steps, find_steps
from lineview.stats.correlated_regression import FitExtras, correlated_regression
from lineview.stats.step_scan import SEARCH_NOISES, StepScanner, scan_steps


def series(seed: int, n: int):
    rng = np.random.default_rng(seed)
    hours = np.cumsum(rng.uniform(0.1, 0.4, n))
    noise = np.convolve(rng.normal(0, 0.05, n + 5), np.ones(6), "valid")
    y = 15 + 0.004 * hours + noise + 0.3 * (np.arange(n) > n // 3)
    steps = np.maximum(1, rng.integers(0, 4, n - 1)).astype(float)
    return y, np.column_stack([np.ones(n), hours]), steps


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("at", [(), (20,), (30, 11), (7, 25, 52)])
def test_steps_may_stand_in_the_model_or_among_its_columns(seed, at):
    y, x, steps = series(seed, 60 + 20 * seed)
    columns = np.column_stack([x, *((np.arange(y.size) >= k).astype(float) for k in at)])
    reference = scan_steps(y, columns, steps, closed=at)
    result = StepScanner(y, x, steps).scan(at, closed=at)
    assert (result.at, result.noise) == (reference.at, reference.noise)
    assert (result.score, result.gain) == pytest.approx((reference.score, reference.gain), rel=1e-8)


@pytest.mark.parametrize("seed", range(4))
def test_on_evenly_spaced_points_the_gain_is_that_of_two_fits(seed):
    y, x, _ = series(seed, 200)
    even = np.ones(199)
    scan = scan_steps(y, x, even)
    step = (np.arange(200) >= scan.at).astype(float)
    fits = [
        max(correlated_regression(y, columns, even, [noise]).likelihood for noise in noises)
        for columns, noises in ((np.column_stack([x, step]), [scan.noise]), (x, SEARCH_NOISES))
    ]
    # the filter takes the first point to have no past, which a fit does not
    assert scan.gain == pytest.approx(2 * (fits[0] - fits[1]), abs=0.5)


def test_a_doubtful_step_is_left_out_by_its_odds():
    """Each alone and both, by exp((k × limit - 2 Δl) / 2); the limit is that of a chance of 1 % in so many places."""
    n, rng = 60, np.random.default_rng(4)
    columns = np.column_stack([np.ones(n), *(np.arange(n) >= k for k in (20, 40))]).astype(float)
    y, even = columns @ [1.0, 1.1, 1.2] + rng.normal(0, 1, n), np.ones(n - 1)
    limit = norm.ppf(0.01 / 2 / n) ** 2 * (1 + 6 / n)
    kept = [[0, 1, 2], [0, 2], [0, 1], [0]]
    fits = [correlated_regression(y, columns[:, k], even, GRID, FitExtras(careful=True)) for k in kept]
    odds = [
        np.exp(((3 - len(k)) * limit - 2 * (fits[0].likelihood - f.likelihood)) / 2)
        for k, f in zip(kept, fits, strict=True)
    ]
    last = [fit.mean(np.ones(len(k))) for k, fit in zip(kept, fits, strict=True)]
    found = averaged_over_steps(y, columns, even, (1, 2), None)
    assert min(odds) > 0.003
    assert max(odds[1:]) < 20
    assert found.mean(np.ones(3)) == pytest.approx(np.dot(odds, last) / np.sum(odds), rel=1e-9)


def test_steps_are_moved_with_the_others_in():
    """Three for four points of sixty, and one after them: alone each step would be found a point off."""
    y = np.sin(np.arange(60.0) * 9) + np.repeat([0.0, 3.0, 1.0], [20, 4, 36])
    assert find_steps(y, np.ones((60, 1)), np.ones(59)).steps == (20, 24)
