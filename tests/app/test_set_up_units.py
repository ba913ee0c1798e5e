"""Counters of pairs, sheets, turns and tens, and files that are numbered: asked about, left out or declined."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from tests.app.test_set_up_strange import MADE, START, made, pieces, rows, shown


def test_a_counter_of_pairs_is_asked_about(tmp_path):
    """Half of all pieces had been made, exact."""
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k) // 2}")
    (asked,) = shown(tmp_path, text).open
    assert (asked.key, asked.why) == ("count wrapper1/pieces", "by its counter it makes 170 a minute while it runs")
    assert made(tmp_path, shown(tmp_path, text, **{asked.key: "2"})).value == pytest.approx(MADE, abs=2)


@pytest.mark.parametrize("band", ["150-200", "100-400"])
def test_a_machine_whose_band_holds_its_pace_is_not_asked_about(tmp_path, band: str):
    assert not shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k) // 2}"), band=band).open


@pytest.mark.parametrize("header", ["Film turns", "Folie Umdrehungen", "Wax paper sheets", "Wachspapier (Blatt)"])
def test_turns_and_sheets_of_a_web_are_no_metres(tmp_path, header: str):
    """A sheet for each piece had been a tenth of a metre for each."""
    came = shown(tmp_path, f"Time;Pieces;{header}\n" + rows(lambda k: f"{pieces(k)};{340 * k // 10}"))
    (proposal,) = came.read.proposals.values()
    assert [note for note in proposal.notes if "no length: write how many metres one count is as unit_value" in note]
    assert [counter.id for machine in came.read.draft.machines for counter in machine.counters][:1] == ["pieces"]
    assert f'"{header}"' not in came.text


def test_a_later_file_in_tens_is_not_taken(tmp_path):
    """14,472 pieces of a shift for 144,714, exact."""
    came = shown(tmp_path, "Time;Pieces\n" + rows(lambda k: f"{pieces(k)}"))
    assert made(tmp_path, came).value == MADE
    (tmp_path / "later").mkdir()
    later = tmp_path / "later" / "wrapper1.csv"
    text = "Time;Pieces\n" + rows(lambda k: f"{pieces(k + 1440) // 10}")
    later.write_text(text.replace("2026-06-08", "2026-06-09"), encoding="utf-8")
    with Works(tmp_path / "works") as works:
        assert "makes 34 pieces a minute while it counts" in str(works.take([later])[0].error)


def test_numbered_files_of_hours_are_not_suggested_to_be_a_machine_each(tmp_path):
    rng = np.random.default_rng(3)
    for number in range(4):
        first = START + timedelta(hours=24 * number)
        hours = "".join(
            f"{first + timedelta(hours=k):%Y-%m-%d %H:%M};{rng.integers(14_000, 21_000)}\n" for k in range(24)
        )
        came = shown(tmp_path, "Time;Pieces\n" + hours, f"wrapper1_{number}.csv")
    assert "same wrapper1" in [question.key for question in came.open]


def test_rejects_that_two_columns_hold_alike_are_asked_about_as_such(tmp_path):
    """An eye that sees them and a gate that lets them out had been offered as lanes, and nothing said of it."""
    text = "Time;Pieces;Eye rejects;Gate rejects\n"
    alike = shown(tmp_path, text + rows(lambda k: f"{pieces(k)};{4 * k};{4 * max(k - 1, 0)}")).open
    apart = shown(tmp_path, text + rows(lambda k: f"{pieces(k)};{4 * k};{k}")).open
    said = [["They rise alike" in question.text for question in asked] for asked in (alike, apart)]
    assert said == [[True], [False]]


@pytest.mark.parametrize("stood", [range(120, 300), range(120, 160), range(0)])
def test_a_lane_that_stands_while_the_other_counts_on_is_said(tmp_path, stood: range):
    second = {k: 170 * (min(k, stood.start) + max(0, k - stood.stop)) if stood else 170 * k for k in range(481)}
    text = "Time;Lane 1 pieces;Lane 2 pieces\n" + rows(lambda k: f"{170 * k};{second[k]}")
    answers = {question.key: "add" for question in shown(tmp_path, text).open}
    works = tmp_path / "works"
    works.mkdir()
    (works / "plant.toml").write_text(shown(tmp_path, text, **answers).text, encoding="utf-8")
    with Works(works) as opened:
        (taken,) = opened.take([tmp_path / "exports"])
    said = [note for note in taken.notes if "stood for" in note]
    expected = "column 2 of those that 'Lane 1 pieces' adds up stood for 3.0 h while the others counted on: "
    assert said == ([f"{expected}its counts may be missing"] if len(stood) > 60 else [])


def test_good_pieces_that_hold_all_from_some_row_on_are_said(tmp_path):
    """140,163 good pieces of a shift, exact, for 138,544."""
    good = {k: pieces(k) - 4 * min(k, 2 * 480) for k in range(5 * 480)}
    text = "Time;Pieces;Good\n" + rows(lambda k: f"{pieces(k)};{good[k]}", minutes=4 * 480)
    shifts = "early 06:00-14:00 mon-sun; late 14:00-22:00 mon-sun; night 22:00-06:00 mon-sun"
    came = shown(tmp_path, text, shifts=shifts)
    made(tmp_path, came)
    with Works(tmp_path / "works") as works:
        notes = [works.ask(read_question("shift", period=f"2026-06-08.{shift}")).notes for shift in ("early", "night")]
    said = [[note for note in some if note.startswith("Not one reject was counted among 163,200")] for some in notes]
    assert [len(some) for some in said] == [0, 1]
