"""Headers within a file, and columns that a proposal must not overlook."""

from __future__ import annotations

from datetime import datetime, time

import pytest
import xlsxwriter

from lineview.core.errors import IntakeError
from lineview.intake.exports import Proposal
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, layout_of, values
from tests.intake.small_works import MADE, SmallWorks, rows, stamps, total

BOTH = layout_of({"pieces": "pieces", "film": "film"})


def by_row(export, channel):
    tidy = [part.tidy.filter(channel=channel) for part in export.parts]
    return [value for frame in tidy for value in frame.sort("row")["value"].to_list()]


def test_a_second_header_with_its_columns_in_another_order(read):
    text = (
        "time;pieces;film\n2026-06-08 06:00:00;100;7\n"
        "time;film;pieces\n2026-06-08 06:00:10;8;158\n"
        "time;film;pieces\n2026-06-08 06:00:20;9;216\n"
    )
    export = read(text, BOTH)
    assert by_row(export, "pieces") == [100, 158, 216]
    assert by_row(export, "film") == [7, 8, 9]


def test_a_second_header_with_other_units(read):
    text = (
        "time;film\n;m\n2026-06-08 06:00:00;100\n"
        "time;film\n;ft\n2026-06-08 06:00:10;1000\n"
        "time;film [cm]\n2026-06-08 06:00:20;40000\n"
    )
    export = read(text, layout_of({"film": "film"}))
    assert by_row(export, "film") == pytest.approx([100, 304.8, 400])


def test_a_second_header_that_no_layout_fits_is_refused(read):
    text = "time;pieces;film\n2026-06-08 06:00:00;100;7\ntime;pieces;wax\n2026-06-08 06:00:10;158;8\n"
    with pytest.raises(IntakeError, match=r"second header with other columns|does not have: 'film'"):
        read(text, BOTH)


def test_a_header_that_repeats_is_passed_over(read):
    text = "time;pieces;film\n2026-06-08 06:00:00;100;7\ntime;pieces;film\n2026-06-08 06:00:10;158;8\n"
    assert values(read(text, BOTH), "pieces") == [100, 158]


def test_the_only_quality_column_of_a_wide_file_is_proposed(tmp_path):
    works = SmallWorks(tmp_path / "works")
    text = "time;pieces;Quality\n" + rows(
        stamps(2881, 10), lambda m: total(m) if m % 60 else 0, lambda m: "Good" if m % 60 else "Bad"
    )
    taken = works.take(text, answers={})
    assert taken.accepted.quality_column == "Quality"
    assert taken.receipt.refused == 9


def test_a_workbook_with_a_date_and_a_clock_column(tmp_path):
    path = tmp_path / "log.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet()
    day, clock = book.add_format({"num_format": "dd.mm.yyyy"}), book.add_format({"num_format": "hh:mm:ss"})
    sheet.write_row(0, 0, ["Datum", "Uhrzeit", "Stück"])
    for i, at in enumerate(stamps(481, 60), 1):
        sheet.write_datetime(i, 0, datetime(at.year, at.month, at.day), day)  # noqa: DTZ001 - a cell's date
        sheet.write_datetime(i, 1, time(at.hour, at.minute, at.second), clock)
        sheet.write_number(i, 2, 5000 + 350 * (i - 1))
    book.close()
    works = SmallWorks(tmp_path / "works")
    taken = works.take(path.read_bytes(), "wrap1.xlsx", answers={})
    assert taken.accepted is not None, taken.error
    assert taken.accepted.time == ("Datum", "Uhrzeit")
    assert works.made() == (MADE, MADE, MADE)


@pytest.mark.parametrize("header", ["previsto", "prévu", "erwartet"])
def test_the_day_a_delivery_is_due_is_no_target(tmp_path, header):
    path = tmp_path / "existencias.csv"
    path.write_text(
        f"fecha;material;bobinas enteras;en pedido;{header}\n2026-06-08 14:30;film;12;8;2026-06-20\n", encoding="utf-8"
    )
    proposal = read_export(path, WORKS)
    assert isinstance(proposal, Proposal)
    assert proposal.layout.kind == "stock"
    assert {name: target.to for name, target in proposal.layout.columns.items()} == {
        "material": "web",
        "bobinas enteras": "whole_reels",
        "en pedido": "on_order_reels",
        header: "expected_on",
    }


@pytest.mark.parametrize("header", ["Reels kg", "Reels (m)", "Ordered m", "Rollen kg", "Reels on order [kg]"])
def test_kilograms_and_metres_of_a_web_are_no_number_of_reels(tmp_path, header):
    """198 kg in stock had been 198 reels, and nothing to be ordered."""
    path = tmp_path / "stock.csv"
    path.write_text(f"Counted;Web;{header}\n2026-06-08 22:00;wax;198\n", encoding="utf-8")
    proposal = read_export(path, WORKS)
    assert isinstance(proposal, Proposal)
    assert set(proposal.layout.columns) == {"Web"}
    assert f"not recognised, left out: {header}" in proposal.notes


@pytest.mark.parametrize("header", ["Wrapped piece g", "Gramm gewickelt", "peso incartato g"])
def test_whether_the_wrap_is_weighed_too_is_asked(tmp_path, header):
    path = tmp_path / "weights.csv"
    path.write_text(f"Time;{header}\n2026-06-08 06:00;6.91\n2026-06-08 06:10;6.88\n", encoding="utf-8")
    proposal = read_export(path, WORKS)
    assert isinstance(proposal, Proposal)
    assert "gross" in [question.about for question in proposal.questions]


@pytest.mark.parametrize(("apart", "said"), [(0.3, True), (0.0, False)])
def test_weights_that_differ_by_a_column_left_out_are_said(tmp_path, apart: float, said: bool):
    """Two scales, one of which shows 0.3 g too much, had been one."""
    path, text = tmp_path / "weights.csv", "Time;Scale;Grams\n"
    for k in range(40):
        text += f"2026-06-08 06:{k:02};{'AB'[k % 2]};{6.9 + apart * (k % 2) + 0.01 * (k % 7):.2f}\n"
    path.write_text(text, encoding="utf-8")
    proposal = read_export(path, WORKS)
    assert isinstance(proposal, Proposal)
    why = "(weights differ by it: 6.93 with 'A' and 7.23 with 'B' on average)"
    assert (f"left out: 'Scale' {why}" in proposal.notes) == said
