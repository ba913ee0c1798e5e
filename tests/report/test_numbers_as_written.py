"""Numbers, lengths of time and intervals as every page writes them."""

from datetime import UTC, datetime, timedelta

import pytest

from lineview.core.figure import Figure
from lineview.plant import Plant
from lineview.report import show

PLANT = Plant(shop="Invented Sweets", zone="UTC")
AT = datetime(2026, 6, 12, 20, tzinfo=UTC)


@pytest.mark.parametrize(("length", "text"), [(42, "42 s"), (60, "1.0 min"), (90, "1.5 min"), (204, "3.4 min")])
def test_a_length_of_time(length: int, text: str) -> None:
    assert show.minutes(timedelta(seconds=length)) == text


@pytest.mark.parametrize(("hours", "ago"), [(1, ""), (23, ""), (24, "1 day"), (49, "2 days")])
def test_the_last_reading_is_dated_from_a_day_on(hours: int, ago: str) -> None:
    text = show.last_reading(AT, PLANT, AT + timedelta(hours=hours))
    assert ("ago" in text) == bool(ago)
    assert ago in text


@pytest.mark.parametrize(
    ("ends", "places"),
    [
        ((1.0, 0.9, 1.1), 2),  # half-width 0.1: two figures of it
        ((0.0112, 0.0094, 0.0131), 4),
        ((None, 1.0, 3.0), 1),  # two ends alone are an interval too
        ((1.0, 1.0, 1.0), None),
        ((1.0, None, None), None),
    ],
)
def test_the_places_that_an_interval_justifies(ends: tuple[float | None, ...], places: int | None) -> None:
    assert show.decimals_for(*ends) == places


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(0.9, 1.1, "0.90 to 1.10"), (0.9, None, "at least"), (None, 1.1, "at most"), (None, None, "")],
)
def test_an_interval_with_open_ends(low: float | None, high: float | None, text: str) -> None:
    written = show.interval(Figure("mean_g", "mean", 1.0, "g", low=low, high=high), PLANT)
    assert written.startswith(text)
    assert bool(written) == bool(text)


@pytest.mark.parametrize(
    ("amount", "written"), [(352.0, "352 mm"), (12.5, "12.5 mm"), (0.05, "0.05 mm"), (14.0, "14 mm"), (-0.3, "−0.3 mm")]
)
def test_a_value_without_an_interval_is_written_as_it_was_set(amount: float, written: str) -> None:
    assert show.value(Figure("gap_mm", "gap", amount, "mm"), PLANT) == written
