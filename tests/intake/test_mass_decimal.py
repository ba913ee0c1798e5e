"""The decimal mark of weights that could be read in two ways, settled by what a piece weighs."""

from __future__ import annotations

import polars as pl
import pytest

from lineview.intake.cells.numbers import mark_by_mass
from lineview.plant import ColumnTarget
from tests.intake.small_works import SmallWorks, stamps

MASS = {"mass": ColumnTarget(to="mass_g")}


@pytest.mark.parametrize(
    ("cells", "unit", "mark"),
    [
        (["6,617", "6,502", "7,021"], "g", ","),
        (["6.617", "6.502", "7.021"], "g", "."),
        (["6,617", "6,502", "7,021"], "mg", "."),
        (["6.617", "6.502", "7.021"], "mg", ","),
        (["1,234", "2,345", "9,876"], "g", None),  # of nothing here
        (["6,617", "1,502", "2,021"], "g", None),  # some only
        ([], "g", None),
    ],
)
def test_the_mark_is_taken_where_one_reading_alone_fits(cells: list[str], unit: str, mark: str | None) -> None:
    given = {"mass": pl.Series(cells, dtype=pl.String)}
    assert mark_by_mass({"mass": ColumnTarget(to="mass_g", unit=unit)}, given, [6.6, 7.0]) == mark


def test_pieces_weighed_together_are_shared_out() -> None:
    columns = MASS | {"n": ColumnTarget(to="pieces")}
    cells = {"mass": pl.Series(["33,085", "32,510"]), "n": pl.Series(["5", "5"])}
    assert mark_by_mass(columns, cells, [6.6]) == ","
    assert mark_by_mass(MASS, cells, [6.6]) is None


def test_where_both_readings_are_pieces_of_some_product_it_stays_open() -> None:
    assert mark_by_mass(MASS, {"mass": pl.Series(["6,617", "6,502"])}, [6.6, 6600.0]) is None
    assert mark_by_mass({}, {}, [6.6]) is None
    assert mark_by_mass(MASS, {"mass": pl.Series(["6,617"])}, []) is None


def test_masses_called_gross_are_asked_whether_the_wrap_is_weighed(tmp_path):
    """They had been read as of the pieces alone."""
    works = SmallWorks(tmp_path / "works")
    text = "Time;Machine;Gross g\n" + "".join(
        f"{at:%Y-%m-%d %H:%M:%S};wrap1;7.{k % 9}2\n" for k, at in enumerate(stamps(30, 600))
    )
    asked = works.take(text, "weights.csv").proposal
    assert [question.about for question in asked.questions] == ["gross"]
    taken = works.take(text, "weights.csv", answers={"gross": "true"})
    assert taken.accepted.gross
