"""Batches to notice a drift: our charts beside published EWMA and CUSUM charts and a simulated GLR."""

from __future__ import annotations

import numpy as np
import pytest

from lineview.stats.run_lengths import joint_widths
from tests.stats.test_joint_run_lengths import simulated

#: Zou, Liu and Wang (2009) table 1 as the R package spc reprints it: one-sided charts, 1730 points to a false
#: alarm; EWMA with lambda 0.03479, 0.11125, 0.23052 and CUSUM with k 0.25, 0.5, 0.75.
PUBLISHED = {
    0.0005: (317, 377, 440, 345, 412, 470),
    0.001: (215, 253, 297, 231, 275, 317),
    0.005: (83.6, 92.6, 106, 86.6, 98.6, 112),
    0.01: (55.6, 58.8, 66.1, 56.9, 61.8, 69.3),
    0.05: (22.6, 21.1, 22.0, 22.6, 21.6, 22.7),
    0.1: (15.5, 13.9, 13.8, 15.4, 14.7, 14.2),
    0.5: (6.65, 5.56, 5.09, 6.60, 5.54, 5.17),
    1.0: (4.67, 3.83, 3.43, 4.63, 3.80, 3.45),
    2.0: (3.21, 2.74, 2.32, 3.17, 2.67, 2.32),
    3.0: (2.86, 2.06, 1.98, 2.79, 2.04, 1.96),
    4.0: (2.14, 2.00, 1.83, 2.10, 1.98, 1.74),
}
#: Limit of the one-sided GLR chart for linear drift with 1730 points to a false alarm: simulated.
GLR_LIMIT = 3.59


def ours(drift: float, paths: int) -> float:
    """Delay of lineview's charts; two sides with 865 points each are one with 1730."""
    return simulated(joint_widths(1730 / 2), drift, paths, 11)


def generalised_likelihood_ratio(drift: float, paths: int, seed: int, most: int = 600) -> float:
    """Delay of the chart of the largest likelihood ratio over all onsets within a window."""
    rng = np.random.default_rng(seed)
    lag = np.arange(most + 1, dtype=np.float32)
    norm = np.sqrt(np.cumsum(lag.astype(np.float64) ** 2)).astype(np.float32)
    norm[0] = np.inf
    sums, total, t = np.zeros((paths, most + 1), np.float32), 0, 0
    while sums.shape[0]:
        t += 1
        total += sums.shape[0]
        z = rng.standard_normal(sums.shape[0]).astype(np.float32) + np.float32(drift * t)
        sums[:, 1:] = sums[:, :-1]
        sums[:, 0] = 0
        sums += lag * z[:, None]
        sums = sums[(sums / norm).max(axis=1) <= GLR_LIMIT]
    return total / paths


def table(drifts: tuple[float, ...], paths: int) -> list[tuple[float, float, float, float]]:
    rows = []
    for drift in drifts:
        rival = generalised_likelihood_ratio(drift, paths, 7)
        best = min(*PUBLISHED[drift], rival)
        own = ours(drift, 10 * paths)
        rows.append((drift, own, rival, own / best))
        print(f"drift {drift} sd a batch: ours {rows[-1][1]:.1f}, published {PUBLISHED[drift]}, "
              f"GLR {rival:.1f}, ours over the best {rows[-1][3]:.3f}")  # fmt: skip
    return rows


def test_delays_of_the_quicker_drifts():
    assert all(ratio <= 1.10 for *_, ratio in table((0.05, 0.1, 0.5, 1.0, 2.0, 3.0), 300))


@pytest.mark.long
def test_delays_of_all_drifts():
    assert all(ratio <= 1.10 for *_, ratio in table(tuple(PUBLISHED), 1500))
