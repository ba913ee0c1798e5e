"""Outages that an export writes as a value, at and over the ends of shifts, and counters set back there."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.records.ends import TrustedRange, trusted_range
from tests.intake.small_works import MADE, PER_MIN, SmallWorks, rows, stamps, total

LAYOUT = """
[[layouts]]
id = "log"
machine = "wrap1"
time = "time"
[layouts.columns]
"pieces" = { to = "pieces" }
"""
SHIFTS = {"early": (0, 480), "late": (480, 960)}


def works_of(folder: Path, count: Callable[[float], int], minutes: int, step_s: float = 10) -> SmallWorks:
    works = SmallWorks(folder, LAYOUT)
    moments = stamps(int(minutes * 60 / step_s), step_s)
    taken = works.take("time;pieces\n" + rows(moments, count))
    assert taken.receipt is not None, taken
    return works


def outage(begin: float, end: float, value: int = 0) -> Callable[[float], int]:
    return lambda minute: value if begin <= minute < end else total(minute)


def figures(works: SmallWorks, shift: str) -> dict[str, tuple[float, float, float]]:
    """Value, low and high of the shift's figures as the reader gets them."""
    with Works(works.folder) as opened:
        answer = opened.ask(read_question("shift", machine="wrap1", period=f"2026-06-08.{shift}"))
    out = {}
    for one in answer.figures:
        if one.value is not None:
            low, high = (one.value if bound is None else bound for bound in (one.low, one.high))
            out[one.name] = (one.value, low, high)
    return out


@pytest.mark.parametrize(
    ("values", "first", "last"),
    [((5, 5, 6, 7), 0, 3), ((0, 0, 0, 58_000, 58_350, 58_700), 3, 5), ((58_000, 58_350, 58_700, 0, 0), 0, 2)],
)
def test_a_value_that_no_count_leads_from_or_to_is_left_out_at_an_end(values, first, last):
    """A minute apart, at most 450 a minute."""
    found = trusted_range(np.arange(len(values)) * 60_000_000, np.array(values, dtype=float), None, 450.0)
    assert (found.first, found.last) == (first, last)


@pytest.mark.parametrize(
    ("values", "modulus", "turns", "lead"),
    [
        ((5000, 5000, 100, 450, 800), 65_536, True, 2),
        ((5000, 5000, 100, 450, 800), 65_536, False, 0),
        ((5000, 5000, 100, 450, 800), None, True, 0),
        ((65_500, 65_500, 300, 650, 1000), 65_536, True, 0),
    ],
)
def test_a_first_fall_leads_where_it_can_be_no_turn_and_falls_are_turns(values, modulus, turns, lead):
    """A minute apart, at most 450 a minute: from 5000 to 100 is no turn of 65,536, from 65,500 to 300 is one."""
    at_us = np.arange(len(values)) * 60_000_000
    assert trusted_range(at_us, np.array(values, dtype=float), modulus, 450.0, turns=turns) == TrustedRange(0, 4, lead)


def test_an_outage_over_the_end_of_a_shift_loses_no_piece(tmp_path):
    works = works_of(tmp_path / "works", outage(450, 490), 960)
    early, late = (figures(works, shift)["pieces_made"] for shift in SHIFTS)
    assert early[0] + late[0] == pytest.approx(2 * MADE, abs=PER_MIN / 6 + 1)
    assert early[1] <= MADE <= early[2]
    assert early[1] < early[2]  # how much of the outage lies in which shift nothing tells
    assert figures(works, "early")["running_min"][2] == pytest.approx(480, abs=0.5)


def test_the_week_of_a_day_that_is_not_read_to_its_end_has_what_its_shifts_made(tmp_path):
    works = works_of(tmp_path / "works", outage(450, 490), 960)
    made = sum(figures(works, shift)["pieces_made"][0] for shift in SHIFTS)
    with Works(works.folder) as opened:
        answer = opened.ask(read_question("week", machine="wrap1", period="2026-06-08"))
    assert f"{made:,.0f} good pieces of" in answer.soft
    ledger = next(table for table in answer.tables if table.name == "ledger of losses")
    assert not [row for row in ledger.rows if "outside" in str(row)]


