"""Several columns that could be one counter, gauge or mass: the right one, or a question, never the first."""

from __future__ import annotations

import pytest

from lineview.core.errors import PlantError
from lineview.plant.read import read_plant
from tests.intake.small_works import MADE, PER_MIN, SmallWorks, rows, stamps, total

WHOLE_SHIFT = stamps(2881, 10)


def asked(taken):
    assert taken.proposal is not None, taken.error
    return {question.about: question for question in taken.proposal.questions}


@pytest.mark.parametrize(
    ("headers", "others", "read"),
    [
        ("Soll Stück;Ist Stück", [lambda _: 180_000, total], "Ist Stück"),
        ("Stück/min;Stück", [lambda _: PER_MIN, total], "Stück"),
        ("Stück pro Minute;Stück gesamt", [lambda _: PER_MIN, total], "Stück gesamt"),
        ("target pieces;pieces rate;pieces", [lambda _: 1, lambda _: 350.5, total], "pieces"),
        ("pieces per h;Piece count", [lambda _: 21_000, total], "Piece count"),
    ],
)
def test_the_column_that_counts_is_read(tmp_path, headers, others, read):
    works = SmallWorks(tmp_path / "works")
    taken = works.take(f"Zeit;{headers}\n" + rows(WHOLE_SHIFT, *others), answers={})
    assert taken.receipt is not None, taken
    assert [h for h, target in taken.accepted.columns.items() if target.to == "pieces"] == [read]
    assert works.made() == (MADE, MADE, MADE)


def test_lanes_are_asked_about_and_added(tmp_path):
    def lane(minutes):
        return round(PER_MIN / 2 * minutes)

    works = SmallWorks(tmp_path / "works", modulus=65536)
    text = "time;Lane 1 pieces;Lane 2 pieces\n" + rows(
        WHOLE_SHIFT, lambda m: (65_000 + lane(m)) % 65536, lambda m: (9_000 + lane(m)) % 65536
    )
    assert asked(works.take(text))["columns of pieces"].options[0][0] == "add"
    taken = works.take(text, answers={"columns of pieces": "add"})
    assert taken.receipt is not None
    assert works.made() == (MADE, MADE, MADE)
    assert "adds = true" in (tmp_path / "works" / "layouts.toml").read_text(encoding="utf-8")


def test_two_totals_are_asked_about(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces A;pieces B\n" + rows(WHOLE_SHIFT, total, lambda m: total(m) // 2)
    assert "columns of pieces" in asked(works.take(text))
    works.take(text, answers={"columns of pieces": "pieces A"})
    assert works.made() == (MADE, MADE, MADE)


def test_of_least_mean_and_greatest_the_mean_is_read(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;diameter min;diameter mean;diameter max\n" + rows(
        stamps(50, 10), lambda _: 13.1, lambda _: 14.02, lambda _: 14.9
    )
    taken = works.take(text, "sizer1.csv", answers={})
    assert list(taken.accepted.columns) == ["diameter mean"]


def test_two_columns_of_one_counter_do_not_pass_the_check(tmp_path):
    layout = """
[[layouts]]
id = "log"
machine = "wrap1"
[layouts.columns]
"A" = { to = "pieces" }
"B" = { to = "wrap1/pieces" }
"""
    works = SmallWorks(tmp_path / "works", layout)
    with pytest.raises(PlantError, match=r"line \d+: columns 'A' and 'B' both point at 'wrap1/pieces'"):
        read_plant(works.folder / "plant.toml")
    SmallWorks(tmp_path / "works", layout.replace(" }", ", adds = true }"))
    read_plant(works.folder / "plant.toml")


@pytest.mark.parametrize(
    ("headers", "cells", "read"),
    [
        ("target g;actual g", ["6.60", "6.92"], {"actual g"}),
        ("gross g;tare g;net g", ["9.92", "3.00", "6.92"], {"net g"}),
        ("Brutto [g];Tara [g];Netto [g]", ["9.92", "3.00", "6.92"], {"Netto [g]"}),
        ("piece 1 g;piece 2 g", ["6.91", "6.93"], {"piece 1 g", "piece 2 g"}),
        ("mass 1 [g];mass 2 [g];mean [g];std [g]", ["6.91", "6.93", "6.92", "0.01"], {"mass 1 [g]", "mass 2 [g]"}),
        ("piece g", ["6.92"], {"piece g"}),
    ],
)
def test_masses_of_pieces_alone_are_weights(tmp_path, headers, cells, read):
    works = SmallWorks(tmp_path / "works")
    lines = "".join(f"2026-06-08 06:{i:02}:00;" + ";".join(cells) + "\n" for i in range(30))
    taken = works.take(f"time;{headers}\n" + lines, "weights_wrap1.csv", answers={})
    assert taken.accepted is not None, (taken.proposal and taken.proposal.questions, taken.error)
    assert taken.accepted.kind == "weights"
    assert {h for h, target in taken.accepted.columns.items() if target.to == "mass_g"} == read


def test_gross_and_tare_without_net_are_asked_about(tmp_path):
    works = SmallWorks(tmp_path / "works")
    lines = "".join(f"2026-06-08 06:{i:02}:00;9.92;3.00\n" for i in range(30))
    taken = works.take("time;gross g;tare g\n" + lines, "weights_wrap1.csv")
    assert "columns of mass_g" in asked(taken)
