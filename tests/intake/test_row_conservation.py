"""Every data row of any file, however awkward, is kept or refused whole, exactly once."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from lineview.core.errors import IntakeError
from lineview.intake.exports import Export
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, adds_up, layout_of

CELLS = st.sampled_from(
    [
        "1",
        "25",
        "1234",
        "12.5",
        "0.25",
        "",
        " 7 ",
        "-",
        "n/a",
        "Bad",
        "#####",
        "NaN",
        "inf",
        "1.#QNAN",
        "x y",
        "12a",
        "−3",
    ]
)
TIMES = st.sampled_from(
    ["2026-06-08 06:00:00", "2026-06-08T06:00:10Z", "2026-10-25 02:30:00", "2026-03-29 02:30:00", "", "later",
     "2026-06-08 24:00:00", "2026-13-01 00:00:00"]
)  # fmt: skip
QUALITIES = st.sampled_from(["Good", "Bad", "Uncertain", "", "192"])

#: A line, and whether it is a data row.
DATA = st.tuples(TIMES, CELLS, CELLS, QUALITIES).map(lambda cells: (list(cells), True))
SHORT = st.tuples(TIMES.filter(bool)).map(lambda cells: (list(cells), True))
LONG = st.tuples(TIMES, CELLS, CELLS, QUALITIES, st.just("more")).map(lambda cells: (list(cells), True))
SURPLUS = st.tuples(TIMES, CELLS, CELLS, QUALITIES, st.just(""), st.just(" ")).map(lambda cells: (list(cells), True))
HEADER = ["time", "n", "r", "Q"]
NO_DATA = st.sampled_from([HEADER, [""], ["", "", "", ""], ["Total", "9", "", ""], ["Summe: ", "9", "9", ""]]).map(
    lambda cells: (cells, False)
)
LINES = st.lists(st.one_of(DATA, DATA, DATA, SHORT, LONG, SURPLUS, NO_DATA), max_size=25)


#: A file whose counter or clock can mean two things is left whole until somebody says which.
ASKED = re.compile("goes up and down as differences do|clock goes back")


def is_row(cells: list[str], data: bool) -> bool:
    """A generated data row of nothing but empty cells is a blank line."""
    return data and any(cell.strip() for cell in cells)


@settings(max_examples=60, deadline=None)
@given(
    lines=LINES,
    separator=st.sampled_from([";", "\t", ",", "|"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-be"]),
    preamble=st.lists(st.sampled_from(["Report", "", "line 1", "a b c"]), max_size=3),
    units=st.booleans(),
    last=st.booleans(),
)
def test_rows_add_up(lines, separator, end, encoding, preamble, units, last):
    text = [
        *preamble,
        separator.join(HEADER),
        *([separator * 1 + "Stk" + separator + "Stk" + separator] if units else []),
    ]
    text += [separator.join(cells) for cells, _ in lines]
    content = end.join(text) + (end if last else "")
    number = sum(is_row(*line) for line in lines)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        path.write_bytes(content.encode(encoding))
        layout = layout_of({"n": "pieces", "r": "rejects"}, quality_column="Q", decimal=".")
        try:
            export = read_export(path, WORKS, layout=layout)
        except IntakeError as error:
            assert (number == 0 and "no row" in str(error)) or ASKED.search(str(error))
            return
    assert isinstance(export, Export)
    adds_up(export)
    assert export.rows == number
    first = len(text) - len(lines) + 1
    rows = {first + i for i, line in enumerate(lines) if is_row(*line)}
    seen = set(export.parts[0].tidy["row"]) | set(export.refusals["row"])
    assert seen == rows
    assert export.refusals["reason"].null_count() == 0
    assert not export.parts[0].tidy.filter(pl.col("value").is_nan() | pl.col("value").is_infinite()).height


@settings(max_examples=40, deadline=None)
@given(
    cells=st.lists(
        st.tuples(TIMES, st.sampled_from(["A", "a", "S", "?", ""]), CELLS, QUALITIES), min_size=1, max_size=20
    ),
    kind=st.sampled_from(["long", "weights", "stops"]),
)
def test_rows_of_other_shapes_add_up(cells, kind):
    layouts = {
        "long": layout_of(
            {"A": "pieces", "S": "state"},
            shape="long",
            name_column="name",
            value_column="v",
            quality_column="Q",
            decimal=".",
        ),
        "weights": layout_of({"v": ("mass_g", "g"), "name": "batch"}, kind="weights", decimal="."),
        "stops": layout_of({"v": ("duration", "min"), "name": "reason"}, kind="stops", decimal="."),
    }
    content = "\n".join(["time\tname\tv\tQ", *["\t".join(row) for row in cells], ""])
    number = sum(any(cell.strip() for cell in row) for row in cells)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        path.write_text(content)
        try:
            export = read_export(path, WORKS, layout=layouts[kind])
        except IntakeError as error:
            assert number == 0 and "no row" in str(error)
            return
    assert isinstance(export, Export)
    adds_up(export)
    assert export.rows == number
