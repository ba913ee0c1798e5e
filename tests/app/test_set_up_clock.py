"""A machine's clock that is off by minutes: asked about, put right, or declined where it was off on some days alone."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from lineview.app.works import Works
from tests.app.test_set_up_strange import made, shown

SHIFTS = {"shifts": "early 06:00-14:00 mon-fri; late 14:00-22:00 mon-fri"}
FIRST = datetime(2026, 6, 8)  # noqa: DTZ001 - the works' wall clock
PER_MIN = 340


def week(ahead_min: int, until: int = 7200, starts: int = 360, ends: int = 1320) -> str:
    """A total over five days; the clock is ahead until some minute, and each day counts from one minute to another."""
    count, text = 0, "Time;Pieces\n"
    for k in range(7200):
        count += PER_MIN * (starts <= k % 1440 < ends)
        off = ahead_min if k < until else 0
        if not until <= k < until + ahead_min:  # the clock shows no minute twice
            text += f"{FIRST + timedelta(minutes=k + 1 + off):%Y-%m-%d %H:%M:%S};{count}\n"
    return text


@pytest.mark.parametrize(("ahead_min", "word"), [(7, "ahead"), (-12, "behind")])
def test_a_clock_off_by_minutes_is_asked_about(tmp_path, ahead_min: int, word: str):
    """Seven minutes ahead an early shift's first pieces were missing, exact: 160,820 for 163,200."""
    (asked,) = shown(tmp_path, week(ahead_min), **SHIFTS).open
    assert asked.key == "clock wrapper1"
    assert asked.text == f"wrapper1: is its clock {abs(ahead_min)} minutes {word}?"
    came = shown(tmp_path, week(ahead_min), **SHIFTS, **{asked.key: str(ahead_min)})
    assert f"clock_offset_s = {60 * ahead_min}" in came.text
    assert made(tmp_path, came, "2026-06-09.early").value == PER_MIN * 480


def test_a_crew_that_begins_and_ends_so_is_believed(tmp_path):
    came = shown(tmp_path, week(7), **SHIFTS, **{"clock wrapper1": "0"})
    assert made(tmp_path, came, "2026-06-09.early").value == PER_MIN * 473


def test_a_clock_that_was_put_right_is_declined(tmp_path):
    until = 3 * 1440 + 720
    (asked,) = shown(tmp_path, week(7, until), **SHIFTS).open
    assert asked.why == "on 3 of 5 days it started and stopped counting that far from its shifts"
    came = shown(tmp_path, week(7, until), **SHIFTS, **{asked.key: "part"})
    assert not came.text
    assert "a clock that is off on some days" in str(came.faults[-1])


@pytest.mark.parametrize(("starts", "ends"), [(360, 1320), (372, 1320), (360, 1328), (367, 1300), (350, 1320)])
def test_a_day_that_begins_late_or_ends_late_is_not_asked_about(tmp_path, starts: int, ends: int):
    assert not shown(tmp_path, week(0, starts=starts, ends=ends), **SHIFTS).open


@pytest.mark.parametrize(
    ("ahead_min", "said"), [(7, "7 minutes later"), (-120, "120 minutes earlier"), (0, ""), (-2, "")]
)
def test_a_later_file_whose_clock_is_off_is_said(tmp_path, ahead_min: int, said: str):
    """Stamps in UTC from a later file on: 106,902 pieces of a late shift for 147,715, exact, without a word."""
    lines = week(0).splitlines()
    came = shown(tmp_path, "\n".join(lines[: 1 + 4 * 1440]) + "\n", **SHIFTS)
    assert made(tmp_path, came, "2026-06-09.early").value == PER_MIN * 480
    later = tmp_path / "later" / "wrapper1.csv"
    later.parent.mkdir()
    text = "\n".join([lines[0], *week(ahead_min).splitlines()[1 + 4 * 1440 :]])
    later.write_text(text + "\n", encoding="utf-8")
    with Works(tmp_path / "works") as works:
        (taken,) = works.take([later])
    notes = [note for note in taken.notes if "is its clock right?" in note]
    assert notes == (
        [f"wrapper1 starts and stops counting {said} than its shifts: is its clock right?"] if said else []
    )
