"""Orders go out on working days, and one quantity is told everywhere."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from lineview.order.supplier_orders import working_day
from lineview.report.show import sentence_list

ZONE = ZoneInfo("Europe/Berlin")
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri")
FRIDAY = datetime(2026, 6, 12, 8, tzinfo=UTC)


@pytest.mark.parametrize(("day", "expected"), [(12, 12), (13, 12), (14, 12), (15, 15), (20, 19), (21, 19)])
def test_a_weekend_moves_to_the_friday_before(day: int, expected: int) -> None:
    at = datetime(2026, 6, day, 9, tzinfo=UTC)
    assert working_day(at, FRIDAY, WEEKDAYS, ZONE).day == expected


def test_the_zone_of_the_works_says_which_day_it_is() -> None:
    sunday_night = datetime(2026, 6, 14, 22, 30, tzinfo=UTC)  # Monday 00:30 in Berlin
    assert working_day(sunday_night, FRIDAY, WEEKDAYS, ZONE) == sunday_night


def test_nothing_moves_before_now_nor_later() -> None:
    saturday = datetime(2026, 6, 13, 8, tzinfo=UTC)
    sunday = datetime(2026, 6, 14, 8, tzinfo=UTC)
    assert working_day(sunday, saturday, WEEKDAYS, ZONE) == saturday
    late = datetime(2026, 6, 10, 8, tzinfo=UTC)
    assert working_day(late, saturday, WEEKDAYS, ZONE) == late


def test_a_works_without_shifts_orders_on_any_day() -> None:
    sunday = datetime(2026, 6, 14, 9, tzinfo=UTC)
    assert working_day(sunday, FRIDAY, (), ZONE) == sunday


def test_names_are_listed_as_a_sentence_does() -> None:
    assert [sentence_list(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "", "a", "a and b", "a, b and c"
    ]  # fmt: skip
