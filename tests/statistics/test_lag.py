"""The delay between two series."""

from __future__ import annotations

import numpy as np

from lineview.statistics.lag import best_lag


def made(n: int, noise: float, delay: int = 4, seed: int = 1) -> tuple[np.ndarray, list[np.ndarray]]:
    rng = np.random.default_rng(seed)
    series = np.convolve(rng.normal(0, 1, n + 100), np.ones(3) / 3, mode="same")
    values = series[50 - delay : 50 - delay + n] + rng.normal(0, noise, n)
    return values, [series[50 - d : 50 - d + n] for d in range(12)]


def test_a_delay_in_strong_signal_is_found_and_bounded() -> None:
    values, sampled = made(200, 0.3)
    found = best_lag(
        np.arange(200.0), values, np.repeat(np.arange(20), 10), sampled, [float(d) for d in range(12)]
    )
    assert found.clear
    assert (found.lag, found.low <= 4 <= found.high) == (4.0, True)


def test_noise_alone_is_not_called_clear() -> None:
    clear = 0
    for seed in range(100):
        values, sampled = made(60, 50.0, seed=seed)
        clear += best_lag(
            np.arange(60.0), values, np.repeat(np.arange(6), 10), sampled, [float(d) for d in range(12)]
        ).clear
    assert clear <= 4


def test_group_means_do_not_make_a_delay() -> None:
    rng = np.random.default_rng(3)
    groups = np.repeat(np.arange(30.0), 5)
    level = rng.normal(0, 5, 30)[groups.astype(int)]
    sampled = [level + rng.normal(0, 1, 150) for _ in range(12)]
    found = best_lag(
        np.arange(150.0), level + rng.normal(0, 1, 150), groups, sampled, [float(d) for d in range(12)]
    )
    assert not found.clear


def test_few_values_or_a_perfect_fit_are_no_trouble() -> None:
    x = np.arange(9.0)
    found = best_lag(x, x, np.repeat(np.arange(3.0), 3), [x, x], [0.0, 5.0])
    assert found.n == 6 and found.clear
    assert best_lag(x[:4], x[:4], x[:4], [x[:4]], [0.0]).n == 0
    assert not best_lag(x, x, np.zeros(9), [np.full(9, np.nan)], [0.0]).clear
