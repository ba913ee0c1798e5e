"""NIST Statistical Reference Datasets, linear regression: certified values (NoInt, part of Longley: memory)."""

from __future__ import annotations

import numpy as np
import pytest

from lineview.statistics.least_squares import LeastSquares, least_squares

# fmt: off
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8,
    339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9,
    10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
]
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9,
    338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0,
    11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
]
LONGLEY_Y = [
    60323, 61122, 60171, 61187, 63221, 63639, 64989, 63761, 66019, 67857, 68169, 66513, 68655, 69564,
    69331, 70551,
]
LONGLEY_X = [
    [83.0, 234289.0, 2356.0, 1590.0, 107608.0, 1947.0],
    [88.5, 259426.0, 2325.0, 1456.0, 108632.0, 1948.0],
    [88.2, 258054.0, 3682.0, 1616.0, 109773.0, 1949.0],
    [89.5, 284599.0, 3351.0, 1650.0, 110929.0, 1950.0],
    [96.2, 328975.0, 2099.0, 3099.0, 112075.0, 1951.0],
    [98.1, 346999.0, 1932.0, 3594.0, 113270.0, 1952.0],
    [99.0, 365385.0, 1870.0, 3547.0, 115094.0, 1953.0],
    [100.0, 363112.0, 3578.0, 3350.0, 116219.0, 1954.0],
    [101.2, 397469.0, 2904.0, 3048.0, 117388.0, 1955.0],
    [104.6, 419180.0, 2822.0, 2857.0, 118734.0, 1956.0],
    [108.4, 442769.0, 2936.0, 2798.0, 120445.0, 1957.0],
    [110.8, 444546.0, 4681.0, 2637.0, 121950.0, 1958.0],
    [112.6, 482704.0, 3813.0, 2552.0, 123366.0, 1959.0],
    [114.2, 502601.0, 3931.0, 2514.0, 125368.0, 1960.0],
    [115.7, 518173.0, 4806.0, 2572.0, 127852.0, 1961.0],
    [116.9, 554894.0, 4007.0, 2827.0, 130081.0, 1962.0],
]
# fmt: on


def uncentred_r2(fit: LeastSquares, y: list[float]) -> float:
    return 1 - float(np.sum(fit.residuals**2)) / float(np.sum(np.square(y)))


def test_norris() -> None:
    fit = least_squares(np.array(NORRIS_Y), np.column_stack([np.ones(36), NORRIS_X]))
    assert fit.beta == pytest.approx(np.array([-0.262323073774029, 1.00211681802045]), rel=1e-9)
    assert fit.sd == pytest.approx(np.array([0.232818234301152, 0.429796848199937e-03]), rel=1e-9)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.r2 == pytest.approx(0.999993745883712, rel=1e-9)


def test_noint1_from_memory() -> None:
    y = list(range(130, 141))
    fit = least_squares(np.array(y, float), np.arange(60.0, 71.0)[:, None])
    assert fit.beta[0] == pytest.approx(2.07438016528926, rel=1e-12)
    assert fit.sd[0] == pytest.approx(0.0165289256198347, rel=1e-12)
    assert fit.residual_sd == pytest.approx(3.56753034006338, rel=1e-12)
    assert uncentred_r2(fit, y) == pytest.approx(0.999365492298663, rel=1e-12)


def test_noint2_from_memory() -> None:
    y = [3, 4, 4]
    fit = least_squares(np.array(y, float), np.array([[4.0], [5.0], [6.0]]))
    assert fit.beta[0] == pytest.approx(0.727272727272727, rel=1e-12)
    assert fit.sd[0] == pytest.approx(0.0420827318078432, rel=1e-12)
    assert fit.residual_sd == pytest.approx(0.369274472937998, rel=1e-12)
    assert uncentred_r2(fit, y) == pytest.approx(0.993348115299335, rel=1e-12)


def test_longley() -> None:
    """Columns so alike that careless doubles lose half the digits."""
    fit = least_squares(np.array(LONGLEY_Y, float), np.column_stack([np.ones(16), LONGLEY_X]))
    certified = [
        -3482258.63459582, 15.0618722713733, -0.358191792925910e-01, -2.02022980381683, -1.03322686717359,
        -0.511041056535807e-01, 1829.15146461355,
    ]  # fmt: skip
    assert fit.beta == pytest.approx(np.array(certified), rel=1e-9)
    assert fit.residual_sd == pytest.approx(304.854073561965, rel=1e-9)
    assert fit.r2 == pytest.approx(0.995479004577296, rel=1e-9)
