"""Counters that freeze, stick at their top or are set back over the end of a shift: right, or open, never certain."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from tests.intake.small_works import PER_MIN, SmallWorks, rows, stamps, total
from tests.records.test_runs_at_ends import LAYOUT, SHIFTS, figures

MINUTES = 960
Count = Callable[[float], int]
TOP = 65_536


def works_of(folder: Path, count: Count, modulus: int = 10_000_000, step_s: float = 10) -> SmallWorks:
    works = SmallWorks(folder, LAYOUT, modulus)
    assert works.take("time;pieces\n" + rows(stamps(int(MINUTES * 60 / step_s), step_s), count)).receipt is not None
    return works


def holds(works: SmallWorks, made: Callable[[float], float] = lambda minute: PER_MIN * minute, step_s: float = 10):
    """Value, low and high of the pieces made in both shifts, which hold the truth."""
    out = []
    for shift, (first, last) in SHIFTS.items():
        pieces = figures(works, shift)["pieces_made"]
        truth = made(min(last, MINUTES - step_s / 60)) - made(first)
        assert pieces[1] - 1 <= truth <= pieces[2] + 1, (shift, truth, pieces)
        out.append(pieces)
    return out


def with_rejects(folder: Path) -> SmallWorks:
    works = SmallWorks(folder, LAYOUT + '"rejects" = { to = "rejects" }\n')
    rejects = 'counters = [{ id = "rejects", counts = "rejects", modulus = 65536, fastest_per_min = 450 },'
    plant = works.folder / "plant.toml"
    plant.write_text(plant.read_text().replace("counters = [", rejects, 1))
    return works


def frozen(begin: float, end: float, count: Count = total) -> Count:
    return lambda minute: count(begin) if begin <= minute < end else count(minute)


def reset(count: Count, begin: float, end: float, at: float) -> Count:
    """A counter that shows one value from a moment to another, and afterwards what came since it was set back."""
    return lambda minute: count(minute) if minute < end else round(PER_MIN * (minute - at))


@pytest.mark.parametrize(("begin", "end"), [(440, 520), (470, 540), (478, 481), (440, 480), (480, 520)])
def test_a_frozen_counter_that_resumes_at_its_own_pace_loses_no_piece(tmp_path, begin, end):
    works = works_of(tmp_path / "works", frozen(begin, end))
    early, late = holds(works)
    assert early[0] + late[0] == pytest.approx(PER_MIN * (MINUTES - 1 / 6), abs=2)
    both = sum(figures(works, shift)["unseen_min"][0] for shift in SHIFTS)
    assert both == pytest.approx(end - begin, abs=0.5)


@pytest.mark.parametrize(("shift", "stood"), [("early", 100), ("late", 800)])
def test_the_pace_before_and_after_a_freeze_is_that_of_the_readings(tmp_path, shift, stood):
    """An hour's standstill elsewhere in the shift: minutes are told apart where the pieces were made."""

    def count(minute: float) -> int:
        return 5000 + round(PER_MIN * (minute if minute < stood else max(stood, minute - 60)))

    works = works_of(tmp_path / "works", frozen(440, 520, count))
    with Works(works.folder) as opened:
        answer = opened.ask(read_question("shift", machine="wrap1", period=f"2026-06-08.{shift}"))
    rate = answer.series["rate"]["rate_per_min"]
    rate = rate.filter(rate > 0)  # the line goes down to 0 where it stands
    assert len(rate) > 350
    assert ((rate - PER_MIN).abs() < 1).all()


def test_a_frozen_counter_of_a_machine_that_stopped_meanwhile_is_open(tmp_path):
    def made(minute: float) -> float:
        return PER_MIN * (minute if minute < 460 else max(460, minute - 30))

    for pieces in holds(works_of(tmp_path / "works", frozen(440, 520, lambda m: 5000 + round(made(m)))), made):
        assert pieces[1] < pieces[2]


@pytest.mark.parametrize(("begin", "end"), [(440, 520), (440, 480), (470, 481)])
def test_a_machine_that_stands_over_the_end_of_a_shift_stays_exact(tmp_path, begin, end):
    def made(minute: float) -> float:
        return PER_MIN * (minute if minute < begin else max(begin, minute - (end - begin)))

    works = works_of(tmp_path / "works", lambda minute: 5000 + round(made(minute)))
    early, late = holds(works, made)
    assert early == (PER_MIN * begin, PER_MIN * begin, PER_MIN * begin)
    assert late[1] == late[0]
    assert sum(figures(works, shift)["unseen_min"][0] for shift in SHIFTS) < 0.5


