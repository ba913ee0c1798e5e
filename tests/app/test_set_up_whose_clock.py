"""Exports by another clock than the works', and days that a spreadsheet counts: asked about, or read right."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from tests.app.test_set_up_strange import ANSWERS, MADE, PER_MIN, START, made, pieces, shown

SHIFTS = "early 06:00-14:00 mon-sun; late 14:00-22:00 mon-sun"


def wall_since_1970(at: datetime) -> str:
    return f"{at.replace(tzinfo=UTC).timestamp():.0f}"


def utc_unsaid(at: datetime) -> str:
    return f"{at.replace(tzinfo=ZoneInfo('Europe/Berlin')).astimezone(UTC):%Y-%m-%d %H:%M:%S}"


@pytest.mark.parametrize(
    ("written", "shift", "as_read", "meant"),
    [
        (wall_since_1970, "early", "UTC", "Europe/Berlin"),
        (lambda at: f"{at:%Y-%m-%dT%H:%M:%SZ}", "early", "UTC", "Europe/Berlin"),
        (lambda at: f"{at:%Y-%m-%d %H:%M:%S+00:00}", "early", "UTC", "Europe/Berlin"),
        (utc_unsaid, "early", "Europe/Berlin", "UTC"),
        (lambda at: f"{at:%Y-%m-%d %I:%M:%S}", "late", "Europe/Berlin", "+12 h"),
    ],
    ids=["since 1970 by the wall", "Z by the wall", "+00:00 by the wall", "UTC unsaid", "afternoons of twelve hours"],
)
def test_another_clock_is_asked_about_where_it_leaves_nothing_outside_the_shifts(
    tmp_path, written, shift, as_read, meant
):
    begin = START if shift == "early" else START + timedelta(hours=8)
    lines = [f"{written(begin + timedelta(minutes=k))};{pieces(k)}\n" for k in range(481)]
    text = "Time;Pieces\n" + "".join(lines[:-1] if shift == "late" else lines)
    plan = SHIFTS if shift == "late" else ANSWERS["shifts"]
    (asked,) = shown(tmp_path, text, shifts=plan).open
    assert asked.key == "clock wrapper1"
    assert {as_read, meant} <= dict(asked.options).keys()
    assert "lies outside the shifts" in asked.why
    figure = made(tmp_path, shown(tmp_path, text, shifts=plan, **{asked.key: meant}), f"2026-06-08.{shift}")
    assert figure.value == pytest.approx(MADE, abs=0 if shift == "early" else 2 * PER_MIN)
    other = tmp_path / "as read"
    other.mkdir()
    kept = made(other, shown(other, text, shifts=plan, **{asked.key: as_read}), f"2026-06-08.{shift}")
    assert kept.value is None or kept.value < 0.8 * MADE


@pytest.mark.parametrize("written", ["", "since 1970"])
def test_a_clock_that_fits_the_shifts_is_not_asked_about(tmp_path, written):
    begin = START.replace(tzinfo=ZoneInfo("Europe/Berlin"))
    times = [begin + timedelta(minutes=k) for k in range(-20, 481)]
    cells = [f"{at.timestamp():.0f}" if written else f"{at:%Y-%m-%d %H:%M:%S}" for at in times]
    assert not shown(tmp_path, "Time;Pieces\n" + "".join(f"{at};{pieces(k)}\n" for k, at in enumerate(cells))).open


@pytest.mark.parametrize(("system", "day"), [("excel", "2022-06-07"), ("excel 1904", "2026-06-08")])
def test_a_spreadsheets_days_of_four_years_ago_are_asked_about(tmp_path, system, day):
    zero = datetime(1904, 1, 1)  # noqa: DTZ001 - a spreadsheet's days have no zone
    lines = [f"{(START + timedelta(minutes=k) - zero) / timedelta(days=1):.7f};{pieces(k)}\n" for k in range(481)]
    text = "Time;Pieces\n" + "".join(lines)
    (asked,) = shown(tmp_path, text).open
    assert dict(asked.options)[system].endswith(f": the last is of {day}")
    figure = made(tmp_path, shown(tmp_path, text, **{asked.key: system}), f"{day}.early")
    assert figure.value == MADE


def test_a_spreadsheets_days_of_this_year_are_not_asked_about(tmp_path):
    zero = datetime(1899, 12, 30)  # noqa: DTZ001 - a spreadsheet's days have no zone
    lines = [f"{(START + timedelta(minutes=k) - zero) / timedelta(days=1):.7f};{pieces(k)}\n" for k in range(481)]
    assert made(tmp_path, shown(tmp_path, "Time;Pieces\n" + "".join(lines))).value == MADE
