"""Non-negative least squares: the free fit where that is positive, and coverage at uneven spread."""

import numpy as np
import pytest

from lineview.core.errors import MeasureError
from lineview.stats.least_squares import nonnegative_fit


def test_equals_least_squares_where_no_coefficient_is_negative() -> None:
    rng = np.random.default_rng(1)
    x = rng.poisson(3, (60, 3)).astype(float)
    y = x @ np.array([1.0, 2.0, 0.5]) + rng.normal(0, 0.3, 60)
    fit = nonnegative_fit(x, y)
    assert fit.coefficients == pytest.approx(np.linalg.lstsq(x, y, rcond=None)[0], rel=1e-9)


def test_a_negative_coefficient_becomes_0_and_its_interval_starts_there() -> None:
    rng = np.random.default_rng(2)
    x = rng.poisson(3, (60, 2)).astype(float)
    fit = nonnegative_fit(x, x @ np.array([1.0, -0.5]) + rng.normal(0, 0.3, 60))
    assert fit.coefficients[1] == 0
    assert (fit.low[1], fit.high[1]) == (0, 0)


def test_intervals_cover_where_few_uneven_rows_bear_on_a_coefficient() -> None:
    hits = 0
    for seed in range(300):
        rng = np.random.default_rng(seed)
        rare = rng.poisson(0.7, 60).astype(float)
        x = np.column_stack([np.ones(60), rare])
        y = x @ np.array([2.0, 1.2]) + rng.normal(0, 0.05, 60) + np.sqrt(rare) * rng.normal(0, 0.4, 60)
        fit = nonnegative_fit(x, y)
        hits += fit.low[1] <= 1.2 <= fit.high[1]
    print(f"covered in {hits} of 300")
    assert 0.92 <= hits / 300 <= 0.99


def test_causes_that_cannot_be_told_apart_and_too_few_rows_are_faults() -> None:
    with pytest.raises(MeasureError, match="two causes always come together"):
        nonnegative_fit([[1, 2], [2, 4], [3, 6]], [1, 2, 3])
    with pytest.raises(MeasureError, match="2 rows for 2 causes"):
        nonnegative_fit([[1, 2], [2, 5]], [1, 2])


@pytest.mark.parametrize("unit", [1e-3, 1e3])
def test_a_group_without_spread_weighs_the_same_in_every_unit(unit: float) -> None:
    """Five rows on the line and ten about it, in any unit."""
    x = np.column_stack([np.ones(15), np.repeat([0.0, 1.0], [5, 10])])
    y = np.concatenate([np.full(5, 2.0), 3.0 + np.tile([-0.5, 0.5], 5)])
    groups = np.repeat([0, 1], [5, 10])
    one, other = nonnegative_fit(x, y, groups=groups), nonnegative_fit(x, unit * y, groups=groups)
    assert one.coefficients == pytest.approx([2.0, 1.0])
    assert 1.0 < one.high[1] < 2.0
    assert other.high == pytest.approx(unit * one.high)
    assert other.low == pytest.approx(unit * one.low)


@pytest.mark.parametrize("alone", [0, 1, 2])
def test_a_coefficient_that_rests_on_one_row_has_no_upper_limit(alone: int) -> None:
    """That row is fitted exactly: with rounding for what is left over it had an end of 1e149, or none, or failed."""
    columns = [np.ones(30), np.r_[np.zeros(29), 3.0], np.r_[np.zeros(28), 2.0, 1.0]][: alone + 1]
    x = np.column_stack([*columns[:1], *columns[1:], np.eye(30)[0]])
    fit = nonnegative_fit(x, x.sum(axis=1) + np.random.default_rng(1).normal(0, 0.1, 30))
    assert (fit.df[-1], fit.high[-1], fit.low[-1]) == (0.0, np.inf, 0.0)
    assert fit.df[0] > 25 and np.isfinite(fit.high[0])


def test_a_design_with_a_gap_is_refused_by_name() -> None:
    """Its rank was asked for all the same, which ended in an error of numpy's."""
    with pytest.raises(MeasureError, match="missing or infinite"):
        nonnegative_fit([[1, 0], [1, np.nan], [1, 2], [1, 3]], [2.0, 1.9, 2.1, 1.8])
