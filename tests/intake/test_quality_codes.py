"""Quality columns: words, 32-bit codes, bytes; bad never used, uncertain counted apart."""

from __future__ import annotations

import polars as pl
import pytest

from lineview.intake.cells.quality import judge
from tests.intake.invented_works import layout_of, reasons, values


def judged(*cells: str) -> list[str]:
    told = judge(pl.Series(list(cells)))
    return ["good"] * len(cells) if told is None else told.to_list()


@pytest.mark.parametrize(
    ("cells", "meaning"),
    [
        (("Good", "GOOD", "Bad", "Uncertain"), ["good", "good", "bad", "uncertain"]),
        (("gut", "schlecht", "unsicher"), ["good", "bad", "uncertain"]),
        (("OK", "Fehler", "what is this"), ["good", "bad", "uncertain"]),
        (("0x00000000", "0x80050000", "0x40900000"), ["good", "bad", "uncertain"]),
        (("0", "2147483648", "1073741824", "3221225472"), ["good", "bad", "uncertain", "bad"]),
        (("192", "0", "64", "24", "216"), ["good", "bad", "uncertain", "bad", "good"]),
        (("0", "-2147155968"), ["good", "bad"]),
        (("", "Bad", ""), ["good", "bad", "good"]),
        (("Good", "", "Good"), ["good", "uncertain", "good"]),
        (("BadCommunicationError", "UncertainLastUsableValue", "GoodClamped"), ["bad", "uncertain", "good"]),
    ],
)
def test_what_qualities_mean(cells, meaning):
    assert judged(*cells) == meaning


def test_a_quality_column_for_the_whole_row(read):
    layout = layout_of({"n": "pieces", "r": "rejects"}, quality_column="Q")
    text = "time;n;r;Q\n2026-06-08 06:00:00;1;0;Good\n2026-06-08 06:00:10;2;0;Bad\n2026-06-08 06:00:20;3;0;Uncertain\n"
    export = read(text, layout)
    assert values(export, "pieces") == [1, 3]
    assert export.uncertain == 2
    assert export.parts[0].tidy["quality"].value_counts().sort("quality").rows() == [("good", 2), ("uncertain", 2)]
    assert reasons(export) == {(3, ""): "quality 'Bad' is bad"}


@pytest.mark.parametrize(
    "header", ["n;n quality;r;r quality", "n;n.Q;r;r.Q", "n;Status;r;Status", "n;n_status;r;r_status"]
)
def test_a_quality_column_for_each_channel(read, header):
    text = f"time;{header}\n2026-06-08 06:00:00;1;Good;5;Bad\n2026-06-08 06:00:10;2;Bad;6;Good\n"
    export = read(text, layout_of({"n": "pieces", "r": "rejects"}))
    assert values(export, "pieces") == [1]
    assert values(export, "rejects") == [6]
    assert reasons(export) == {(2, "r"): "quality 'Bad' is bad", (3, "n"): "quality 'Bad' is bad"}


def test_quality_in_a_long_table(read):
    layout = layout_of({"A": "pieces"}, shape="long", name_column="name", value_column="v", quality_column="q")
    text = "time;name;v;q\n2026-06-08 06:00:00;A;1;192\n2026-06-08 06:00:10;A;2;0\n2026-06-08 06:00:20;A;3;64\n"
    export = read(text, layout)
    assert values(export, "pieces") == [1, 3]
    assert (export.uncertain, export.rows_refused) == (1, 1)
