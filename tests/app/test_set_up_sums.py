"""Exports with sums among their rows, or the day apart from the time, set up by a stranger."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from lineview.app.setup import set_up
from lineview.app.setup_layouts import survey_folder
from lineview.app.works import Works
from lineview.intake.cells.counting import sum_rows
from tests.app.test_set_up_strange import ANSWERS, MADE, START, made, pieces, rows, shown


def hours(day: int, weekday: int) -> list[int]:
    """Pieces of a day's hours: 16 of a weekday, 3 of a Saturday."""
    run = range(6, 22 if weekday < 5 else 9) if weekday < 6 else range(0)
    return [15_000 + (hour * 613 + day * 977) % 4_000 if hour in run else 0 for hour in range(24)]


def with_day_sums(clock: str, *, first: bool = False) -> tuple[str, list[int]]:
    """Hourly pieces and rejects of ten days, a day's sums under them or above; and the pieces of each day."""
    rows_of, made_of = ["Time;Pieces;Rejects"], []
    for k in range(10):
        day = START + timedelta(days=k)
        made_of.append(sum(each := hours(k, day.weekday())))
        lines = [f"{day:%Y-%m-%d} {hour:02}:30:00;{n};{n // 2_500}" for hour, n in enumerate(each)]
        total = [f"{day:%Y-%m-%d} {clock};{sum(each)};{sum(n // 2_500 for n in each)}"]
        rows_of += total + lines if first else lines + total
    return "\n".join(rows_of) + "\n", made_of


@pytest.mark.parametrize(("clock", "first"), [("23:59:59", False), ("23:30:00", False), ("00:00:00", True)])
def test_a_days_sum_among_hourly_ones_is_not_counted_again(tmp_path, clock, first):
    text, made_of = with_day_sums(clock, first=first)
    came = shown(tmp_path, text, **{"stamps Time Pieces Rejects": "end"})
    assert came.by_day["pieces"].to_list() == [0, *made_of]  # the first hour began the day before
    figure = made(tmp_path, came, "2026-06-08.early")
    assert figure.value == sum(hours(0, 0)[7:14]) + (hours(0, 0)[6] + hours(0, 0)[14]) / 2
    with Works(tmp_path / "works") as opened:
        refused = opened.store.refusals(1)
    assert refused.height == 9  # Sunday's sum is 0, which adds nothing
    assert refused["reason"].str.count_matches("is the sum of rows beside it, which are counted").to_list() == [1] * 9


def test_rare_counts_that_come_to_sums_by_chance_stay(tmp_path):
    rejects = np.random.default_rng(1).poisson(1.5, 481)
    came = shown(tmp_path, "Time;Pieces;Rejects\n" + rows(lambda k: f"{330 + 7 * k % 20};{rejects[k]}"))
    assert made(tmp_path, came).value == sum(330 + 7 * k % 20 for k in range(1, 481))
    with Works(tmp_path / "works") as opened:
        assert opened.store.refusals(1).is_empty()


def test_a_day_above_its_clock_times_that_may_be_a_month_is_asked_about(tmp_path):
    """It had been read day first, as 6 August."""
    lines = rows(lambda k: f"{pieces(k)}", "%H:%M:%S").splitlines(keepends=True)
    text = f"Time;Pieces\n06/08/2026 {lines[0]}{''.join(lines[1:])}"
    asked = shown(tmp_path, text).open
    assert [question.key for question in asked] == ["time_format csv Time"]
    assert "'06/08/2026 06:00:00': does the day or the month come first?" in asked[0].text
    assert made(tmp_path, shown(tmp_path, text, **{asked[0].key: "%m/%d/%Y %H:%M:%S"})).value == MADE
    description = tmp_path / "works" / "plant.toml"
    told = description.read_text(encoding="utf-8")
    description.write_text(told.replace("%m/%d/%Y %H:%M:%S", "auto"), encoding="utf-8")
    later = tmp_path / "wrapper1.csv"
    later.write_text(text.replace("06/08/2026", "06/09/2026"), encoding="utf-8")
    with Works(tmp_path / "works") as works:
        assert "can be read day first or month first, and no row decides" in str(works.take([later])[0].error)


def test_exports_none_of_which_can_be_read_set_nothing_up(tmp_path):
    came = shown(tmp_path, "Clock;Pieces\n" + rows(lambda k: f"{pieces(k)}", "%H:%M:%S"))
    assert came.text == ""
    assert "its times have no date: the first is '06:00:00'" in str(came.faults[0])
    (tmp_path / "exports" / "wrapper2.csv").write_text(
        "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}"), encoding="utf-8"
    )
    beside = set_up(
        survey_folder([tmp_path / "exports"], "Invented", "Europe/Berlin"),
        ANSWERS | {"lines": "Line 1 = wrapper1, wrapper2"},
    )
    assert "its times have no date" in str(beside.faults[0])  # is said, and the other is set up
    assert "wrapper2" in beside.text


def test_sums_of_lengths_in_tenths_of_a_metre() -> None:
    hourly = np.round(np.linspace(811.3, 1013.7, 24), 1)
    days = [np.append(hourly + 0.1 * day, np.round((hourly + 0.1 * day).sum(), 1)) for day in range(3)]
    assert np.flatnonzero(sum_rows(np.concatenate(days))).tolist() == [24, 49, 74]


def test_differences_of_machines_in_one_file_are_added_up_by_machine(tmp_path):
    lines = [
        f"{START + timedelta(minutes=k):%Y-%m-%d %H:%M:%S};{name};{each + 7 * k % 20}\n"
        for k in range(481)
        for name, each in (("wrap1", 330), ("wrap2", 310))
    ]
    came = shown(
        tmp_path, "Time;Machine;Pieces\n" + "".join(lines), "export.csv", lines="Line 1 = wrap1; Line 2 = wrap2"
    )
    days = came.by_day.group_by("machine", maintain_order=True).agg(pl.col("pieces").sum())
    true = [sum(each + 7 * k % 20 for k in range(481)) for each in (330, 310)]
    assert days["pieces"].to_list() == true
