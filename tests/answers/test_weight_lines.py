"""Lines that make the same product: told beside the asked line, and never in its own figures."""

from __future__ import annotations

import dataclasses

import polars as pl
import pytest
from weight_scene import batch_sheet, frames, plant, product, scope, weights

from lineview.answers.answer import Answer
from lineview.answers.json_form import to_json
from lineview.plant import Line, Machine, Plant
from tests.from_frames import Frames, answered


def two_lines(*products: object) -> Plant:
    """Give the invented works with a second line."""
    works = plant(*products)  # type: ignore[arg-type]  # products of the scene
    second = Machine(id="wrap2", kind="cut-and-wrap machine", line="line2")
    return works.model_copy(
        update={
            "lines": (*works.lines, Line(id="line2", name="Second line")),
            "machines": (*works.machines, second),
        }
    )


def beside(heavier_g: float, product_name: str = "mint") -> Frames:
    """Frames of the asked line, with another line whose pieces are so much heavier."""
    other = weights(seed=9).with_columns(machine=pl.lit("wrap2"), mass_g=pl.col("mass_g") + heavier_g)
    sheet = batch_sheet(40, (product_name,)).with_columns(line=pl.lit("line2"))
    return dataclasses.replace(frames(weights()), weights_elsewhere=other, batches_elsewhere=sheet)


def told(answer: Answer) -> dict[str, tuple[object, object, object]]:
    return {f.name: (f.value, f.low, f.high) for f in answer.figures if f.name != "sd_lines_g"}


def test_another_line_leaves_every_figure_of_the_asked_line_as_it_is() -> None:
    alone = answered("weight", two_lines(), scope(), frames(weights()))
    both = answered("weight", two_lines(), scope(), beside(0.5))
    assert told(alone) == told(both)
    assert alone.text == both.text
    to_json(both)


def test_the_spread_between_lines_and_the_difference_are_told() -> None:
    answer = answered("weight", two_lines(), scope(), beside(0.5))
    spread = answer.figure("sd_lines_g")
    assert spread is not None and spread.value == pytest.approx(0.5 / 2**0.5, abs=0.08)
    assert spread.low < spread.value < spread.high
    rows = next(t for t in answer.tables if t.name == "lines").rows
    assert [row["line"] for row in rows] == ["line1", "Second line"]
    assert rows[1]["apart_low"] < 0.5 < rows[1]["apart_high"]
    assert any("heavier on Second line than on line1" in note for note in answer.notes)


def test_lines_that_do_not_differ_are_said_not_to_be_told_apart() -> None:
    notes = answered("weight", two_lines(), scope(), beside(0.0)).notes
    assert any("not told apart" in note for note in notes)


def test_one_line_alone_cannot_be_compared() -> None:
    spread = answered("weight", plant(), scope(), frames(weights())).figure("sd_lines_g")
    assert spread is not None and spread.why_none == "cannot be told: one line was weighed"


def test_lines_that_share_no_product_cannot_be_compared() -> None:
    works = two_lines(product("mint"), product("rose"))
    spread = answered("weight", works, scope(), beside(0.5, "rose")).figure("sd_lines_g")
    assert spread is not None and "no product of this line" in spread.why_none
