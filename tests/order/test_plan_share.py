"""A week's plan falls on its planned minutes, not on nights and Sundays."""

from datetime import UTC, datetime, time

import polars as pl
import pytest

from lineview.core.frames import PLAN
from lineview.plant import Break, Shift
from lineview.shift.projection import pace_needed_per_min, planned_pieces

SHIFTS = (
    Shift(id="early", start=time(6), end=time(14), breaks=(Break(start=time(9), end=time(9, 30)),)),
    Shift(id="late", start=time(14), end=time(22)),
)
MONDAY, NEXT = datetime(2026, 6, 8, tzinfo=UTC), datetime(2026, 6, 15, tzinfo=UTC)


def plan(pieces: float) -> pl.DataFrame:
    row = {"line": "1", "product": "mint", "start": MONDAY, "end": NEXT, "pieces": pieces}
    return pl.DataFrame([{**row, "intake": 1, "row": 2}], schema=PLAN)


def share(start: datetime, end: datetime) -> float | None:
    return planned_pieces(plan(1550.0), "1", start, end, shifts=SHIFTS, zone="UTC")


def test_an_early_shift_gets_its_planned_minutes_of_the_week() -> None:
    # five days of 7.5 and 8 planned hours: 1550 pieces are 20 an hour
    assert share(datetime(2026, 6, 9, 6, tzinfo=UTC), datetime(2026, 6, 9, 14, tzinfo=UTC)) == pytest.approx(150)
    assert share(datetime(2026, 6, 9, 14, tzinfo=UTC), datetime(2026, 6, 9, 22, tzinfo=UTC)) == pytest.approx(160)


def test_the_whole_week_gets_the_whole_plan_and_another_week_none() -> None:
    assert share(MONDAY, NEXT) == pytest.approx(1550)
    assert share(NEXT, datetime(2026, 6, 16, tzinfo=UTC)) is None


def test_no_pace_is_asked_of_a_rest_that_is_over() -> None:
    assert pace_needed_per_min(1000.0, 900.0, 1e-12) is None
    assert pace_needed_per_min(1000.0, 900.0, 10.0) == 10.0
