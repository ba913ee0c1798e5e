"""Numbers, lengths of time and intervals as every page writes them."""

from datetime import UTC, datetime, timedelta

import pytest

from lineview.core.figure import Figure, Period
from lineview.core.language import speak, tr
from lineview.plant import Plant
from lineview.report import show
from lineview.report.show import _decimals_for
from lineview.report.tables import frame_words

PLANT = Plant(shop="Invented Sweets", zone="UTC")
AT = datetime(2026, 6, 12, 20, tzinfo=UTC)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"), (1234.0, "1,234"), (12.345, "12.3"), (1.5, "1.50"), (-0.5, "−0.500"), (0.00001234, "0.000012"),
        (-1e-9, "0.000000"), (float("nan"), "–"), (float("inf"), "–"),
    ],
)  # fmt: skip
def test_a_number_has_three_figures_and_six_places_at_most(value: float, text: str) -> None:
    assert show.number(value) == text


@pytest.mark.parametrize(("length", "text"), [(0.5, "30 minutes"), (1.99, "119 minutes"), (2.0, "2 hours")])
def test_hours_are_minutes_below_two(length: float, text: str) -> None:
    assert show.hours(length) == text


@pytest.mark.parametrize(
    ("days", "text"), [(-3, "Tuesday 20:00"), (3, "Monday 20:00"), (4, "16 June 20:00"), (-4, "8 June 20:00")]
)
def test_a_weekday_alone_is_the_nearest_one(days: int, text: str) -> None:
    assert show.moment_near(AT + timedelta(days=days), PLANT, AT) == text


def test_a_year_is_written_where_it_is_not_this_one_and_a_day_where_it_is_asked() -> None:
    assert show.moment_near(AT.replace(year=2027), PLANT, AT) == "12 June 2027 20:00"
    assert show.moment(AT, PLANT) == "Fri 12 June, 20:00"
    assert show.moment(AT, PLANT, year=True, seconds=True) == "Fri 12 June 2026, 20:00:00"
    assert show.a_day(AT.date(), PLANT, long=True) == "Friday 12 June"
    assert show.stretch(AT, AT + timedelta(hours=11.9), PLANT) == "Fri 12 June, 20:00 to 07:54"
    assert show.stretch(AT, AT + timedelta(hours=12), PLANT) == "Fri 12 June, 20:00 to Sat 13 June, 08:00"
    assert show.period(Period(AT, AT + timedelta(hours=8)), PLANT) == "Fri 12 June, 20:00 to Sat 13 June, 04:00"
    assert show.period(Period(AT, AT + timedelta(hours=2)), PLANT) == "Fri 12 June, 20:00 to 22:00"


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
        ((1000.0, 999.99, 1000.01), 1),  # five figures of the largest end
        ((1.0, 1.0, 1.0), None),
        ((1.0, None, None), None),
    ],
)
def test_the_places_that_an_interval_justifies(ends: tuple[float | None, ...], places: int | None) -> None:
    assert _decimals_for(*ends) == places


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(0.9, 1.1, "0.90 to 1.10"), (0.9, None, "at least"), (None, 1.1, "at most"), (None, None, "")],
)
def test_an_interval_with_open_ends(low: float | None, high: float | None, text: str) -> None:
    written = show.interval(Figure("mean_g", "mean", 1.0, "g", low=low, high=high), PLANT)
    assert written.startswith(text)
    assert bool(written) == bool(text)


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (9, 11, "Tue 9 June, 06:00 to Thu 11 June, 06:00"),
        (9, None, "at least"),
        (None, 11, "at most"),
        (None, None, ""),
    ],
)
def test_an_interval_of_moments_with_open_ends(low: int | None, high: int | None, text: str) -> None:
    ends = [None if day is None else datetime(2026, 6, day, 6, tzinfo=UTC) for day in (low, high)]
    written = show.interval(
        Figure("leaves", "leaves", datetime(2026, 6, 10, 6, tzinfo=UTC), low=ends[0], high=ends[1]), PLANT
    )
    assert written.startswith(text)
    assert bool(written) == bool(text)


@pytest.mark.parametrize(
    ("amount", "written"),
    [
        (352.0, "352 mm"), (12.5, "12.5 mm"), (0.05, "0.05 mm"), (14.0, "14 mm"), (-0.3, "−0.3 mm"),
        (0.012345, "0.012345 mm"), (0.0012345, "0.00123 mm"), (12345.0, "12,345 mm"), (0.123456, "0.123 mm"),
    ],
)  # fmt: skip
def test_a_value_without_an_interval_is_written_as_it_was_set(amount: float, written: str) -> None:
    assert show.value(Figure("gap_mm", "gap", amount, "mm"), PLANT) == written


@pytest.mark.parametrize(
    ("message", "amount", "written"),
    [
        ("{x:.1f} kg", 8080.44, "8,080.4 kg"),
        ("{x:+.0f}", 1234.0, "+1,234"),
        ("{x:.4g} reels", 112160.0, "112,160 reels"),
        ("{x:g} mm", 1234.5, "1,234.5 mm"),
        ("{x:.2g}", 0.00001, "1e-05"),
        ("{x:.2f}", -0.146, "−0.15"),
        ("line {x}", 12345, "line 12345"),
    ],
)
def test_a_number_in_a_working_has_the_form_of_a_figure(message: str, amount: float, written: str) -> None:
    assert tr(message, x=amount) == written


def test_per_cent_has_its_gap() -> None:
    assert tr("{share:.1%} of it", share=0.125) == "12.5 % of it"
    speak("de")
    assert tr("{share:.1%} of it", share=0.125) == "12,5\N{NO-BREAK SPACE}% of it"


def test_frames_are_named_in_the_works_language_whichever_was_spoken_first() -> None:
    assert [frame_words(name) for name in ("taken_at", "taper", "no_word_of_ours")] == [
        "taken at",
        "taper",
        "no word of ours",
    ]
    speak("de")
    assert [frame_words(name) for name in ("taken_at", "taper", "low50")] == [
        "eingelesen am",
        "Verjüngung",
        "untere 50\N{NO-BREAK SPACE}%",
    ]