@pytest.mark.parametrize(("begin", "end", "at"), [(440, 520, 520), (440, 520, 510), (440, 480, 480), (480, 520, 520)])
def test_what_a_counter_set_back_after_it_froze_had_counted_is_open(tmp_path, begin, end, at):
    pieces = holds(works_of(tmp_path / "works", reset(frozen(begin, end), begin, end, at)))
    assert any(low < high - 1000 for _, low, high in pieces)


@pytest.mark.parametrize(("begin", "end", "rate"), [(479.75, 480.25, PER_MIN), (470, 490, 2)])
def test_a_counter_set_back_where_next_to_nothing_was_due_leaves_the_shift_exact(tmp_path, begin, end, rate):
    """It showed one value for two intervals, or until 40 pieces would have come."""
    count = lambda minute: 5000 + int(rate * min(minute, begin)) if minute < end else int(rate * (minute - end))  # noqa: E731
    made = figures(works_of(tmp_path / "works", count), "early")["pieces_made"]
    assert made == (int(rate * begin),) * 3


@pytest.mark.parametrize("at", [455, 470, 480, 485, 489])
def test_zeros_over_the_end_of_a_shift_with_a_reset_in_them_are_open(tmp_path, at):
    zeros = lambda minute: 0 if 450 <= minute < 490 else total(minute)  # noqa: E731
    for value, low, high in holds(works_of(tmp_path / "works", reset(zeros, 450, 490, at))):
        assert low < value < high


@pytest.mark.parametrize(("begin", "end"), [(450, 490), (300, 340), (186, 200), (440, 480), (480, 520), (0, 30)])
def test_a_counters_top_written_where_nothing_answers_is_no_count(tmp_path, begin, end):
    def count(minute: float) -> int:
        return TOP - 1 if begin <= minute < end else (1000 + round(PER_MIN * minute)) % TOP

    holds(works_of(tmp_path / "works", count, TOP))


@pytest.mark.parametrize(("start", "until"), [(0, 300), (243.5, 600), (243.5, 2000)])
@pytest.mark.parametrize("step_s", [10, 60])
def test_a_counter_that_stops_at_its_top_is_open(tmp_path, start, until, step_s):
    def count(minute: float) -> int:
        if minute < start:
            return (40_000 + round(PER_MIN * minute)) % TOP
        held = min(round(PER_MIN * (minute - start)), TOP - 1)
        return held if minute < until else round(PER_MIN * (minute - until)) % TOP

    pieces = holds(works_of(tmp_path / "works", count, TOP, step_s), step_s=step_s)
    assert any(low < high - 10_000 for _, low, high in pieces)


@pytest.mark.parametrize("zeros_min", [0.1, 2, 30])
@pytest.mark.parametrize("step_s", [10, 60])
def test_a_first_rise_far_above_all_others_may_not_be_of_this_file(tmp_path, zeros_min, step_s):
    works = with_rejects(tmp_path / "works")
    count = lambda minute: 0 if minute < zeros_min else 100 + int(3.5 * minute)  # noqa: E731
    text = "time;pieces;rejects\n" + rows(stamps(int(480 * 60 / step_s) + 1, step_s), total, count)
    assert works.take(text).receipt is not None
    early = figures(works, "early")
    assert early["rejects"][1] <= 1680 <= early["rejects"][2]
    assert early["good_pieces"][1] <= 480 * PER_MIN - 1680 <= early["good_pieces"][2]


def test_rejects_not_read_over_the_end_of_a_shift_leave_good_pieces_open(tmp_path):
    works = with_rejects(tmp_path / "works")
    count = lambda minute: 0 if 470 <= minute < 490 else 100 + int(3.5 * minute)  # noqa: E731
    assert works.take("time;pieces;rejects\n" + rows(stamps(5760, 10), total, count)).receipt is not None
    good = figures(works, "early")["good_pieces"]
    assert good[1] <= 480 * PER_MIN - 1680 <= good[2]
