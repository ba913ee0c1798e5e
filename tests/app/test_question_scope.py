"""A question is read once, with all that is wrong in it."""

from datetime import UTC, date, datetime

import pytest

from lineview.app.question import QuestionScope, read_question, scope_of
from lineview.core.errors import AskError
from lineview.core.figure import Period
from lineview.plant import Plant
from lineview.plant.periods import Days, ShiftOfDay


def test_texts_become_one_object():
    asked = read_question("shift", "1", "wrap1", "2026-06-09.early", "2026-06-09", "2026-06-09T08:00+02:00")
    assert asked.period == ShiftOfDay(date(2026, 6, 9), "early")
    assert asked.start == datetime(2026, 6, 9)  # noqa: DTZ001  # a wall time
    assert asked.end.utcoffset().total_seconds() == 7200
    assert read_question("rope", period="2026-06-08..2026-06-09").period == Days(date(2026, 6, 8), date(2026, 6, 9))


def test_empty_texts_leave_open_what_is_asked():
    asked = read_question("order", "", "", "", "", "")
    assert asked == QuestionScope("order")
    assert asked.named_period == "all"


def test_all_that_is_wrong_is_said_at_once():
    with pytest.raises(AskError) as error:
        read_question("tea", period="teatime", start="noon", end="later")
    assert [fault.where for fault in error.value.faults] == ["question", "period", "--from", "--to"]
    assert "unknown period 'teatime'" in str(error.value)


def test_a_period_between_two_moments_is_named_by_them():
    plant = Plant(shop="Invented Sweets", zone="Europe/Berlin")
    span = Period(datetime(2025, 12, 1, tzinfo=UTC), datetime(2026, 6, 12, 20, tzinfo=UTC))
    asked = read_question("shift", start="2026-06-09 06:00")
    assert scope_of(plant, asked, None, span).label == "Tue 9 June, 06:00 to Fri 12 June, 22:00"
    asked = read_question("shift", end="2026-01-01")
    assert scope_of(plant, asked, None, span).label == "Mon 1 December 2025, 01:00 to Thu 1 January, 00:00"
