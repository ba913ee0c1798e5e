"""Regression with memory: against plain least squares where there is none, and against statsmodels' GLS."""

import numpy as np
import pytest
from statsmodels.regression.linear_model import GLS, OLS

from lineview.core.errors import MeasureError
from lineview.stats.correlated_regression import (
    NOISES,
    SLOW,
    CorrelatedFit,
    Noise,
    _near_best,
    _weights,
    correlated_regression,
)
from lineview.stats.least_squares import least_squares_fits


def test_one_noise_without_memory_is_least_squares():
    rng = np.random.default_rng(2)
    t = np.arange(40.0)
    y = 1 + 0.2 * t + rng.standard_normal(40)
    x = np.column_stack([np.ones(40), t])
    fit, plain = correlated_regression(y, x, np.ones(39), [Noise(0.0, 0.0)]), OLS(y, x).fit()
    half = plain.bse[1] * 2.0243941639119702  # t, 38 degrees of freedom, 97.5 %
    slope = np.array([0.0, 1.0])
    assert fit.mean(slope) == pytest.approx(plain.params[1], rel=1e-10)
    assert fit.interval(slope) == pytest.approx((plain.params[1] - half, plain.params[1] + half), rel=1e-8)


def test_one_noise_with_memory_is_statsmodels_gls():
    rng = np.random.default_rng(3)
    t = np.arange(50.0)
    x = np.column_stack([np.ones(50), t])
    y = x @ [1, 0.1] + rng.standard_normal(50)
    memory = 0.7 ** np.abs(np.subtract.outer(t, t))
    theirs = GLS(y, x, sigma=memory).fit()
    ours = correlated_regression(y, x, np.ones(49), [Noise(0.7, 0.0)])
    assert ours.beta[0] == pytest.approx(theirs.params, rel=1e-9)
    assert np.sqrt(np.diag(ours.covariance[0])) == pytest.approx(theirs.bse, rel=1e-9)


def test_noises_weigh_by_their_restricted_likelihoods():
    """By whole matrices: |V|^-1/2 |X' V^-1 X|^-1/2 r^-(n - p)/2, r what generalised least squares leave."""
    t = np.arange(24.0)
    x, y = np.column_stack([np.ones(24), t]), np.cumsum(np.sin(t * 9)) + 0.1 * t
    noises, logs = [Noise(0.3, 0.0), Noise(0.6, 0.2), Noise(0.8, 0.4)], []
    for noise in noises:
        v = (1 - noise.white) * noise.phi ** np.abs(np.subtract.outer(t, t)) + noise.white * np.eye(24)
        left = GLS(y, x, sigma=v).fit().ssr
        inner = np.linalg.slogdet(x.T @ np.linalg.solve(v, x))[1]
        logs.append(-0.5 * (np.linalg.slogdet(v)[1] + inner + 22 * np.log(left)))
    weight = np.exp(logs) / np.exp(logs).sum()
    (fit,) = least_squares_fits(y[:, None], x, np.ones(23), noises)
    assert fit.weight == pytest.approx(weight)
    assert correlated_regression(y, x, np.ones(23), noises).weight == pytest.approx(weight)


def test_memory_widens_the_interval():
    rng = np.random.default_rng(4)
    t = np.arange(80.0)
    x = np.column_stack([np.ones(80), t])
    noise = np.zeros(80)
    for i in range(1, 80):
        noise[i] = 0.8 * noise[i - 1] + rng.standard_normal()
    fit, plain = correlated_regression(noise, x, np.ones(79)), OLS(noise, x).fit()
    low, high = fit.interval(np.array([0.0, 1.0]))
    assert high - low > 1.5 * 2 * 1.99 * plain.bse[1]
    assert fit.phi > 0.4


def test_what_is_drawn_hangs_on_the_data_alone(monkeypatch):
    """A library may give an eigenvector either sign, and a draw on the edge of two noises falls on either."""
    rng = np.random.default_rng(5)
    x = np.column_stack([np.ones(60), np.arange(60.0)])
    fit = correlated_regression(x @ [1.0, 0.02] + rng.standard_normal(60), x, np.ones(59))
    beta, _, which = fit.draws(50)
    plain = np.linalg.eigh
    monkeypatch.setattr(np.linalg, "eigh", lambda a: (plain(a)[0], -plain(a)[1]))
    assert fit.draws(50)[0] == pytest.approx(beta, rel=1e-9)
    noises = which.astype(np.int64)
    other = noises.copy()
    other[7] = (other[7] + 1) % len(fit.noises)
    drawn, again = (np.concatenate([*fit.offsets(of, 20, 8)]) for of in (noises, other))
    moved = np.flatnonzero((drawn != again).any(axis=0))
    assert moved.tolist() in ([7], [])


