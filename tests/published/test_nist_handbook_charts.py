"""NIST/SEMATECH e-Handbook of Statistical Methods (2012): control charts, sections 6.3.2 and 6.3.3 (read)."""

import numpy as np
import pytest

from lineview.stats.control_charts import control_constants, individuals_limits
from lineview.stats.run_lengths import ewma

CUSUM_X = [324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625,
           325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35]  # fmt: skip
EWMA_X = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2,
52.6,
          52.4, 53.6, 52.1]  # fmt: skip


def test_6_3_2_4_ewma():
    chart = ewma(np.array(EWMA_X), smoothing=0.3, centre=50, sd=2.0539, width=3, exact=False)
    printed = [50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52,
    50.05,
               49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
    assert chart.value == pytest.approx(printed, abs=0.0051)
    assert chart.high[-1] == pytest.approx(52.5884, abs=1e-4)
    assert chart.low[-1] == pytest.approx(47.4115, abs=1.1e-4)  # the page cuts 47.41157 short
    assert not chart.outside.any()


def test_6_3_2_2_individuals():
    single, moving = individuals_limits(np.array(EWMA_X[10:]))
    assert single.centre == pytest.approx(50.81, abs=1e-9)
    assert moving.centre == pytest.approx(1.8778, abs=6e-5)
    assert (single.high, single.low) == pytest.approx((55.8041, 45.8159), abs=6e-5)


def test_6_3_2_constants():
    d2 = [1.128, 1.693, 2.059, 2.326, 2.534, 2.704, 2.847, 2.97, 3.078, 3.173, 3.258, 3.336, 3.407, 3.472,
    3.532,
          3.588, 3.64, 3.689, 3.735, 3.778, 3.819, 3.858, 3.895, 3.931]  # fmt: skip
    d3 = [0.8525033, 0.8883697, 0.8798108, 0.8640855, 0.8480442, 0.8332108, 0.8198378, 0.8078413, 0.7970584,
          0.787323, 0.7784873, 0.7704257, 0.763033, 0.7562217, 0.7499188, 0.7440627, 0.7386021, 0.7334929,
          0.728698, 0.7241851, 0.7199267, 0.7158987, 0.7120802, 0.7084528]  # fmt: skip
    constants = [control_constants(n) for n in range(2, 26)]
    assert [k.d2 for k in constants] == pytest.approx(d2, abs=0.00051)
    assert [k.d3 for k in constants] == pytest.approx(d3, abs=1.6e-5)  # the package's own error is 1e-5
    lower = [0, 0, 0, 0, 0, 0.076, 0.136, 0.184, 0.223]
    upper = [3.267, 2.575, 2.282, 2.115, 2.004, 1.924, 1.864, 1.816, 1.777]
    assert [k.range_limits[0] for k in constants[:9]] == pytest.approx(lower, abs=0.00051)
    assert [k.range_limits[1] for k in constants[:9]] == pytest.approx(upper, abs=0.00051)
    assert constants[8].c4 == pytest.approx(0.9727, abs=5e-5)
