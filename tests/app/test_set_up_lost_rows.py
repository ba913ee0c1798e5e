"""Exports of what came in each interval with rows lost, refused, disputed or doubled: never nothing in silence."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from tests.app.test_set_up_strange import START, made, shown

TWO_SHIFTS = {"shifts": "early 06:00-14:00 mon-sun; late 14:00-22:00 mon-sun"}
ENDS = {"stamps Time Pieces": "end"}


def counted(at: datetime, step: timedelta) -> int:
    """Pieces of the interval that ends at a moment: about 340 a minute from 06:00 to 22:00."""
    draw, minutes = np.random.default_rng(at.day * 10_000 + at.hour * 60 + at.minute), int(step.total_seconds()) // 60
    return int(draw.integers(330 * minutes, 350 * minutes)) if 6 <= (at - step).hour < 22 else 0


def of(first: datetime, until: datetime, minutes: int) -> dict[datetime, int]:
    """What the rows of some time say."""
    step = timedelta(minutes=minutes)
    times = [first + step * k for k in range(1, int((until - first) / step) + 1)]
    return {at: counted(at, step) for at in times}


def written(rows: dict[datetime, int | str]) -> str:
    return "Time;Pieces\n" + "".join(f"{at:%Y-%m-%d %H:%M:%S};{n}\n" for at, n in rows.items())


def day(number: int) -> datetime:
    return START + timedelta(days=number, hours=-6)


def of_early(rows: dict[datetime, int], number: int) -> int:
    shift = (day(number) + timedelta(hours=hour) for hour in (6, 14))
    begin, end = shift
    return sum(n for at, n in rows.items() if begin < at <= end)


@pytest.mark.parametrize("minutes", [1, 60])
def test_a_days_lost_file_is_not_a_day_without_pieces(tmp_path, minutes: int):
    """It had been nought, exact."""
    files = {k: of(day(k) + timedelta(hours=6), day(k) + timedelta(hours=22), minutes) for k in range(5)}
    for k in (0, 1, 2, 4):
        came = shown(tmp_path, written(files[k]), f"wrapper1_2026-06-{8 + k:02}.csv", **TWO_SHIFTS, **ENDS)
    figure = made(tmp_path, came, "2026-06-11.early")
    true = of_early(files[3], 3)
    assert figure.value == pytest.approx(true, rel=0.05)
    assert (figure.low, figure.high) == (0, pytest.approx(450 * 1.05 * 480, rel=0.01))


@pytest.mark.parametrize("as_cell", [None, "n.v.", "", "1500"])
def test_a_lost_refused_or_disputed_row_leaves_its_interval_open(tmp_path, as_cell: str | None):
    rows: dict[datetime, int | str] = {**of(day(0), day(4), 60)}
    true, at = of_early(of(day(0), day(4), 60), 1), day(1) + timedelta(hours=10)
    text = written(rows)
    if as_cell is None or as_cell == "1500":
        row = f"{at:%Y-%m-%d %H:%M:%S};{rows[at]}\n"
        text = text.replace(row, "" if as_cell is None else f"{row}{at:%Y-%m-%d %H:%M:%S};1500\n")
    else:
        text = text.replace(f"{at:%Y-%m-%d %H:%M:%S};{rows[at]}", f"{at:%Y-%m-%d %H:%M:%S};{as_cell}")
    figure = made(tmp_path, shown(tmp_path, text, **TWO_SHIFTS, **ENDS), "2026-06-09.early")
    assert (figure.low, figure.value) == (true - int(rows[at]), pytest.approx(true, rel=0.05))
    assert true <= (figure.high or 0) <= true + 10_000


@pytest.mark.parametrize("later_s", [0, 1])
def test_rows_that_a_retry_wrote_again_are_no_total(tmp_path, later_s: int):
    """What stood twice was taken for a machine that stands, and its rows for a counter's total."""
    rows = of(day(0), day(3), 60)
    again = {at + timedelta(seconds=later_s): n for at, n in list(rows.items())[30:60]}
    text = written(rows) + written(again).partition("\n")[2]
    came = shown(tmp_path, text, **TWO_SHIFTS, **ENDS)
    figure, true = made(tmp_path, came, "2026-06-09.early"), of_early(rows, 1)
    assert (figure.low or figure.value, figure.value) == (true, pytest.approx(true, rel=0.01))
    assert (figure.high is None) == (later_s == 0)


def test_whether_rows_left_out_say_that_nothing_was_counted_is_asked(tmp_path):
    rows = {at: n for at, n in of(day(0), day(1), 1).items() if n and not 20 <= at.minute < 24}
    text = written(rows)
    (asked,) = shown(tmp_path, text, **TWO_SHIFTS).open
    assert asked.key == "on_change Time Pieces"
    figure = made(tmp_path, shown(tmp_path, text, **TWO_SHIFTS, **{asked.key: "true"}))
    assert (figure.value, figure.high) == (of_early(rows, 0), None)
    other = tmp_path / "other"
    other.mkdir()
    figure = made(other, shown(other, text, **TWO_SHIFTS, **{asked.key: "false"}))
    assert figure.low == of_early(rows, 0) < (figure.value or 0) < (figure.high or 0)


def test_which_day_a_row_with_a_date_alone_counts_is_asked_so(tmp_path):
    """Asked what its time was to what it counts, "it ends it" put each day's pieces on the day before."""
    text = "Date;Pieces\n" + "".join(f"{day(k):%d.%m.%Y};{150_000 + 977 * k % 800}\n" for k in range(7))
    asked = next(question for question in shown(tmp_path, text).open if question.key.startswith("stamps"))
    assert asked.text == "Exports of wrapper1: a row has a date and no clock: what does it count?"
    assert asked.options == (("start", "the day of its date"), ("end", "the day before its date"))
