"""The likelihoods of batch means and of readings in runs, beside dense matrices."""

from __future__ import annotations

import numpy as np
import pytest

from lineview.stats.batch_correlation import (
    MemoryFit,
    _fine_grid,
    _likelihood,
    _runs,
    _sandwich,
    fit_memory,
    within_batch_correlation,
)


@pytest.mark.parametrize("scale", [1.0, 1e-3, 1e-9])
def test_means_that_follow_each_other_weigh_as_a_dense_covariance_says(scale: float) -> None:
    """Also where a mean has hardly an error of its own."""
    rng = np.random.default_rng(5)
    y = np.cumsum(rng.uniform(-1, 1, 30)) * 0.2
    errors = scale * rng.uniform(0.01, 0.05, 30)
    fit = fit_memory(y, errors)
    apart = np.abs(np.subtract.outer(np.arange(30), np.arange(30)))
    ones = np.ones(30)
    logs = []
    likely = np.argsort(fit.weight)[-5:]
    for case in likely:
        inverse = np.linalg.inv(fit.sd[case] ** 2 * fit.phi[case] ** apart + np.diag(errors))
        total = ones @ inverse @ ones
        mean = ones @ inverse @ y / total
        assert fit.mean[case] == pytest.approx(mean)
        assert fit.mean_sd[case] == pytest.approx(total**-0.5)
        left = y - mean
        logs.append(-0.5 * (left @ inverse @ left - np.linalg.slogdet(inverse)[1] + np.log(total)))
    assert np.all(fit.phi[likely] > 0)
    assert np.log(fit.weight[likely] / fit.weight[likely[0]]) == pytest.approx(np.array(logs) - logs[0])


def test_cases_that_are_not_tried_would_weigh_nothing() -> None:
    """Of 150 means each case is weighed by its dense covariance, those left out too."""
    rng, n = np.random.default_rng(6), 150
    y, errors = np.zeros(n), rng.uniform(0.1, 0.9, n)
    for at in range(1, n):
        y[at] = 0.8 * y[at - 1] + rng.normal()
    y += rng.normal(0, np.sqrt(errors))
    fit = fit_memory(y, errors)
    apart, ones = np.abs(np.subtract.outer(np.arange(n), np.arange(n))), np.ones(n)
    logs = np.full(fit.weight.size, np.log(8.0)) * (fit.phi == 0)
    for case in range(fit.weight.size):
        covariance = fit.sd[case] ** 2 * fit.phi[case] ** apart + np.diag(errors)
        by_y, by_one = np.linalg.solve(covariance, np.column_stack([y, ones])).T
        left = y @ by_y - (ones @ by_y) ** 2 / (ones @ by_one)
        logs[case] -= 0.5 * (left + np.linalg.slogdet(covariance)[1] + np.log(ones @ by_one))
    weight = np.exp(logs - logs.max())
    assert 20 < (fit.mean_sd > 0).sum() < 250
    assert fit.weight == pytest.approx(weight / weight.sum(), abs=1e-9)


def test_a_mean_over_cases_is_as_unsure_as_all_of_them_and_as_they_lie_apart() -> None:
    """Two cases by hand: the variance is the mean of theirs and that of their means (law of total variance)."""
    weight, sd, mean, mean_sd = (np.array(v) for v in ([0.6, 0.4], [2.0, 3.0], [1.0, 3.0], [1.0, 2.0]))
    fit = MemoryFit(np.array([0.0, 0.5]), weight, sd, mean, mean_sd, 1.1)
    assert (fit.centre, fit.memory) == pytest.approx((1.8, 0.2))
    total = 0.6 * (1 + 0.8**2) + 0.4 * (4 + 1.2**2)
    assert fit.widening == pytest.approx(total**0.5)  # without memory the standard error is 1
    drawn, variances = fit.draws(40_000)
    assert (drawn.mean(), drawn.var()) == pytest.approx((1.8, total), rel=0.03)
    assert variances.min() >= (2 * 1.1**-0.5) ** 2 and variances.max() <= (3 * 1.1**0.5) ** 2
    assert np.mean(variances < 6) == pytest.approx(0.6, abs=0.01)
    narrower = MemoryFit(np.array([0.0, 0.5]), weight, sd, np.zeros(2), np.array([1.0, 0.5]), 1.1)
    assert narrower.widening == 1.0


