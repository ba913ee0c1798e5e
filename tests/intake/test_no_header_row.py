"""Exports without a header row: their columns are called by their place."""

from __future__ import annotations

import pytest

from lineview.core.errors import IntakeError
from lineview.intake.exports import Proposal
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, layout_of, values

BY_PLACE = layout_of({"column 2": "pieces", "column 4": "rejects"}, time="column 1")
BARE = "2026-06-08 06:00:00;100;x;1\n2026-06-08 06:00:10;158;x;2\n"


def test_columns_are_read_by_their_place(read):
    export = read(BARE, BY_PLACE)
    assert (values(export, "pieces"), values(export, "rejects")) == ([100, 158], [1, 2])
    assert (export.rows, export.rows_refused) == (2, 0)
    assert export.parts[0].tidy["row"].unique().sort().to_list() == [1, 2]


def test_lines_above_the_first_row_are_no_data(read):
    export = read("Works report\nPrinted by the line\n\n" + BARE, BY_PLACE)
    assert (export.rows, export.rows_refused) == (2, 0)
    assert export.parts[0].tidy["row"].unique().sort().to_list() == [4, 5]


def test_a_layout_by_place_does_not_take_a_table_with_headers(read):
    with pytest.raises(IntakeError, match="column 2"):
        read("time;pieces;state;rejects\n" + BARE, BY_PLACE)


def test_a_layout_by_place_wants_as_many_columns(read):
    with pytest.raises(IntakeError, match="'column 4'"):
        read("2026-06-08 06:00:00;100;x\n2026-06-08 06:00:10;158;x\n", BY_PLACE)


def test_a_proposal_finds_the_time_and_shows_the_columns_by_place(tmp_path):
    file = tmp_path / "tower7_2026-06-08.csv"
    file.write_text(BARE)
    proposal = read_export(file, WORKS)
    assert isinstance(proposal, Proposal)
    assert proposal.layout.time == "column 1"
    assert proposal.sample.columns == ["column 1", "column 2", "column 3", "column 4"]
    assert any("no header row" in note for note in proposal.notes)
    assert "columns" in {question.about for question in proposal.questions}
    assert any('"column 2" = { to = "pieces" }' in note for note in proposal.notes)
