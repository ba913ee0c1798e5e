"""JCGM 100:2008 (GUM), annexes H.1 and H.2 (partly from memory)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lineview.statistics.uncertainty import (
    Input,
    arcsine,
    means_with_correlation,
    propagate,
    rectangular,
    result_correlation,
    second_order_u,
)

V = [5.007, 4.994, 5.005, 4.990, 4.999]
I_MA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def end_gauge(x: np.ndarray) -> float:
    """Give the length [nm]: l_S + d - l_S (δα θ + α_S δθ)."""
    l_s, d0, d1, d2, d_alpha, theta_mean, theta_swing, alpha_s, d_theta = x
    return float(l_s + d0 + d1 + d2 - l_s * (d_alpha * (theta_mean + theta_swing) + alpha_s * d_theta))


INPUTS = [
    Input(50000623, 25, 18),
    Input(215, 5.8, 24),
    Input(0, 3.9, 5),
    Input(0, 6.7, 8),
    Input(0, rectangular(1e-6), 50),
    Input(-0.1, 0.2),
    Input(0, arcsine(0.5)),
    Input(11.5e-6, rectangular(2e-6)),
    Input(0, rectangular(0.05), 2),
]


def test_h1_end_gauge() -> None:
    found = propagate(end_gauge, INPUTS)
    assert found.value / 1e6 == pytest.approx(50.000838, abs=1e-9)
    assert found.u == pytest.approx(32, abs=0.51)
    assert math.floor(found.df) == 16
    k, expanded = found.expanded(0.99)
    assert k == pytest.approx(2.92, abs=0.0051)
    assert expanded == pytest.approx(93, abs=0.6)


def test_h1_the_comparators_part() -> None:
    found = propagate(lambda x: float(x.sum()), INPUTS[1:4])
    assert found.u == pytest.approx(9.7, abs=0.051)
    assert found.df == pytest.approx(25.6, abs=0.2)


def test_h1_second_order_terms() -> None:
    assert second_order_u(end_gauge, INPUTS) == pytest.approx(34, abs=0.51)


def test_h2_resistance_and_reactance() -> None:
    amperes = [i / 1000 for i in I_MA]
    inputs, r = means_with_correlation([V, amperes, PHI])
    assert [i.value for i in inputs] == pytest.approx([4.9990, 0.019661, 1.04446], abs=6e-6)
    assert [i.u for i in inputs] == pytest.approx([0.0032, 0.0000095, 0.00075], abs=6e-5)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.0051)
    models = [
        lambda x: float(x[0] / x[1] * np.cos(x[2])),
        lambda x: float(x[0] / x[1] * np.sin(x[2])),
        lambda x: float(x[0] / x[1]),
    ]
    found = [propagate(m, inputs, r) for m in models]
    assert [f.value for f in found] == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert [f.u for f in found] == pytest.approx([0.071, 0.295, 0.236], abs=7e-4)
    results = result_correlation(models, inputs, r)
    assert [results[0, 1], results[0, 2], results[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=6e-4)