@pytest.mark.parametrize("white", [0.0, 0.3, 0.6])
def test_white_noise_on_readings_weighs_as_a_dense_covariance_says(white: float) -> None:
    phi, runs, each = 0.7, 5, 12
    value = np.random.default_rng(1).normal(size=runs * each)
    seconds = np.arange(runs * each) * 20.0
    seconds[30:] += 40.0  # two readings are missing within the third run
    run = np.repeat(np.arange(runs), each)
    sorted_runs = _runs(value, seconds, run)
    squares = determinants = 0.0
    for k in range(runs):
        inside = run == k
        steps = np.cumsum(np.r_[0, np.round(np.diff(seconds[inside]) / 20.0)])
        covariance = (1 - white) * phi ** np.abs(np.subtract.outer(steps, steps)) + white * np.eye(each)
        inverse = np.linalg.inv(covariance)
        x, y = np.column_stack([np.ones(each), sorted_runs.time[inside]]), sorted_runs.value[inside]
        left = y - x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ y)
        squares += left @ inverse @ left
        determinants += np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(x.T @ inverse @ x)[1]
    df = runs * (each - 2)
    likelihood, residual, _ = _likelihood(sorted_runs, phi, white)
    assert likelihood == pytest.approx(-0.5 * (determinants + df * np.log(squares / df)))
    assert residual.sum() == pytest.approx(squares)


def test_runs_bear_on_the_spread_as_dense_scores_and_information_say() -> None:
    """The sandwich for the logarithm of the variance, from each run's likelihood by a dense covariance."""
    rng, runs, each = np.random.default_rng(3), 40, 15
    steps = np.abs(np.subtract.outer(np.arange(each), np.arange(each)))
    root = np.linalg.cholesky(0.7 * 0.7**steps + 0.3 * np.eye(each))
    value = (root @ rng.normal(size=(each, runs)) * rng.uniform(0.6, 1.4, runs)).T.ravel()
    of_runs = _runs(value, np.arange(runs * each) * 20.0, np.repeat(np.arange(runs), each))
    x, y = np.column_stack([np.ones(each), of_runs.time[:each]]), of_runs.value.reshape(runs, each).T

    def parts(phi: float, white: float) -> tuple[float, np.ndarray]:
        covariance = (1 - white) * phi**steps + white * np.eye(each)
        inverse = np.linalg.inv(covariance)
        left = y - x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ y)
        logs = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(x.T @ inverse @ x)[1]
        return float(logs), np.einsum("ik,ij,jk->k", left, inverse, left)

    middle, h = np.array([0.7, 0.3, 0.0]), 1e-3
    df = each - 2
    middle[2] = np.log(parts(*middle[:2])[1].sum() / (runs * df))

    def likelihoods(move: np.ndarray) -> np.ndarray:
        phi, white, log_variance = middle + h * move
        logs, squares = parts(phi, white)
        return -0.5 * (logs + df * log_variance + squares / np.exp(log_variance))

    one = np.eye(3)
    scores = np.array([(likelihoods(e) - likelihoods(-e)) / (2 * h) for e in one])
    information = -np.array(
        [
            [sum(a * b * likelihoods(a * e + b * f).sum() for a in (1, -1) for b in (1, -1)) / (4 * h**2) for f in one]
            for e in one
        ]
    )
    inverse = np.linalg.inv(information)
    sandwich = inverse @ np.cov(scores) @ inverse * runs
    found = _sandwich(of_runs, [0.7, 0.3], {0: h, 1: h})
    assert found == pytest.approx(sandwich[2, 2] / inverse[2, 2], rel=1e-3)


def test_the_finer_grid_reaches_six_standard_errors_to_either_side() -> None:
    tried = np.linspace(0, 1, 101)
    grid = _fine_grid(tried, -0.5 * ((tried - 0.4) / 0.05) ** 2)
    assert (grid[0], grid[-1]) == pytest.approx((0.1, 0.7), abs=1e-3)
    edge = _fine_grid(tried, -0.5 * ((tried - 0.9) / 0.05) ** 2)
    assert edge[-1] == 1.0


def test_short_runs_whose_values_follow_each_other_state_no_limits() -> None:
    rng = np.random.default_rng(2)
    shocks = rng.normal(size=(60, 40))
    for i in range(1, 40):
        shocks[:, i] = 0.8 * shocks[:, i - 1] + 0.6 * shocks[:, i]
    for each, stated in ((10, False), (20, True)):
        value = shocks[:, 40 - each :].ravel()
        sd = within_batch_correlation(value, np.arange(value.size) * 20.0, np.repeat(np.arange(60), each)).sd
        assert (sd.low is not None) == stated
        assert ("needs 18" in sd.interval) == (not stated)


def test_runs_of_unlike_spread_leave_the_spread_as_open_as_they_differ() -> None:
    """Of variances 1/4 and 9/4 by turns: E v² / E² v + df / 2 × var v / E² v, as the variance of a run's score says."""
    runs, each = 60, 30
    even = np.random.default_rng(8).normal(size=(runs, each))
    at_s, run = np.arange(runs * each) * 20.0, np.repeat(np.arange(runs), each)
    width = []
    for scale in (np.ones(runs), np.tile([0.5, 1.5], runs // 2)):
        sd = within_batch_correlation((even * scale[:, None]).ravel(), at_s, run).sd
        assert sd.low is not None
        assert sd.high is not None
        width.append(np.log(sd.high / sd.low))
    widen = 2.5625 / 1.25**2 + (each - 2) / 2 * 1.0 / 1.25**2
    assert width[1] / width[0] == pytest.approx(widen**0.5, rel=0.2)
