"""Shifts by the minutes in which machines ran, drawn minute by minute with a known plan."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from lineview.machine.rhythm import DAY_MIN, _name, shifts_of
from lineview.plant.answers import shift_text

MONDAY = date(2026, 6, 8)


def running(plan: list[tuple[int, int]], days: int, breaks: list[tuple[int, int]], seed: int = 1) -> dict:
    """One machine that runs in these spans [min] with short stops of its own, each day otherwise."""
    rng = np.random.default_rng(seed)
    whole = np.zeros((days + 1) * DAY_MIN, bool)
    for day in range(days):
        if (MONDAY + timedelta(days=day)).weekday() > 4:
            continue
        for start, end in plan:
            first, last = start + 6 + int(rng.integers(4)), end - 8 - int(rng.integers(4))
            minutes = np.arange(first, last)
            kept = rng.random(len(minutes)) > 0.15
            whole[day * DAY_MIN + minutes[kept]] = True
        for start, end in breaks:
            whole[day * DAY_MIN + start : day * DAY_MIN + end] = False
    return {MONDAY + timedelta(days=k): whole[k * DAY_MIN : (k + 1) * DAY_MIN] for k in range(days + 1)}


@pytest.mark.parametrize(
    ("plan", "breaks", "expected"),
    [
        ([(420, 930)], [(570, 585), (720, 750)], "day 07:00-15:30 mon-fri breaks 09:30-09:45, 12:00-12:30"),
        (
            [(360, 840), (840, 1320)],
            [(540, 570), (1080, 1110)],
            "early 06:00-14:00 mon-fri breaks 09:00-09:30; late 14:00-22:00 mon-fri breaks 18:00-18:30",
        ),
        (
            [(360, 840), (840, 1320), (1320, 1800)],
            [(600, 630), (1080, 1110), (1560, 1590)],
            "early 06:00-14:00 mon-fri breaks 10:00-10:30; late 14:00-22:00 mon-fri breaks 18:00-18:30; "
            "night 22:00-06:00 mon-fri breaks 02:00-02:30",
        ),
    ],
)
def test_edges_days_and_breaks_are_found(plan: list, breaks: list, expected: str) -> None:
    days = running(plan, 5, breaks)
    found = shifts_of({"wrap": days}, MONDAY, MONDAY + timedelta(days=5))
    assert "; ".join(map(shift_text, found.shifts)) == expected
    assert found.sure


def test_one_day_does_not_tell_breaks_from_stops() -> None:
    found = shifts_of({"wrap": running([(420, 930)], 1, [(570, 585)])}, MONDAY, MONDAY)
    assert [shift_text(shift) for shift in found.shifts] == ["day 07:00-15:30 mon-fri"]
    assert not found.sure
    assert "one day" in found.why


def test_machines_that_run_through_show_no_edges() -> None:
    rng = np.random.default_rng(3)
    days = {MONDAY + timedelta(days=k): rng.random(DAY_MIN) > 0.1 for k in range(5)}
    found = shifts_of({"wrap": days}, MONDAY, MONDAY + timedelta(days=4))
    assert not found.sure
    assert "ran on from one shift into the next" in found.why


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        ((360, 1080), "day 06:00-18:00 mon-fri; night 18:00-06:00 mon-fri"),
        ((360, 840, 1320), "early 06:00-14:00 mon-fri; late 14:00-22:00 mon-fri; night 22:00-06:00 mon-fri"),
    ],
)
def test_shifts_of_twelve_or_eight_hours_show_where_all_pause(marks: tuple[int, ...], expected: str) -> None:
    rng = np.random.default_rng(7)
    days = {}
    for k in range(5):
        runs = rng.random(DAY_MIN) > 0.1
        for mark in marks:
            runs[mark - 10 : mark + 12] = False
        days[MONDAY + timedelta(days=k)] = runs
    found = shifts_of({"wrap": days}, MONDAY, MONDAY + timedelta(days=4))
    assert "; ".join(map(shift_text, found.shifts)) == expected
    assert not found.sure


def test_nothing_running_suggests_nothing() -> None:
    assert shifts_of({"wrap": {MONDAY: np.zeros(DAY_MIN, bool)}}, MONDAY, MONDAY).shifts == ()


@pytest.mark.parametrize(
    ("days", "pause", "expected"),
    [
        (5, (572, 588), "09:30-09:45"),  # off the mark, but on all of five days
        (2, (570, 586), "09:30-09:45"),  # on two days alone, but on the mark
        (2, (572, 588), ""),  # two stops that fell together
        (5, (573, 582), ""),  # nine minutes, of which five lie between marks
    ],
)
def test_a_pause_of_two_days_is_a_break_only_on_the_mark(days: int, pause: tuple[int, int], expected: str) -> None:
    found = shifts_of({"wrap": running([(420, 930)], days, [pause])}, MONDAY, MONDAY + timedelta(days=days))
    assert shift_text(found.shifts[0]).partition(" breaks ")[2] == expected


@pytest.mark.parametrize(
    ("start", "end", "name"),
    [
        (180, 660, "early"), (360, 840, "early"), (510, 990, "late"), (840, 1320, "late"), (1020, 1500, "night"),
        (299, 899, "early"), (300, 900, "day"), (540, 1140, "late"), (539, 1139, "day"), (360, 1080, "day"),
    ],
)  # fmt: skip
def test_a_shift_is_called_by_the_hour_of_its_middle(start: int, end: int, name: str) -> None:
    """Of nine hours and more the middle of a day shift lies between 10:00 and 14:00."""
    assert _name(start, end) == name
