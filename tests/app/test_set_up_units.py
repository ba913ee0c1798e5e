"""Counters of pairs, sheets, turns and tens, and files that are numbered: asked about, left out or declined."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

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
