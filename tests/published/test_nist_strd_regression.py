"""NIST Statistical Reference Datasets: linear regression, Norris and Longley (read in public packages)."""

import numpy as np
import pytest

from lineview.statistics.least_squares import least_squares
from lineview.statistics.regression_chart import regression_chart

# fmt: off
NORRIS_Y = np.array([
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1,
    668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0,
    998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
])
NORRIS_X = np.array([
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
    666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
    999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
])
LONGLEY_Y = np.array([
    60323.0, 61122.0, 60171.0, 61187.0, 63221.0, 63639.0, 64989.0, 63761.0, 66019.0, 67857.0, 68169.0,
    66513.0,
    68655.0, 69564.0, 69331.0, 70551.0,
])
LONGLEY_X = np.array([
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
])
# fmt: on


def test_norris():
    fit = least_squares(NORRIS_Y, np.column_stack([np.ones(36), NORRIS_X]))
    assert fit.beta == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert fit.sd == pytest.approx([0.232818234301152, 0.000429796848199937], rel=1e-9)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.r2 == pytest.approx(0.999993745883712, abs=1e-9)


def test_norris_as_regression_chart():
    chart = regression_chart(NORRIS_X, NORRIS_Y)
    assert (chart.intercept, chart.slope) == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-9)
    assert chart.high[0] - chart.centre[0] == pytest.approx(3 * 0.884796396144373, rel=1e-9)


def test_longley_partly_from_memory():
    fit = least_squares(LONGLEY_Y, np.column_stack([np.ones(16), LONGLEY_X]))
    certified = [-3482258.63459582, 15.0618722713733, -0.035819179292591, -2.02022980381683,
    -1.03322686717359,
                 -0.0511041056535807, 1829.15146461355]  # fmt: skip
    assert fit.beta == pytest.approx(certified, rel=1e-9)
    assert fit.residual_sd == pytest.approx(304.854073561965, abs=1e-6)
    assert fit.r2 == pytest.approx(0.995479004577296, abs=1e-10)
