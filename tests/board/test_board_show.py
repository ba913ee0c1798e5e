"""Values as a person reads them."""

from datetime import UTC, date, datetime

import pytest

from lineview.core.figure import Figure
from lineview.core.units import in_units
from lineview.report import show
from lineview.report.figures import FigureList
from tests.board import invented_answers as invented

PLANT = invented.plant()
US = invented.plant("US")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"), (117940, "117,940"), (-23100, "−23,100"), (0.0112, "0.0112"), (346.24, "346"),
        (1234.5, "1,234"),
        (-0.00000001, "0.000000"), (float("nan"), "–"), (float("inf"), "–"), (58.94, "58.9"),
    ],
)  # fmt: skip
def test_number(value: float, text: str) -> None:
    assert show.number(value) == text


def test_a_figure_that_cannot_be_told_says_why_and_never_0_or_nan() -> None:
    figures = FigureList(invented.WEEK)
    figures.too_few("level_mm", needs=8, has=3)
    figures.unknown("deviation_mm", "no target")
    assert show.value(figures["level_mm"], PLANT) == "too few: needs 8, has 3"
    assert show.value(figures["deviation_mm"], PLANT) == "not known: no target"
    assert show.value(Figure("a", "a", float("nan"), "mm"), PLANT) == "– mm"


def test_value_and_interval_have_the_same_decimals_and_units() -> None:
    drift = Figure("drift_mm_per_h", "drift", -0.01123, "mm/h", low=-0.01242, high=-0.0094)
    assert show.value(drift, PLANT) == "−0.0112 mm/h"
    assert show.interval(drift, PLANT) == "−0.0124 to −0.0094"
    assert show.value(drift, US) == "−0.000442 in/h"
    assert show.interval(drift, US) == "−0.000489 to −0.000370"


def test_open_intervals() -> None:
    assert show.interval(Figure("a", "a", 34.0, "h", low=29.0), PLANT).startswith("at least 29")
    assert show.interval(Figure("a", "a", 34.0, "h", high=41.0), PLANT).startswith("at most 41")
    assert show.interval(Figure("a", "a", 34.0, "h", low=29.0, high=float("inf")), PLANT).startswith("at least")
    assert show.interval(Figure("a", "a", 34.0, "h"), PLANT) == ""


def test_moments_are_in_the_plants_zone_with_the_month_as_a_word() -> None:
    at = datetime(2026, 6, 9, 12, 5, tzinfo=UTC)
    assert show.moment(at, PLANT) == "Tue 9 June, 14:05"
    assert show.moment(at, US) == "Tue, June 9, 2:05 PM"
    assert show.moment(datetime(2026, 6, 8, 22, 0, tzinfo=UTC), US, day=False) == "12:00 AM"
    assert show.a_day(date(2026, 3, 4), PLANT, year=True) == "Wed 4 March 2026"
    assert show.a_day(date(2026, 3, 4), US, year=True) == "Wed, March 4, 2026"
    assert show.period(invented.EARLY, PLANT) == "Tue 9 June, 06:00 to 14:00"


def test_cells_and_columns() -> None:
    assert show.cell(None, "g", PLANT) == "–"
    assert show.cell(True, "", PLANT) == "yes"
    assert show.cell(28.349523125, "g", US) == "1"
    assert show.cell(date(2026, 6, 9), "", PLANT) == "Tue 9 June"
    assert show.column_decimals([-0.011, 0.035, 0.006], "mm", PLANT) == 3
    assert show.column_decimals([3, 4.0, None], "", PLANT) == 0
    assert show.column_decimals(["a", None], "", PLANT) is None
    assert show.column_decimals([float("nan")], "", PLANT) is None


def test_units_invert_below_the_line() -> None:
    assert in_units(2.0, "EUR/kg", "US") == (pytest.approx(0.90718474), "EUR/lb")
    assert in_units(0.018, "mm/°C", "US") == (pytest.approx(0.018 / 25.4 / 1.8), "in/°F")
    assert in_units(7.0, "pieces/min", "US") == (7.0, "pieces/min")
    assert in_units(7.0, "mm", "metric") == (7.0, "mm")
