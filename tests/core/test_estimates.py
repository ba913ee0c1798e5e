"""Estimates as bounds: interval arithmetic by hand, what is open stays open, and what a reason does."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from lineview.core.errors import MeasureError, check_positive
from lineview.core.estimate import Estimate
from lineview.core.figure import Figure

A = Estimate(10.0, 8.0, 13.0, 5, interval="bounds")
B = Estimate(4.0, 3.0, 6.0, 2)
OPEN = Estimate(1.0, None, 2.0, 3)
UNKNOWN = Estimate.unknown("no counter", 4)


def parts(estimate: Estimate) -> tuple[object, ...]:
    return estimate.value, estimate.low, estimate.high, estimate.n, estimate.interval, estimate.why_none


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (lambda: A + B, (14.0, 11.0, 19.0, 7, "bounds", "")),
        (lambda: B + A, (14.0, 11.0, 19.0, 7, "bounds", "")),
        (lambda: A - B, (6.0, 2.0, 10.0, 5, "bounds", "")),
        (lambda: B - A, (-6.0, -10.0, -2.0, 5, "bounds", "")),
        (lambda: A + OPEN, (11.0, None, 15.0, 8, "bounds", "")),
        (lambda: A - OPEN, (9.0, 6.0, None, 5, "bounds", "")),
        (lambda: A + UNKNOWN, (None, None, None, 9, "bounds", "no counter")),
        (lambda: UNKNOWN - A, (None, None, None, 5, "bounds", "no counter")),
        (lambda: A.scaled(3.0), (30.0, 24.0, 39.0, 5, "bounds", "")),
        (lambda: A.scaled(-2.0), (-20.0, -26.0, -16.0, 5, "bounds", "")),
        (lambda: A.scaled(0.0), (0.0, 0.0, 0.0, 5, "bounds", "")),
        (lambda: OPEN.scaled(-1.0), (-1.0, -2.0, None, 3, "", "")),
        (lambda: Estimate.sum([A, B, B]), (18.0, 14.0, 25.0, 9, "bounds", "")),
        (lambda: Estimate.sum([]), (0.0, 0.0, 0.0, 0, "", "")),
        (lambda: Estimate.exact(7.0), (7.0, 7.0, 7.0, 0, "", "")),
    ],
)
def test_ends_add_as_intervals_do(found: Callable[[], Estimate], expected: tuple[object, ...]) -> None:
    assert parts(found()) == expected


def test_what_is_known_of_a_value_and_its_ends() -> None:
    assert (A.least, Estimate(None, 3.0, 9.0).least, UNKNOWN.least) == (10.0, 3.0, 0.0)
    assert (A.ends, OPEN.ends) == ((8.0, 13.0), (-float("inf"), 2.0))
    assert A.number == 10.0
    with pytest.raises(ValueError, match="no counter"):
        _ = UNKNOWN.number
    assert Figure("set_per_min", "set rate", 340.0).n == 0  # nobody counted for it


def test_a_part_of_one_is_above_nought_and_all_that_is_not_is_named() -> None:
    check_positive(share=0.05)
    with pytest.raises(MeasureError) as error:
        check_positive(rate=0.0, share=float("nan"), length=2.0)
    assert [fault.where for fault in error.value.faults] == ["rate", "share"]
