"""Whose rows a table holds, how long its stops lasted and which week a plan is for: right, asked about or declined."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from lineview.app.take_in import IntakeResult
from lineview.app.works import Works
from lineview.intake.exports import Proposal
from lineview.intake.read import Export, read_export

PLANT = """
shop = "Invented"
zone = "Europe/Berlin"
[[shifts]]
id = "early"
start = 06:00:00
end = 14:00:00
[[lines]]
id = "1"
[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [{ id = "pieces", counts = "pieces", fastest_per_min = 450 }]
[[products]]
id = "vanilla"
flavour = "Vanilla"
mass_g = 7.0
mass_tolerance_g = 0.4
diameter_mm = 16.0
diameter_tolerance_mm = 0.4
cut_length_mm = 25
[[webs]]
id = "film"
kind = "film"
cut_length_mm = 60
width_mm = 50
grammage_g_m2 = 30
reel_outer_mm = 300
reel_core_mm = 76
"""


def taken(folder: Path, name: str, text: str, **chosen: str) -> tuple[IntakeResult, list[dict[str, Any]]]:
    """What became of one export with what is proposed for it accepted, and its rows."""
    (folder / "plant.toml").write_text(PLANT, encoding="utf-8")
    (folder / name).write_text(text, encoding="utf-8")
    with Works(folder) as works:
        (one,) = works.take([folder / name], accept=True, chosen=chosen)
        read = read_export(folder / name, works.plant, layout=one.accepted) if one.receipt else None
    if isinstance(read, Proposal) or read is None:
        return one, []
    assert isinstance(read, Export)
    return one, [row for part in read.parts for row in part.tidy.to_dicts()]


def test_weights_of_machines_that_nobody_knows_are_not_put_on_the_one_that_is_known(tmp_path):
    """Pieces of 7 and 6 g of two machines were one machine's, 6.5 g on average."""
    rows = "".join(f"2026-06-08 06:{k:02};{'W1' if k % 2 else 'W2'};{7.0 - k % 2:.2f}\n" for k in range(40))
    one, _ = taken(tmp_path, "weights.csv", "Time;Machine;Weight (g)\n" + rows)
    assert one.receipt is None
    assert "plant.toml knows no machine 'W1', 'W2'" in str(one.error)


def test_one_machine_by_an_unknown_name_is_asked_about(tmp_path):
    text = "Time;Machine no;Weight (g)\n" + "".join(f"2026-06-08 06:{k:02};W7;7.0{k}\n" for k in range(10, 40))
    one, _ = taken(tmp_path, "weights.csv", text)
    assert "which machine wrote this file" in str(one.error)
    one, rows = taken(tmp_path, "weights.csv", text, machine="wrap1")
    assert {row["machine"] for row in rows} == {"wrap1"}
    assert one.receipt is not None


def test_rows_of_unknown_machines_beside_a_known_one_are_refused(tmp_path):
    text = "Start;End;Machine;Reason\n" + "".join(
        f"2026-06-08 0{hour}:00;2026-06-08 0{hour}:20;{name};jam\n"
        for hour, name in enumerate(("packer", "cooker", "wrap 1", "lift"), 6)
    )
    one, rows = taken(tmp_path, "stops.csv", text)
    assert [row["machine"] for row in rows] == ["wrap1"]
    assert one.receipt is not None
    assert one.receipt.refused == 3


@pytest.mark.parametrize(
    ("cell", "seconds"),
    [
        ("4 min 30 s", 270),
        ("1 h 12 min", 4_320),
        ("45s", 45),
        ("725 sec", 725),
        ("4'30\"", 270),
        ("2 Std. 5 Min.", 7_500),
    ],
)
def test_a_duration_with_its_units_is_read(tmp_path, cell: str, seconds: int):
    _, (row,) = taken(tmp_path, "stops.csv", f"Start;Duration;Reason\n2026-06-08 07:00;{cell};jam\n")
    assert row["end"] == row["start"] + timedelta(seconds=seconds)


@pytest.mark.parametrize(("unit", "seconds"), [("min", 270), ("h", 16_200)])
def test_a_clock_of_two_parts_is_asked_about(tmp_path, unit: str, seconds: int):
    text = "Start;Duration;Reason\n2026-06-08 07:00;4:30;jam\n"
    one, _ = taken(tmp_path, "stops.csv", text)
    assert "'4:30' in 'Duration': what is it?" in str(one.error)
    _, (row,) = taken(tmp_path, "stops.csv", text, **{"unit of Duration": unit})
    assert row["end"] == row["start"] + timedelta(seconds=seconds)


STOPS = "2026-06-08 07:00:00;2026-06-08 07:10:00;{};jam\n2026-06-08 08:00:00;2026-06-08 08:30:00;{};jam\n"


@pytest.mark.parametrize(
    ("unit", "durations", "said"),
    [
        ("min", ("10", "12"), True),
        ("min", ("10.4", "30.9"), False),  # both are rounded
        ("s", ("600", "1860"), False),
        ("s", ("601", "1875"), True),
        ("h", ("0.2", "0.5"), False),
    ],
)
def test_an_end_otherwise_than_by_the_duration_is_told(tmp_path, unit: str, durations: tuple[str, str], said: bool):
    text = f"Start;End;Duration ({unit});Reason\n" + STOPS.format(*durations)
    one, rows = taken(tmp_path, "stops.csv", text)
    what = "1 of 2 stops end otherwise than by their duration, the first in line 3: the end counts"
    assert (what in one.notes) == said
    assert [(row["end"] - row["start"]) / timedelta(minutes=1) for row in rows] == [10, 30]


@pytest.mark.parametrize("header", ["Removed", "Taken off", "Abgenommen am", "Retiré", "Rimosso", "Ende"])
def test_a_time_at_which_reels_came_off_is_none_at_which_they_were_put_on(tmp_path, header: str):
    rows = "".join(f"2026-06-08 {hour:02}:00;film;R{hour};2000\n" for hour in (7, 9, 11))
    one, _ = taken(tmp_path, "reels.csv", f"{header};Web;Reel;Length (m)\n{rows}")
    assert one.receipt is None
    assert f"the time '{header}' is an end: when it began is not written" in str(one.error)


@pytest.mark.parametrize(
    ("name", "header"), [("stops.csv", "End;Duration (min);Reason"), ("batches.csv", "Ende;Charge;Sorte")]
)
def test_a_time_at_which_stops_and_batches_ended_is_none_at_which_they_began(tmp_path, name: str, header: str):
    one, _ = taken(tmp_path, name, f"{header}\n2026-06-08 06:10;5;jam\n2026-06-08 06:20;2;jam\n")
    assert "is an end: when it began is not written" in str(one.error)


@pytest.mark.parametrize("logged", ["Timestamp", "Logged", "Zeit"])
def test_the_start_of_a_stop_counts_and_not_when_it_was_logged(tmp_path, logged: str):
    text = f"{logged};Start;End;Reason\n2026-06-08 07:15;2026-06-08 07:00;2026-06-08 07:10;jam\n"
    _, (row,) = taken(tmp_path, "stops.csv", text)
    assert (f"{row['start']:%H:%M}", f"{row['end']:%H:%M}") == ("05:00", "05:10")  # UTC


@pytest.mark.parametrize(
    ("header", "cells"),
    [("Date;Shift;From min;To min;Reason", "early;83;103;jam"), ("Datum;Beginn;Dauer min;Grund", "83;20;jam")],
)
def test_stops_in_minutes_of_their_shift_are_not_put_at_midnight(tmp_path, header: str, cells: str):
    """Forty stops had been five of no length, each at a midnight."""
    text = f"{header}\n2026-06-08;{cells}\n2026-06-08;{cells}\n2026-06-09;{cells}\n"
    one, _ = taken(tmp_path, "stops.csv", text)
    assert one.receipt is None
    assert "its rows have a date and no clock" in str(one.error)


@pytest.mark.parametrize("times", ["07:00;2026-06-08 07:10", "07:10;2026-06-08 07:00"])
def test_whether_stop_or_start_begins_a_stop_is_not_guessed(tmp_path, times: str):
    one, _ = taken(tmp_path, "stops.csv", f"Stop;Start;Reason\n2026-06-08 {times};jam\n")
    assert "'Stop' and a start: which begins the stop is open" in str(one.error)


@pytest.mark.parametrize(
    ("header", "cell"),
    [
        ("State", "RUN"),
        ("Zustand", "läuft"),
        ("Text", "Running"),
        ("Text", "Status: Produktion"),
        ("Reason", "State: running"),
        ("Status", "Production"),
    ],
)
def test_rows_in_which_the_machine_runs_are_no_stops(tmp_path, header: str, cell: str):
    text = f"Start;End;{header}\n2026-06-08 07:00;2026-06-08 07:10;jam\n2026-06-08 07:10;2026-06-08 09:00;{cell}\n"
    one, _ = taken(tmp_path, "stops.csv", text)
    assert f"rows of '{header}' say '{cell}': they are no stops" in str(one.error)


def test_a_department_that_answers_for_a_stop_says_not_that_the_machine_runs(tmp_path):
    text = "Start;End;Reason;Department\n2026-06-08 07:00;2026-06-08 07:10;jam;Produktion\n"
    one, rows = taken(tmp_path, "stops.csv", text)
    assert one.error is None
    assert len(rows) == 1


@pytest.mark.parametrize(
    ("durations", "last", "sums"),
    [
        (("5", "12", "7"), "Total;24", 1),
        (("5", "12", "7"), "Summe;25", 1),  # of what was not rounded yet
        (("5", "12", "7"), "Total;90", 0),
        (("5", "12", "7"), "Totally jammed;24", 0),
        (("5.1", "12.2", "7.3"), "Grand total;24.6", 1),
        (("5.1", "12.2", "7.3"), "Total;31.0", 0),
    ],
)
def test_a_dated_row_that_adds_up_the_stops_is_none(tmp_path, durations: tuple[str, ...], last: str, sums: int):
    stops = "".join(f"2026-06-08 0{7 + k}:00;jam;{minutes}\n" for k, minutes in enumerate(durations))
    one, rows = taken(tmp_path, "stops.csv", f"Start;Reason;Duration (min)\n{stops}2026-06-08 22:00;{last}\n")
    assert one.receipt is not None
    assert (len(rows), one.receipt.refused) == (4 - sums, sums)


def test_a_later_log_with_the_time_in_which_the_machine_runs_keeps_its_stops_alone(tmp_path):
    header, stop = "Start;End;Reason\n", "2026-06-0{0} 07:00;2026-06-0{0} 07:10;jam\n"
    taken(tmp_path, "stops_2026-06-08.csv", header + stop.format(8))
    run = "2026-06-09 07:10;2026-06-09 09:00;Status: running\n"
    one, rows = taken(tmp_path, "stops_2026-06-09.csv", header + stop.format(9) + run)
    assert one.receipt is not None
    assert one.receipt.refused == 1
    assert f"{rows[-1]['end']:%d %H:%M}" == "09 05:10"


def test_what_was_left_of_the_reel_before_is_not_left_of_this_one(tmp_path):
    text = "Time;Web;Old reel;New reel;Rest of old reel (m)\n2026-06-08 08:00;film;R1;R2;12\n"
    one, (row,) = taken(tmp_path, "reels.csv", text)
    assert (row["reel"], row["left_m"]) == ("R2", None)
    assert "left out: 'Rest of old reel (m)' (of the reel before)" in one.notes


def test_of_two_times_of_a_reel_that_at_which_it_was_put_on_counts(tmp_path):
    text = "Removed;Mounted;Web;Reel;Length (m)\n2026-06-08 09:00;2026-06-08 07:00;film;R1;2000\n"
    _, (row,) = taken(tmp_path, "reels.csv", text)
    assert f"{row['at']:%H:%M}" == "05:00"  # UTC


def test_a_plan_by_weeks_needs_no_other_time(tmp_path):
    text = "Week;Product;Pieces\n2026-W25;vanilla;100000\n2026-W53;vanilla;120000\n2027-W53;vanilla;1\n"
    one, rows = taken(tmp_path, "plan.csv", text)
    assert [(f"{row['start']:%Y-%m-%d %H}", row["pieces"]) for row in rows] == [
        ("2026-06-14 22", 100_000),
        ("2026-12-27 23", 120_000),
    ]
    assert one.receipt is not None
    assert one.receipt.refused == 1  # 2027 has 52 weeks