def test_drawn_noise_has_the_law_of_both_its_parts():
    """Covariances of 20 points about the level: φ to the points between, and the white share; to 5 standard errors."""
    for noise in (Noise(-0.4, 0.0), Noise(0.6, 0.0), Noise(0.6, 0.4), Noise(0.985, 0.9), Noise(0.9995, 0.3)):
        one = np.ones(1)
        fit = CorrelatedFit((noise,), one, np.zeros((1, 1)), np.ones((1, 1, 1)), one, 50 * one, 0.0, 0.0)
        n, at = 40_000, np.arange(20)
        drawn = np.concatenate([*fit.offsets(np.zeros(n, dtype=np.int64), at.size, 8)]).T * fit.sd()
        lag, so_far = np.abs(np.subtract.outer(at, at)), np.minimum.outer(at, at) + 1
        wanders = (1 - noise.phi ** (2 * so_far)) if noise.phi >= SLOW else 1.0
        law = (1 - noise.white) * noise.phi**lag * wanders + noise.white * np.eye(at.size)
        error = np.sqrt((law**2 + np.outer(np.diag(law), np.diag(law))) / n)
        assert np.abs((drawn.T @ drawn / n - law) / error).max() < 5


def test_too_few_points_are_refused():
    with pytest.raises(MeasureError, match="3 points for 2"):
        correlated_regression(np.arange(3.0), np.column_stack([np.ones(3), np.arange(3.0)]), np.ones(2))


def test_columns_that_depend_on_each_other_are_refused():
    t = np.arange(20.0)
    with pytest.raises(MeasureError, match="independent columns"):
        correlated_regression(t, np.column_stack([np.ones(20), t, 2 * t]), np.ones(19))


def test_noises_that_are_left_out_of_many_points_would_weigh_next_to_nothing():
    """Memory of 0.6 with a third of white noise on it, 700 points: those kept have all of the whole grid's weight."""
    rng = np.random.default_rng(8)
    y = np.zeros(700)
    for k in range(1, 700):
        y[k] = 0.6 * y[k - 1] + rng.normal(0, 0.8)
    y, x, steps = y + rng.normal(0, 0.7, 700), np.ones((700, 1)), np.ones(699)
    grid = tuple(noise for noise in NOISES if noise.phi <= 0.9)
    kept = _near_best(y, x, steps, grid)
    (whole,) = least_squares_fits(y[:, None], x, steps, grid)
    assert len(kept) < len(grid)
    assert sum(weight for noise, weight in zip(grid, whole.weight, strict=True) if noise in kept) > 0.98


@pytest.mark.parametrize(("ratio", "kept"), [(0.045, False), (0.055, True)])
def test_a_level_that_wanders_is_left_out_where_it_is_a_twentieth_as_likely(ratio: float, kept: bool) -> None:
    """Two noises that stay and one that wanders, which comes before in three cases of four."""
    grid, likelihood = (Noise(0.0, 0.0), Noise(0.5, 0.0), Noise(0.99, 0.0)), np.array([[0.5], [1.5], [ratio]])
    prior = np.array([0.125, 0.125, 0.75])
    for careful in (True, False):
        expected = prior * likelihood[:, 0] * [1, 1, kept or careful]
        assert _weights(grid, np.log(likelihood), careful)[:, 0] == pytest.approx(expected / expected.sum())


@pytest.mark.parametrize(("ratio", "kept"), [(0.23, False), (0.27, True)])
def test_a_change_of_slope_is_left_out_where_it_is_a_quarter_as_likely(ratio: float, kept: bool) -> None:
    """None, or one at either of two places, which comes before in 35 cases of 100."""
    likelihood = np.array([[1.0, 0.5 * ratio, 1.5 * ratio]])
    expected = np.array([0.65, 0.175, 0.175]) * likelihood[0] * [1, kept, kept]
    assert _weights((Noise(0.0, 0.0),), np.log(likelihood), False)[0] == pytest.approx(expected / expected.sum())
