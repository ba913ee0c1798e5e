"""R package qcc, vignette (luca-scr/qcc @af35099), on data of Montgomery, Introduction to SQC (read)."""

from math import sqrt

import numpy as np
import pytest
from scipy.stats import norm

from lineview.stats.control_charts import individuals_limits, run_rule_length, subgroup_limits
from tests.published.piston_rings import RINGS, VISCOSITY
from tests.references.western_rules import WESTERN


def test_piston_rings_phase_1():
    means, ranges, sds = subgroup_limits(RINGS[:25])
    assert means.centre == pytest.approx(74.00118, abs=5e-6)
    assert means.sd == pytest.approx(0.009785039, abs=5e-7)  # the package rounds d2 to 2.326
    assert (means.low, means.high) == pytest.approx((73.98805, 74.0143), abs=8e-6)
    assert ranges.centre == pytest.approx(0.02276, abs=1e-9)
    assert ranges.high == pytest.approx(0.04812533, abs=1e-6)  # as above
    assert (sds.centre, sds.sd) == pytest.approx((0.009240037, 0.009829977), abs=6e-9)
    assert sds.high == pytest.approx(0.01930242, abs=6e-9)
    assert means.outside == ()


def test_piston_rings_phase_2():
    means, _, _ = subgroup_limits(RINGS[:25])
    assert [26 + i for i in means.against(RINGS[25:].mean(axis=1))] == [37, 38, 39]


def test_viscosity():
    single, _ = individuals_limits(VISCOSITY[:20])
    assert single.centre == pytest.approx(34.088, abs=5e-6)
    assert single.sd == pytest.approx(0.5076521, abs=6e-8)
    assert (single.low, single.high) == pytest.approx((32.56504, 35.61096), abs=6e-6)
    assert [i + 1 for i in single.outside] == [4]


def test_viscosity_without_batch_4():
    single, _ = individuals_limits(np.delete(VISCOSITY[:20], 3))
    assert single.centre == pytest.approx(33.98947, abs=6e-6)
    assert single.sd == pytest.approx(0.4117415, abs=6e-8)
    assert (single.low, single.high) == pytest.approx((32.75425, 35.2247), abs=6e-6)


@pytest.mark.parametrize(
    ("shift", "betas", "lengths"),
    [
        (0.0, [0.9973] * 5, [370] * 5),
        (0.1, [0.9972, 0.9966, 0.9959, 0.9952, 0.9944], [353, 296, 244, 206, 178]),
        (0.2, [0.9968, 0.9944, 0.9909, 0.9869, 0.9823], [308, 178, 110, 76, 57]),
    ],
)
def test_mean_chart_run_lengths(shift, betas, lengths):
    for n, beta, length in zip((1, 5, 10, 15, 20), betas, lengths, strict=True):
        moved = shift * sqrt(n)
        assert norm.cdf(3 - moved) - norm.cdf(-3 - moved) == pytest.approx(beta, abs=6e-5)
        assert run_rule_length((WESTERN[1],), moved) == pytest.approx(length, abs=0.51)
