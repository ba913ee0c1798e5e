"""The sizers of the works, ranked in the answer of any of them, and what is measured of them at the edge."""

from __future__ import annotations

from datetime import timedelta

import polars as pl
import pytest

from lineview.app.inputs import KeptMeasures
from lineview.core.figure import Period
from lineview.plant import Line, Machine, Plant
from lineview.report.answer import Answer, Scope
from lineview.rope.account import RopeAccount, rope_account
from tests.from_frames import Frames, answered, rope_seen
from tests.simulate.rope import GAUGE, START, rope, sheet, works

SECOND = Machine(id="sizer9", name="sizer 9", kind="sizer", line="2", gauges=(GAUGE,))
END = START + timedelta(minutes=1200)


def plant() -> Plant:
    first = works()
    return first.model_copy(update={"machines": (*first.machines, SECOND), "lines": (Line(id="1"), Line(id="2"))})


def account(frame: pl.DataFrame) -> RopeAccount:
    frame = frame.with_columns(machine=pl.lit("sizer9"))
    batches = sheet(120, 10).with_columns(line=pl.lit("2"))
    seen = rope_seen(plant(), SECOND, Frames({"sizer9": frame}, batches=batches))
    return rope_account(plant(), SECOND, seen, (START, END), in_full=False)


def ask(frame: pl.DataFrame, other: RopeAccount | None) -> Answer:
    elsewhere = {} if other is None else {"sizer9": other}
    frames = Frames({"sizer2": frame}, batches=sheet(120, 10), elsewhere=elsewhere)
    return answered("rope", plant(), Scope("1", "sizer2", Period(START, END), END), frames)


def ranking(answer: Answer) -> list[dict[str, object]]:
    return [dict(row) for table in answer.tables if table.name == "sizers" for row in table.rows]


def test_a_drifting_sizer_elsewhere_stands_first_and_is_named():
    other = account(rope(wear=-0.006, seed=2))
    answer = ask(rope(), other)
    first, second = ranking(answer)
    assert (first["sizer"], first["line"], first["state"]) == ("sizer 9", "2", "thinning")
    assert first["low"] <= -0.006 <= first["high"] < 0
    assert 0 < first["early"] < first["hours"]
    assert (second["sizer"], second["state"], second["hours"]) == ("sizer 2", "steady", None)
    assert all(row["why"] for row in (first, second))
    assert f"sizer 9 needs attention sooner: its rope leaves tolerance in {first['early']:.0f} to" in answer.soft


def test_the_sizer_asked_about_is_not_pointed_at():
    answer = ask(rope(wear=-0.006, seed=2), account(rope()))
    assert [row["sizer"] for row in ranking(answer)] == ["sizer 2", "sizer 9"]
    assert "needs attention sooner" not in answer.soft


def test_a_sizer_that_cannot_be_told_says_why():
    dead = account(rope().with_columns(value=pl.lit(14.0)))
    row = ranking(ask(rope(), dead))[0]
    assert row["state"] == "not known"
    assert "is dead" in row["why"]
    assert row["drift"] is None


def test_one_sizer_has_nothing_to_rank():
    assert ranking(ask(rope(), None)) == []


def test_a_ranked_sizer_stands_as_in_its_own_answer():
    frame = rope(wear=-0.006, seed=2)
    own, ranked = ask(frame, None), ranking(ask(rope(), account(frame)))[0]
    assert ranked["drift"] == pytest.approx(own.figure("drift_mm_per_h").value, abs=5e-5)
    assert ranked["hours"] == pytest.approx(own.figure("hours_to_tolerance").value, abs=0.5)


def test_what_was_measured_is_let_go_when_the_data_change():
    kept = KeptMeasures()
    measured = account(rope(8))
    assert kept.of("a", "plant").sizers.get(("s", (START, END)), lambda: measured) is measured
    assert kept.of("a", "plant").sizers.held_bytes > 0
    assert kept.of("b", "plant").sizers.held_bytes == 0
