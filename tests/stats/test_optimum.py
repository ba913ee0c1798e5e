"""Roots, least values and splines against scipy, which takes too long to import for answers."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq, minimize

from lineview.core.errors import MeasureError
from lineview.stats.optimum import least_value, root_between
from lineview.stats.run_lengths import WIDTHS, joint_widths


@pytest.mark.parametrize(
    ("f", "low", "high"),
    [
        (lambda x: x**3 - 2 * x - 5, 2.0, 3.0),
        (lambda x: np.cos(x) - x, 0.0, 1.0),
        (lambda x: np.exp(-x) - 1e-6, 0.0, 40.0),
        (lambda x: 1.0 if x > 0.7 else -1.0, 0.0, 1.0),
    ],
    ids=["cubic", "cosine", "decay", "jump"],
)
def test_a_root_is_the_one_that_scipy_gives(f, low, high):
    assert root_between(f, low, high) == pytest.approx(brentq(f, low, high), rel=1e-9, abs=1e-9)


def test_a_function_of_one_sign_has_no_root():
    with pytest.raises(MeasureError, match="no change of sign"):
        root_between(lambda x: x**2 + 1, -1.0, 1.0)


@pytest.mark.parametrize("start", [[-1.2, 1.0], [0.0, 0.0], [3.0, -2.0]])
def test_a_least_value_lies_where_scipy_finds_it(start):
    def hollow(x):
        a, b = x[..., 0], x[..., 1]
        return 40 * np.log(np.exp(a) + 0.3) + 9 * np.exp(-a) + 12 * np.log(np.exp(b) + np.exp(a)) + 7 * np.exp(-b)

    reference = minimize(hollow, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-13})
    assert least_value(hollow, np.array(start)) == pytest.approx(reference.x, abs=1e-6)


def test_a_curved_valley_is_followed_to_its_end():
    def valley(x):
        return 100 * (x[..., 1] - x[..., 0] ** 2) ** 2 + (1 - x[..., 0]) ** 2

    assert least_value(valley, np.array([-1.2, 1.0])) == pytest.approx([1.0, 1.0], abs=1e-6)


def test_a_function_that_falls_for_ever_has_no_least_value():
    for f in (lambda x: x[..., 0], lambda x: np.exp(x[..., 0]), lambda x: -(x[..., 0] ** 2)):
        assert least_value(f, np.array([0.0])) is None


@pytest.mark.parametrize("run_length", [20, 37, 370.4, 865, 12_345, 99_999, 100_000])
def test_widths_lie_on_the_cubic_spline_through_the_table(run_length):
    points, *widths = np.array(WIDTHS).T
    reference = CubicSpline(np.log(points), np.column_stack(widths))(np.log(run_length))
    assert joint_widths(run_length) == pytest.approx(tuple(reference), rel=1e-12)
