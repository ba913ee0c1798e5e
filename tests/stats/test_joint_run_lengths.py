"""Two EWMA charts and Shewhart limits together: run length against simulation, widths against run lengths."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy.special import ndtr

from lineview.stats.run_lengths import QUICK, SLOW, WIDTHS, Widths, joint_widths
from tests.references.ewma_run_lengths import ewma_run_length, joint_run_length


def simulated(widths: Widths, drift: float, paths: int, seed: int) -> float:
    """Points until any chart signals, on average; the mean rises by `drift` a point."""
    rng = np.random.default_rng(seed)
    lam = np.array([[SLOW], [QUICK]])
    limit = np.array(widths[:2])[:, None] * np.sqrt(lam / (2 - lam))
    state, total, t = np.zeros((2, paths)), 0, 0
    while state.shape[1]:
        t += 1
        total += state.shape[1]
        z = rng.standard_normal(state.shape[1]) + drift * t
        state = (1 - lam) * state + lam * z
        state = state[:, (np.abs(state) <= limit).all(axis=0) & (np.abs(z) <= widths[2])]
    return total / paths


def test_run_length_is_that_of_simulated_charts():
    for widths in ((1.5, 2.2, 3.1), (2.5, 3.0, 3.6)):
        exact, paths = joint_run_length(widths), 20_000
        assert simulated(widths, 0.0, paths, 4) == pytest.approx(exact, abs=3.5 * exact / sqrt(paths))


def test_one_chart_without_limits_leaves_the_other():
    assert joint_run_length((2.5, 9.0, 9.0), n=24) == pytest.approx(ewma_run_length(SLOW, 2.5), rel=0.004)


@pytest.mark.parametrize(("points", "slow", "quick", "single"), WIDTHS[::3])
def test_widths_have_the_run_length_they_stand_for(points, slow, quick, single):
    assert joint_run_length((slow, quick, single), n=24) == pytest.approx(points, rel=0.003)
    ratio = ewma_run_length(QUICK, quick) / ewma_run_length(SLOW, slow)
    assert ratio == pytest.approx(1.73, abs=0.05)
    assert 1 / (2 * ndtr(-single)) == pytest.approx(10 * ewma_run_length(SLOW, slow), rel=0.02)


@pytest.mark.parametrize("points", [25, 97, 865, 8000])
def test_widths_between_those_listed(points):
    assert joint_run_length(joint_widths(points)) == pytest.approx(points, rel=0.005)
