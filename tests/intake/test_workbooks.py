"""XLSX and ODS: typed dates and numbers, numbers kept as text, hidden and several sheets, row numbers."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
import xlsxwriter
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from lineview.core.errors import IntakeError
from lineview.intake.detect.sheets import Export
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, adds_up, layout_of, reasons, utc, values

AT = [dt.datetime(2026, 6, 8, 0, 0), dt.datetime(2026, 6, 8, 6, 0, 10)]  # noqa: DTZ001 - a sheet has no zone


def xlsx(path: Path, sheets: dict[str, list[list[object]]], hidden: tuple[str, ...] = ()) -> Path:
    book = xlsxwriter.Workbook(path)
    stamp = book.add_format({"num_format": "dd.mm.yyyy hh:mm:ss"})
    day, clock = book.add_format({"num_format": "dd.mm.yyyy"}), book.add_format({"num_format": "hh:mm:ss"})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        if name in hidden:
            sheet.hide()
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                if isinstance(cell, dt.datetime):
                    sheet.write_datetime(i, j, cell, stamp)
                elif isinstance(cell, dt.date):
                    sheet.write_datetime(i, j, cell, day)
                elif isinstance(cell, dt.time):
                    sheet.write_datetime(i, j, cell, clock)
                elif cell is not None:
                    sheet.write(i, j, cell)
    book.close()
    return path


def ods(path: Path, rows: list[list[object]], name: str = "Waage") -> Path:
    book, table = OpenDocumentSpreadsheet(), Table(name=name)
    for row in rows:
        line = TableRow()
        for cell in row:
            if isinstance(cell, dt.datetime):
                made = TableCell(valuetype="date", datevalue=cell.isoformat())
            elif isinstance(cell, dt.time):
                made = TableCell(valuetype="time", timevalue=f"PT{cell:%HH%MM%S}S")
            elif isinstance(cell, int | float):
                made = TableCell(valuetype="float", value=str(cell))
            else:
                made = TableCell() if cell is None else TableCell(valuetype="string")
            if cell is not None:
                made.addElement(P(text=str(cell)))
            line.addElement(made)
        table.addElement(line)
    book.spreadsheet.addElement(table)
    book.save(str(path))
    return path


def opened(path: Path, layout) -> Export:
    export = read_export(path, WORKS, layout=layout)
    assert isinstance(export, Export)
    adds_up(export)
    return export


ROWS: list[list[object]] = [
    ["Report"],
    [],
    ["time", "n", "r"],
    [AT[0], 1234, "1.5"],
    [],
    [AT[1], "1.240", 1.234],
    ["Total", 2474, 3],
]


@pytest.mark.parametrize("form", ["iso", "excel", "auto", "%d.%m.%Y %H:%M:%S"])
def test_typed_dates_at_midnight_and_later(tmp_path, form):
    path = xlsx(tmp_path / "a.xlsx", {"Data": ROWS})
    export = opened(path, layout_of({"n": "pieces", "r": "rejects"}, time_format=form, decimal="."))
    assert utc(export) == ["2026-06-07 22:00:00", "2026-06-08 04:00:10"]
    assert values(export, "pieces") == [1234, 1.24]
    assert values(export, "rejects") == [1.5, 1.234]
    assert export.parts[0].tidy["row"].unique().sort().to_list() == [4, 6]


def test_a_typed_number_is_never_taken_for_thousands(tmp_path):
    rows = [["time", "n", "r"], [AT[0], 1.234, "1.234"], [AT[1], 1.5, "7,5"]]
    export = opened(xlsx(tmp_path / "a.xlsx", {"Data": rows}), layout_of({"n": "pieces", "r": "rejects"}))
    assert values(export, "pieces") == [1.234, 1.5]
    assert values(export, "rejects") == [1234, 7.5]


def test_serials_that_lost_their_format(tmp_path):
    rows = [["time", "n"], [46181.25, 1], ["46181,5", 2]]
    export = opened(xlsx(tmp_path / "a.xlsx", {"Data": rows}), layout_of({"n": "pieces"}, time_format="excel"))
    assert utc(export) == ["2026-06-08 04:00:00", "2026-06-08 10:00:00"]


def test_date_and_clock_cells(tmp_path):
    rows = [["d", "t", "n"], [AT[1].date(), dt.time(6, 0, 10), 1]]
    export = opened(
        xlsx(tmp_path / "a.xlsx", {"Data": rows}), layout_of({"n": "pieces"}, time=("d", "t"), time_format="excel")
    )
    assert utc(export) == ["2026-06-08 04:00:10"]


def test_hidden_sheets_are_passed_over_and_sheets_without_a_layout_named(tmp_path):
    other = [["what", "is", "this"], [1, 2, 3]]
    path = xlsx(tmp_path / "a.xlsx", {"Notes": other, "Old": ROWS, "Data": ROWS}, hidden=("Old",))
    export = opened(path, layout_of({"n": "pieces"}, decimal="."))
    assert export.rows == 2
    assert any("hidden" in note and "Old" in note for note in export.notes)
    assert any("Notes" in note for note in export.notes)


def test_a_layout_for_one_sheet_leaves_the_others(tmp_path):
    path = xlsx(tmp_path / "a.xlsx", {"Mon": ROWS, "Tue": ROWS})
    assert opened(path, layout_of({"n": "pieces"}, decimal=".", sheet="tu*")).rows == 2


def test_several_sheets_give_a_part_each(tmp_path):
    path = xlsx(tmp_path / "a.xlsx", {"Mon": ROWS, "Tue": [*ROWS[:5], ["bad time", 1, 2]]})
    export = opened(path, layout_of({"n": "pieces"}, decimal="."))
    assert (export.rows, export.rows_refused, len(export.parts)) == (4, 1, 2)
    assert export.refusals["file"].to_list() == ["a.xlsx [Tue]"]


def test_ods_with_blank_rows_keeps_its_row_numbers(tmp_path):
    rows = [["Pre"], [None], ["time", "n"], [AT[0], 1.5], [None], [AT[1], "n/a"], [AT[1], 2]]
    export = opened(ods(tmp_path / "a.ods", rows), layout_of({"n": "pieces"}, sheet="waage", time_format="excel"))
    assert export.parts[0].tidy["row"].to_list() == [4, 7]
    assert utc(export)[0] == "2026-06-07 22:00:00"
    assert reasons(export) == {(6, ""): "placeholder 'n/a' for a missing value"}


def test_a_truncated_workbook_is_an_error(tmp_path):
    path = xlsx(tmp_path / "a.xlsx", {"Data": ROWS})
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(IntakeError, match="cut off"):
        read_export(path, WORKS)


def test_times_of_day_in_ods_and_durations_in_xlsx(tmp_path):
    rows = [["day", "clock", "n"], [AT[1], dt.time(6, 0, 10), 5]]
    layout = layout_of({"n": "pieces"}, time=("day", "clock"), time_format="iso")
    rows[1][0] = dt.datetime(2026, 6, 8)  # noqa: DTZ001 - a sheet has no zone
    assert utc(opened(ods(tmp_path / "a.ods", rows), layout)) == ["2026-06-08 04:00:10"]
    book = xlsxwriter.Workbook(tmp_path / "b.xlsx")
    sheet, span = book.add_worksheet(), book.add_format({"num_format": "[h]:mm:ss"})
    sheet.write_row(0, 0, ["start", "d"])
    sheet.write(1, 0, "2026-06-08 06:00:00")
    sheet.write_datetime(1, 1, dt.timedelta(minutes=2, seconds=30), span)
    sheet.write(2, 0, "2026-06-08 06:00:00")
    sheet.write_datetime(2, 1, dt.timedelta(hours=36), span)
    book.close()
    stops = opened(tmp_path / "b.xlsx", layout_of({"d": "duration"}, kind="stops", time="start"))
    assert utc(stops, "end") == ["2026-06-08 04:02:30", "2026-06-09 16:00:00"]
