"""Exports that were set up wrongly without a word: now right, within bounds, or asked about."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from tests.app.test_set_up_strange import MADE, PER_MIN, START, made, pieces, rows, shown

TWO_SHIFTS = "early 06:00-14:00 mon-sun; late 14:00-22:00 mon-sun"
THREE_SHIFTS = f"{TWO_SHIFTS}; night 22:00-06:00 mon-sun"


def sixteen_bits(hours: int, count: int, first: int, shifts: str) -> tuple[str, int]:
    """Totals of a register of 16 bits read every so many hours, and what the early shift of 8 June made."""
    rng, total, in_shift = np.random.default_rng(count), first, 0
    text = "Time;Pieces\n"
    for k in range(count):
        at = datetime(2026, 6, 8, 2) + timedelta(hours=hours * k)  # noqa: DTZ001 - the works' wall clock
        text += f"{at:%Y-%m-%d %H:%M};{total % 65_536}\n"
        runs = shifts == THREE_SHIFTS or 6 <= at.hour < 22
        added = int(rng.integers(15_000, 21_000)) * hours if runs else 0
        total += added
        in_shift += added if at.day == 8 and 6 <= at.hour < 14 else 0
    return text, in_shift


@pytest.mark.parametrize(("count", "first"), [(7, 0), (7, 30_000), (13, 0), (13, 30_000), (18, 0)])
def test_a_register_that_turns_unseen_between_readings_is_asked_about(tmp_path, count: int, first: int):
    """Every four hours up to 84,000 pieces, of which the register shows what is left of 65,536."""
    text, true = sixteen_bits(4, count, first, TWO_SHIFTS)
    asked = {question.key for question in shown(tmp_path, text, shifts=TWO_SHIFTS).open}
    assert asked & {"turns wrapper1/pieces", "counting of Pieces Time Pieces"}
    answers = {"turns wrapper1/pieces": "65536", "counting of Pieces Time Pieces": "total", "stamps Time Pieces": "end"}
    figure = made(tmp_path, shown(tmp_path, text, shifts=TWO_SHIFTS, **answers))
    assert figure.low is not None
    assert figure.high is not None
    assert figure.low <= true <= figure.high


@pytest.mark.parametrize("hours", [1, 2])
@pytest.mark.parametrize("count", [13, 25, 60])
def test_a_register_without_an_idle_night_is_a_total(tmp_path, hours: int, count: int):
    text, true = sixteen_bits(hours, count, 30_000, THREE_SHIFTS)
    figure = made(tmp_path, shown(tmp_path, text, shifts=THREE_SHIFTS))
    assert figure.value is not None
    assert (figure.low or figure.value) <= true <= (figure.high or figure.value)


@pytest.mark.parametrize("hours", [1, 2, 4])
def test_sums_of_hours_are_not_taken_for_a_register(tmp_path, hours: int):
    rng = np.random.default_rng(hours)
    times = [START + timedelta(hours=hours * k) for k in range(1, 24)]
    text = "Time;Pieces\n" + "".join(f"{at:%Y-%m-%d %H:%M};{rng.integers(14_000, 15_500) * hours}\n" for at in times)
    asked = [question.key for question in shown(tmp_path, text, shifts=THREE_SHIFTS).open]
    assert asked == ["stamps Time Pieces"]


@pytest.mark.parametrize("new", ["WRAP-02", "Wrapper 2", "Line1-Wrapper2"])
def test_a_machine_by_another_name_from_one_row_on_is_asked_about(tmp_path, new: str):
    text = "Time;Machine;Pieces\n" + rows(lambda k: f"{'Wrap 2' if k < 240 else new};{pieces(k)}")
    (asked,) = shown(tmp_path, text, "export.csv").open
    assert asked.key == f"renamed Wrap 2 / {new}"
    came = shown(tmp_path, text, "export.csv", **{asked.key: "one"})
    assert [(machine.id, machine.label) for machine in came.read.draft.machines] == [("Wrap 2", new)]
    assert made(tmp_path, came).value == MADE
    came = shown(tmp_path, text, "export.csv", **{asked.key: "two"})
    assert sorted(machine.id for machine in came.read.draft.machines) == sorted(["Wrap 2", new])


def test_another_machine_in_the_second_week_is_not_asked_about(tmp_path):
    text = "Time;Machine;Pieces\n" + rows(
        lambda k: f"Wrap 2;{pieces(k)}" if k < 240 else f"Wrap 3;{900_000 + pieces(k)}"
    )
    assert not shown(tmp_path, text, "export.csv").open


@pytest.mark.parametrize("as_name", ["wrapper1_corrected.csv", "wrapper1_v2.csv", "wrapper1_hour.csv"])
def test_files_that_read_the_same_at_the_same_moments_are_asked_about(tmp_path, as_name: str):
    shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}"), "wrapper1.csv")
    lines = rows(lambda k: f"{pieces(k) - 500 * (k > 400)}").splitlines()
    text = "\n".join(["Time;Pieces", *lines[:: 60 if "hour" in as_name else 1]]) + "\n"
    (asked,) = shown(tmp_path, text, as_name).open
    assert asked.key.startswith("twice wrapper1 / wrapper1 ")


@pytest.mark.parametrize("apart_s", [10, 300, 900])
def test_pieces_a_minute_in_rows_that_are_no_minute_apart_are_asked_about(tmp_path, apart_s: int):
    rng = np.random.default_rng(apart_s)
    times = [START + timedelta(seconds=apart_s * k) for k in range(28_800 // apart_s + 1)]
    text = "Time;Pieces\n" + "".join(
        f"{at:%Y-%m-%d %H:%M:%S};{rng.integers(330, 350) * (at.minute != 30)}\n" for at in times
    )
    answers = {"stamps Time Pieces": "end", "count wrapper1/pieces": "1"}
    assert [q.key for q in shown(tmp_path, text, **answers).open] == ["pace wrapper1/pieces"]
    came = shown(tmp_path, text, **answers, **{"pace wrapper1/pieces": "pace"})
    assert not came.text
    assert "a pace does not say what was made between its rows" in str(came.faults[-1])
    assert shown(tmp_path, text, **answers, **{"pace wrapper1/pieces": "counts"}).text


def test_a_clock_of_winter_time_in_summer_is_asked_about(tmp_path):
    times = [START + timedelta(minutes=k - 60) for k in range(481)]
    text = "Time;Pieces\n" + "".join(f"{at:%Y-%m-%d %H:%M:%S};{pieces(k)}\n" for k, at in enumerate(times))
    (asked,) = shown(tmp_path, text).open
    assert (asked.key, dict(asked.options)["Etc/GMT-1"]) == ("clock wrapper1", "winter time all year")
    assert made(tmp_path, shown(tmp_path, text, **{asked.key: "Etc/GMT-1"})).value == MADE


def test_sums_of_hours_that_happen_to_rise_are_asked_about(tmp_path):
    sums = {hour: 20_100 + hour * hour for hour in range(7, 15)}
    text = "Time;Pieces\n" + "".join(f"08.06.2026 {hour:02}:00;{n}\n" for hour, n in sums.items())
    assert "counting of Pieces Time Pieces" in [question.key for question in shown(tmp_path, text).open]
    answers = {"counting of Pieces Time Pieces": "since last row", "stamps Time Pieces": "end"}
    assert made(tmp_path, shown(tmp_path, text, **answers)).value == sum(sums.values())


@pytest.mark.parametrize(("base", "step"), [(16_780_000, 2), (40_000_000, 4)])
def test_a_total_as_a_number_of_32_bits_with_a_point_counts_to_within_its_step(tmp_path, base: int, step: int):
    """The step is numpy's float32's: above 2^24 = 16,777,216 every second whole number, above 2^25 every fourth."""
    assert np.float32(base) + np.float32(step) - np.float32(base) == step
    assert np.float32(base + step - 1) in (np.float32(base), np.float32(base + step))
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{np.float32(base + pieces(k)):.0f}"))
    assert f"moves_by = {step}" in came.text
    figure = made(tmp_path, came)
    assert figure.value is not None
    assert (figure.low, figure.high) == (figure.value - step, figure.value + step)
    assert abs(figure.value - MADE) <= step


def test_a_total_of_whole_numbers_above_16_million_moves_by_one(tmp_path):
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{20_000_000 + pieces(k) + k % 2}"))
    assert "moves_by" not in came.text
    assert made(tmp_path, came).value == PER_MIN * 480


@pytest.mark.parametrize("form", ["%m/%d/%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p"])
def test_one_day_that_could_be_another_by_the_month_first_is_asked_about(tmp_path, form: str):
    lines = [f"{START + timedelta(days=1, minutes=k):{form}};{pieces(k)}\n" for k in range(481)]
    (asked,) = shown(tmp_path, "Time;Pieces\n" + "".join(lines)).open
    assert dict(asked.options).keys() == {form, form.replace("%m/%d", "%d/%m")}
    named = shown(tmp_path, "Time;Pieces\n" + "".join(lines), "wrapper1_2026-06-09.csv")
    (tmp_path / "exports" / "wrapper1.csv").unlink()
    assert made(tmp_path, named, "2026-06-09.early").value == MADE


def test_headers_of_machines_and_what_they_count_are_no_column_of_machines(tmp_path):
    text = "Zeit;Maschine 1 Stück;Maschine 2 Stück\n" + rows(lambda k: f"{pieces(k)};{310 * k}")
    came = shown(tmp_path, text, "linie.csv")
    assert [machine.id for machine in came.read.draft.machines] == ["Maschine 1", "Maschine 2"]
    assert made(tmp_path, came).value == MADE


@pytest.mark.parametrize(("day", "taken"), [((6, 9), False), ((6, 11), False), ((9, 6), True), ((7, 13), False)])
def test_a_later_file_of_one_day_with_the_month_first_is_not_taken(tmp_path, day: tuple[int, int], taken: bool):
    """After 8 June with the day first: 06/09 is 9 June and no 6 September, 09/06 is 9 June."""
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}", "%d/%m/%Y %H:%M:%S")
    came = shown(tmp_path, text, "export.csv", **{"time_format csv Time": "%d/%m/%Y %H:%M:%S"})
    assert made(tmp_path, came).value == MADE
    (tmp_path / "later").mkdir()
    later = tmp_path / "later" / "export.csv"
    later.write_text(text.replace("08/06/2026", f"{day[0]:02}/{day[1]:02}/2026"), encoding="utf-8")
    with Works(tmp_path / "works") as works:
        (one,) = works.take([later])
        assert (one.receipt is not None) == taken
        if day[0] == 6:
            assert f"day and month may be swapped (2026-06-{day[1]:02})" in str(one.error)


def test_files_that_go_in_together_follow_each_other_over_months(tmp_path):
    """6 August is no 8 June where 30 July goes in with it."""
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}", "%d/%m/%Y %H:%M:%S")
    came = shown(tmp_path, text, "export.csv", **{"time_format csv Time": "%d/%m/%Y %H:%M:%S"})
    assert made(tmp_path, came).value == MADE
    later = [tmp_path / "july" / "export.csv", tmp_path / "late" / "export.csv"]
    for path, day in zip(later, ("30/07/2026", "06/08/2026"), strict=True):
        path.parent.mkdir()
        path.write_text(text.replace("08/06/2026", day), encoding="utf-8")
    with Works(tmp_path / "works") as works:
        assert [one.error for one in works.take(later)] == [None, None]


@pytest.mark.parametrize("beside", ["Film m", "Rejects"])
def test_a_counter_that_is_unplugged_while_others_count_on_leaves_open_what_was_made(tmp_path, beside: str):
    """Two hours at 340 a minute had been a stop, exact."""
    lost = range(120, 240)
    text = f"Time;Pieces;{beside}\n" + rows(
        lambda k: f"{pieces(min(k, lost.start) + max(0, k - lost.stop))};{17 * k if beside == 'Film m' else 7 * k}"
    )
    figure = made(tmp_path, shown(tmp_path, text, shifts=TWO_SHIFTS))
    assert (figure.low, figure.value) == (MADE - PER_MIN * len(lost), pytest.approx(MADE, rel=0.01))
    assert MADE < (figure.high or 0) < MADE * 1.1
    with Works(tmp_path / "works") as works:
        answer = works.ask(read_question("shift", machine="wrapper1", period="2026-06-08.early"))
    assert [note for note in answer.notes if note.startswith("For 120 minutes nothing tells what was made")]


def test_a_stop_in_which_film_is_drawn_now_and_then_is_a_stop(tmp_path):
    stands = range(120, 240)
    film = {k: 17 * (min(k, stands.start) + max(0, k - stands.stop)) + max(0, (k - 100) // 25) for k in range(481)}
    text = "Time;Pieces;Film m\n" + rows(
        lambda k: f"{pieces(min(k, stands.start) + max(0, k - stands.stop))};{film[k]}"
    )
    figure = made(tmp_path, shown(tmp_path, text, shifts=TWO_SHIFTS))
    assert (figure.value, figure.high) == (MADE - PER_MIN * len(stands), None)


def test_a_clock_that_stays_on_summer_time_is_asked_about(tmp_path):
    """It had been an hour off from the last Sunday in October on: 143,640 pieces of a shift for 164,160."""
    count, text = 0, "Time;Pieces\n"
    for k in range(11 * 1440):
        at = datetime(2025, 10, 20) + timedelta(minutes=k)  # noqa: DTZ001 - the machine's clock
        by_works = at - timedelta(hours=at >= datetime(2025, 10, 26, 3))  # noqa: DTZ001 - the works' wall clock
        count += 342 * (by_works.weekday() < 5 and 6 <= by_works.hour < 22)
        text += f"{at + timedelta(minutes=1):%Y-%m-%d %H:%M:%S};{count}\n"
    (asked,) = shown(tmp_path, text, shifts=TWO_SHIFTS).open
    assert (asked.key, dict(asked.options)["Etc/GMT-2"]) == ("clock wrapper1", "summer time all year")
    came = shown(tmp_path, text, shifts=TWO_SHIFTS, **{asked.key: "Etc/GMT-2"})
    assert made(tmp_path, came, "2025-10-28.early").value == 342 * 480


def test_rejects_that_hold_the_blanks_too_are_rejects(tmp_path):
    """They had been left out as a second counter of blanks, and every piece was good."""
    text = "Time;Pieces;Rejects incl. blanks;Blanks\n" + rows(lambda k: f"{pieces(k)};{9 * k};{2 * k}")
    made(tmp_path, shown(tmp_path, text))
    with Works(tmp_path / "works") as works:
        answer = works.ask(read_question("shift", machine="wrapper1", period="2026-06-08.early"))
    good = next(figure for figure in answer.figures if figure.name == "good_pieces")
    assert good.value == MADE - 9 * 480
