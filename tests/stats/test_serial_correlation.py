"""The delay between two series, and sums that decay."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import binom

from lineview.stats.serial_correlation import best_lag, decaying_sum, ripple_at


def delayed_series(n: int, noise: float, delay: int = 4, seed: int = 1) -> tuple[np.ndarray, list[np.ndarray]]:
    rng = np.random.default_rng(seed)
    series = np.convolve(rng.normal(0, 1, n + 100), np.ones(3) / 3, mode="same")
    values = series[50 - delay : 50 - delay + n] + rng.normal(0, noise, n)
    return values, [series[50 - d : 50 - d + n] for d in range(12)]


def test_a_delay_in_strong_signal_is_found_and_bounded() -> None:
    values, sampled = delayed_series(200, 0.3)
    lag = best_lag(values, np.repeat(np.arange(20), 10), sampled, [float(d) for d in range(12)])
    assert lag.clear
    assert (lag.lag, lag.low <= 4 <= lag.high) == (4.0, True)


def test_noise_alone_is_not_called_clear() -> None:
    clear = 0
    for seed in range(100):
        values, sampled = delayed_series(60, 50.0, seed=seed)
        clear += best_lag(values, np.repeat(np.arange(6), 10), sampled, [float(d) for d in range(12)]).clear
    assert clear <= 4


def test_group_means_do_not_make_a_delay() -> None:
    rng = np.random.default_rng(3)
    groups = np.repeat(np.arange(30.0), 5)
    level = rng.normal(0, 5, 30)[groups.astype(int)]
    sampled = [level + rng.normal(0, 1, 150) for _ in range(12)]
    lag = best_lag(level + rng.normal(0, 1, 150), groups, sampled, [float(d) for d in range(12)])
    assert not lag.clear


def test_few_values_or_a_perfect_fit_are_no_trouble() -> None:
    x = np.arange(9.0)
    lag = best_lag(x, np.repeat(np.arange(3.0), 3), [x, x], [0.0, 5.0])
    assert lag.n == 6 and lag.clear
    assert best_lag(x[:4], x[:4], [x[:4]], [0.0]).n == 0
    assert not best_lag(x, np.zeros(9), [np.full(9, np.nan)], [0.0]).clear


def test_means_of_several_pieces_count_for_more() -> None:
    """Single noisy values among means of eight: by weight the limits hold the delay and are no wider."""
    rng = np.random.default_rng(8)
    series = np.convolve(rng.normal(0, 1, 300), np.ones(3) / 3, mode="same")
    pieces = np.tile([1.0, 8.0], 100)
    values = series[46:246] + rng.normal(0, 2.0, 200) / np.sqrt(pieces)
    sampled = [series[50 - d : 250 - d] for d in range(12)]
    lags = [float(d) for d in range(12)]
    arguments = (values, np.repeat(np.arange(20.0), 10), sampled, lags)
    plain, weighed = best_lag(*arguments), best_lag(*arguments, pieces)
    assert weighed.clear and weighed.low <= 4 <= weighed.high
    assert weighed.correlation > plain.correlation


def test_limits_allow_for_few_values() -> None:
    """F(0.95; 1, 6) = 5.987 (table 1.3.6.7.3 of the NIST handbook): residuals up to 1.998 times the least."""
    rng = np.random.default_rng(5)
    x = rng.normal(0, 1, 9)
    x -= x.mean()
    off = rng.normal(0, 1, 9)
    off -= off.mean() + (off - off.mean()) @ x / (x @ x) * x
    off /= np.sqrt(off @ off / (x @ x))

    def series(r: float) -> np.ndarray:
        return np.asarray(r * x + np.sqrt(1 - r * r) * off)

    best, inside, outside = 0.8, (1 - 0.36 * 1.99) ** 0.5, (1 - 0.36 * 2.01) ** 0.5
    delayed = [series(r) for r in (outside, inside, best, inside, outside)]
    lag = best_lag(x, np.zeros(9), delayed, [1.0, 2.0, 3.0, 4.0, 5.0])
    assert (lag.low, lag.lag, lag.high) == (2.0, 3.0, 4.0)


@pytest.mark.parametrize("decay", [0.0, 0.6, -0.4, 0.97])
@pytest.mark.parametrize("shape", [(50,), (50, 3)])
def test_a_decaying_sum_is_that_of_the_library_that_takes_too_long_to_import(
    decay: float, shape: tuple[int, ...]
) -> None:
    x = np.random.default_rng(9).normal(0, 1, shape)
    assert decaying_sum(x, decay) == pytest.approx(lfilter([1.0], [1.0, -decay], x, axis=0), abs=1e-12)


@pytest.mark.parametrize("period_s", [4.0, 20.0, 50.0])
def test_a_ripple_in_noise_is_as_rare_as_its_chance_says(period_s: float) -> None:
    """Readings are uniform about 0, which is no noise of the formula's family."""
    rng, seconds, series = np.random.default_rng(8), np.arange(2000.0), 1000
    chances = [ripple_at(seconds, rng.uniform(-1, 1, 2000), period_s).chance for _ in range(series)]
    for stated in (0.02, 0.1):
        least, most = binom.interval(0.999, series, stated)
        assert least <= sum(chance < stated for chance in chances) <= most, stated