def test_a_week_in_which_rejects_alone_were_read_has_an_answer(tmp_path):
    works = SmallWorks(tmp_path / "works", LAYOUT + '"rejects" = { to = "rejects" }\n')
    plant = works.folder / "plant.toml"
    rejects = 'counters = [{ id = "rejects", counts = "rejects", modulus = 65536, fastest_per_min = 450 },'
    plant.write_text(plant.read_text().replace("counters = [", rejects, 1))
    rows_ = "".join(f"{at:%Y-%m-%d %H:%M:%S};;{k}\n" for k, at in enumerate(stamps(960, 60)))
    assert works.take("time;pieces;rejects\n" + rows_).receipt is not None
    with Works(works.folder) as opened:
        assert opened.ask(read_question("week", machine="wrap1", period="2026-06-08")).text


def test_an_outage_at_the_end_of_the_data_leaves_the_shift_open(tmp_path):
    works = works_of(tmp_path / "works", outage(450, 480), 480)
    _, low, high = figures(works, "early")["pieces_made"]
    assert low <= 450 * PER_MIN + 1
    assert high >= MADE


def test_an_outage_at_the_start_of_the_data_leaves_the_shift_open(tmp_path):
    works = works_of(tmp_path / "works", outage(0, 30), 960)
    _, low, high = figures(works, "early")["pieces_made"]
    assert low <= 450 * PER_MIN + 1
    assert high >= MADE
    assert figures(works, "late")["pieces_made"][0] == pytest.approx(MADE, abs=PER_MIN / 6 + 1)


def test_a_counter_frozen_from_the_start_that_resumes_at_its_own_pace_loses_no_piece(tmp_path):
    """It shows its first count for half an hour; another counted half of the pace meanwhile, which may be anything."""
    sure = works_of(tmp_path / "works", lambda minute: total(0) if minute < 30 else total(minute), 490)
    assert figures(sure, "early")["pieces_made"] == (MADE, MADE, MADE)
    half = works_of(tmp_path / "half", lambda minute: total(0) if minute < 30 else total(minute - 15), 490)
    _, low, high = figures(half, "early")["pieces_made"]
    assert (low, high) == (PER_MIN * 450, PER_MIN * (450 + 15))


def test_a_shift_within_an_outage_is_not_read(tmp_path):
    works = works_of(tmp_path / "works", outage(450, 1000), 1300)
    assert "pieces_made" not in figures(works, "late") or figures(works, "late")["pieces_made"][2] >= MADE
    _, low, high = figures(works, "early")["pieces_made"]
    assert low <= MADE <= high


@pytest.mark.parametrize("counts_on_at", [480, 500])
def test_a_counter_that_is_set_back_and_stands_over_the_end_of_a_shift(tmp_path, counts_on_at):
    def count(minute: float) -> int:
        return total(min(minute, 450)) if minute < 452 else round(PER_MIN * max(minute - counts_on_at, 0))

    works = works_of(tmp_path / "works", count, 960)
    early, late = (figures(works, shift) for shift in SHIFTS)
    value, low, high = early["pieces_made"]
    assert low == 450 * PER_MIN <= value <= high
    assert high <= 450 * PER_MIN + 12 * 450 * 1.05 / 60 + 1.001  # what fits in where it was set back
    assert early["unseen_min"][0] < 0.5
    stood_min = sum(early[name][0] for name in ("stop_min", "short_stop_min", "unseen_min"))
    assert stood_min == pytest.approx(30, abs=0.5)
    assert late["pieces_made"][0] == pytest.approx((960 - counts_on_at) * PER_MIN, abs=PER_MIN / 6 + 1)
    assert late["unseen_min"][0] < 0.5


@pytest.mark.parametrize("seed", range(12))
def test_the_truth_lies_within_the_bounds_wherever_the_outage_is(tmp_path, seed):
    draw = random.Random(seed)
    step_s = draw.choice([5, 10, 60])
    begin = draw.uniform(0, 900)
    end = begin + draw.choice([step_s / 60, 5, draw.uniform(1, 200), 600])
    value = draw.choice([0, 0, 0, 9_999_999, -1])
    works = works_of(tmp_path / "works", outage(begin, end, value), 960, step_s)
    for shift, (first, last) in SHIFTS.items():
        made = figures(works, shift).get("pieces_made")
        if made is None:
            assert begin < last and end > first
            continue
        read = (960 - step_s / 60) if last == 960 else last
        truth = total(min(last, read)) - total(first)
        assert made[1] - 1 <= truth <= made[2] + 1, (shift, begin, end, value, step_s, truth, made)
