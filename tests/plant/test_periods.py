"""Words for periods mean the same moments on the board and on the command line, over clock changes too."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest

from lineview.core.errors import AskError
from lineview.core.figure import Period
from lineview.plant import Shift
from lineview.plant.periods import moment, read_period, resolve, shifts_between

BERLIN = ZoneInfo("Europe/Berlin")
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SHIFTS = (
    Shift(id="early", start=time(6), end=time(14), days=DAYS),
    Shift(id="night", start=time(22), end=time(6), days=DAYS),
)


def span(last: str) -> Period:
    end = datetime.fromisoformat(last).replace(tzinfo=BERLIN).astimezone(UTC)
    return Period(datetime(2026, 1, 1, tzinfo=UTC), end)


def hours(period: Period) -> float:
    return (period.end - period.start).total_seconds() / 3600


def meant(name: str, last: str) -> tuple[Period, str]:
    return resolve(read_period(name), SHIFTS, BERLIN, span(last))


def test_last_shift_is_the_one_that_runs_or_ran_last() -> None:
    assert meant("last-shift", "2026-06-09T13:59")[1] == "Tue 9 June, early"
    assert meant("last-shift", "2026-06-09T15:00")[1] == "Tue 9 June, early"
    assert meant("last-shift", "2026-06-10T03:00")[1] == "Tue 9 June, night"


def test_a_shift_that_has_only_just_begun_is_not_the_last_one() -> None:
    some = Period(span("2026-06-08T20:00").start, span("2026-06-09T06:00:30").end)
    assert resolve(read_period("last-shift"), SHIFTS, BERLIN, some)[1] == "Mon 8 June, night"
    only = Period(span("2026-06-09T06:00:00").end, span("2026-06-09T06:00:30").end)
    assert resolve(read_period("last-shift"), SHIFTS, BERLIN, only)[1] == "Tue 9 June, early"


def test_without_shifts_what_was_read_of_the_last_day_is_meant() -> None:
    period, label = resolve(read_period("last-shift"), (), BERLIN, span("2026-06-09T15:00"))
    assert (round(hours(period), 6), label) == (15, "Tue 9 June")


@pytest.mark.parametrize(("day", "expected"), [("2026-10-24", 9), ("2026-10-25", 8), ("2026-03-28", 7)])
def test_a_night_shift_over_a_clock_change_has_its_true_length(day: str, expected: int) -> None:
    assert hours(meant(f"{day}.night", "2026-12-01T00:00")[0]) == expected


def test_days_are_whole_local_days() -> None:
    assert hours(meant("2026-10-25", "2026-12-01T00:00")[0]) == 25
    period, label = meant("2026-06-08..2026-06-09", "2026-12-01T00:00")
    assert (hours(period), label) == (48, "Mon 8 June to Tue 9 June")


def test_a_day_of_another_year_than_the_last_reading_has_its_year() -> None:
    named = ("2026-12-31.night", "2026-12-31..2027-01-01", "2026-W53", "this-week", "2027-01-02")
    assert [meant(name, "2027-01-02T15:00")[1] for name in named] == [
        "Thu 31 December 2026, night",
        "Thu 31 December 2026 to Fri 1 January",
        "Mon 28 December 2026 to Sun 3 January",
        "since Mon 28 December 2026",
        "Sat 2 January",
    ]
    over = Period(datetime(2026, 12, 31, 12, tzinfo=UTC), datetime(2027, 1, 1, 8, tzinfo=UTC))
    labels = [label for _, label, _ in shifts_between(SHIFTS, BERLIN, over)]
    assert labels == ["Thu 31 December 2026, early", "Thu 31 December 2026, night", "Fri 1 January, early"]


@pytest.mark.parametrize(
    "token", ["yesterday", "2026-13-01", "2026-06-09.noon", "2026-06-09..2026-06-08", "", "..", "2026-06-09.."]
)
def test_a_word_that_is_no_period_gets_a_plain_error(token: str) -> None:
    if token == "2026-06-09..":
        assert meant(token, "2026-12-01T00:00")[1] == "Tue 9 June"
        return
    with pytest.raises(AskError):
        meant(token, "2026-12-01T00:00")


def test_a_week_is_its_seven_days_and_has_no_shift_of_its_own() -> None:
    assert read_period("2026-W24") == read_period("2026-06-08..2026-06-14")
    assert read_period("2026-W24..2026-W25") == read_period("2026-06-08..2026-06-21")
    assert read_period("2026-W24-3") == read_period("2026-06-10")
    with pytest.raises(AskError, match="unknown period"):
        read_period("2026-W24.early")


def test_shifts_between_lists_each_once_in_order() -> None:
    last = span("2026-06-09T15:00").end
    listed = shifts_between(SHIFTS, BERLIN, Period(datetime(2026, 6, 8, 3, tzinfo=UTC), last))
    tokens = [token for token, _, _ in listed]
    assert tokens == ["2026-06-07.night", "2026-06-08.early", "2026-06-08.night", "2026-06-09.early"]


def test_moments_are_wall_time_unless_they_say_otherwise() -> None:
    assert moment("2026-06-09 06:00", BERLIN, "--from") == datetime(2026, 6, 9, 4, tzinfo=UTC)
    assert moment("2026-06-09T06:00+00:00", BERLIN, "--from") == datetime(2026, 6, 9, 6, tzinfo=UTC)
    with pytest.raises(AskError, match="--from"):
        moment("teatime", BERLIN, "--from")


@pytest.mark.parametrize(
    ("text", "wall"),
    [
        ("10:30", "2026-06-12 10:30"),
        ("9:05", "2026-06-12 09:05"),
        ("12.06.2026 10:30", "2026-06-12 10:30"),
        ("2.6.2026 9:05", "2026-06-02 09:05"),
        ("02.06.2026", "2026-06-02 00:00"),
    ],
)
def test_a_moment_is_read_as_people_write_it(text: str, wall: str) -> None:
    zone = ZoneInfo("Europe/Berlin")
    now = datetime(2026, 6, 11, 22, 30, tzinfo=UTC)  # half past midnight in Berlin
    assert f"{moment(text, zone, 'when', now).astimezone(zone):%Y-%m-%d %H:%M}" == wall


@pytest.mark.parametrize("text", ["25:00", "10:75", "31.02.2026 10:30", "12.13.2026", "12.06.26", ""])
def test_what_is_no_moment_stays_a_fault(text: str) -> None:
    with pytest.raises(AskError):
        moment(text, ZoneInfo("Europe/Berlin"), "when", datetime(2026, 6, 11, tzinfo=UTC))


def test_a_shift_on_a_day_it_does_not_run_is_refused_with_those_that_do() -> None:
    weekdays = Shift(id="late", start=time(14), end=time(22))
    thursdays = Shift(id="night", start=time(22), end=time(6), days=("thu",))
    last = Period(datetime(2026, 6, 8, tzinfo=UTC), datetime(2026, 6, 12, tzinfo=UTC))
    with pytest.raises(AskError, match="no 'night' shift starts on Mon 8 June") as error:
        resolve(read_period("2026-06-08.night"), (weekdays, thursdays), BERLIN, last)
    assert error.value.faults[0].expected == "one of late"
    period, _ = resolve(read_period("2026-06-11.night"), (weekdays, thursdays), BERLIN, last)
    assert period.start == datetime(2026, 6, 11, 20, tzinfo=UTC)
