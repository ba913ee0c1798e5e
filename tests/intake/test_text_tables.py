"""Separators, encodings, line ends, quotes, preambles, footers, ragged rows of text exports."""

from __future__ import annotations

import gzip

import pytest

from lineview.core.errors import IntakeError
from tests.intake.invented_works import layout_of, reasons, utc, values

PIECES = layout_of({"pieces": "pieces", "rejects": "rejects"})
ROWS = ["time;pieces;rejects", "2026-06-08 06:00:00;100;1", "2026-06-08 06:00:10;158;2"]


def table(separator: str = ";", end: str = "\n") -> str:
    return end.join(row.replace(";", separator) for row in ROWS) + end


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_separator_with_every_line_end(read, separator, end):
    export = read(table(separator, end), PIECES)
    assert values(export, "pieces") == [100, 158]
    assert export.parts[0].tidy["row"].unique().sort().to_list() == [2, 3]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
def test_every_encoding(read, encoding):
    text = "Zeit;Stück gesamt;Größe\r\n2026-06-08 06:00:00;100;1\r\n2026-06-08 06:00:10;158;2\r\n"
    layout = layout_of({"Stück gesamt": "pieces", "Größe": "rejects"}, time="Zeit")
    export = read(text.encode(encoding), layout)
    assert values(export, "pieces") == [100, 158]
    assert utc(export) == ["2026-06-08 04:00:00", "2026-06-08 04:00:10"]


def test_headers_compare_case_and_blanks_aside_and_nfc(read):
    text = "  ZEIT ;Stu\u0308ck  Gesamt;x\n2026-06-08 06:00:00;100;1\n"
    assert values(read(text, layout_of({"stück gesamt": "pieces"}, time="Zeit")), "pieces") == [100]


def test_gzip_is_read_and_hashed_as_given(read):
    import hashlib

    packed = gzip.compress(table().encode(), mtime=0)
    export = read(packed, PIECES, "wrap1.csv.gz")
    assert export.sha256 == hashlib.sha256(packed).hexdigest()
    assert export.size_bytes == len(packed)
    assert values(export, "pieces") == [100, 158]


def test_preamble_units_row_repeated_header_blank_lines_and_footer_are_no_data(read):
    text = (
        "Works report; line 1\nPrinted;2026-06-09\n\ntime;pieces;rejects\n;Stk;Stk\n"
        "2026-06-08 06:00:00;100;1\n\n;;\ntime;pieces;rejects\n;Stk;Stk\n2026-06-08 06:00:10;158;2\n"
        "Summe;258;3\nTotal: 2 rows\n"
    )
    export = read(text, PIECES)
    assert (export.rows, export.rows_refused) == (2, 0)
    assert export.parts[0].tidy["row"].unique().sort().to_list() == [6, 11]
    assert any("footer" in note and "repeated header" in note for note in export.notes)


def test_a_repeated_preamble_is_passed_over_but_other_lines_are_refused(read):
    text = "Report\n" + table() + "Report\n" + table() + "who knows\n"
    export = read(text, PIECES)
    assert (export.rows, export.rows_refused) == (5, 1)
    assert reasons(export) == {(9, ""): "cut off: 1 cells where the header has 3"}


def test_a_short_row_is_refused_and_its_text_kept(read):
    export = read(table() + "2026-06-08 06:00:20;2", PIECES)
    assert (export.rows, export.rows_refused) == (3, 1)
    assert export.refusals["text"].to_list() == ["2026-06-08 06:00:20;2"]
    assert "cut off" in reasons(export)[4, ""]


def test_a_long_row_is_refused_unless_its_surplus_is_empty(read):
    text = table() + "2026-06-08 06:00:20;200;3;9\n2026-06-08 06:00:30;250;3;;\n"
    export = read(text, PIECES)
    assert values(export, "pieces") == [100, 158, 250]
    assert reasons(export)[4, ""] == "4 cells where the header has 3"


def test_columns_without_a_header_at_the_end_may_be_missing(read):
    text = "time;pieces;rejects;;\n2026-06-08 06:00:00;100;1;;\n2026-06-08 06:00:10;158;2\n"
    assert values(read(text, PIECES), "pieces") == [100, 158]


def test_nul_padding_is_no_row(read):
    export = read(table().encode() + b"\x00" * 4096, PIECES)
    assert (export.rows, export.rows_refused) == (2, 0)


def test_a_quoted_table_with_doubled_quotes_and_separators(read):
    text = 'time,pieces,rejects,note\n"2026-06-08 06:00:00","1,234","1","say ""no"", twice"\n'
    export = read(text, layout_of({"pieces": "pieces", "rejects": "rejects"}, decimal="."))
    assert values(export, "pieces") == [1234]


def test_a_line_end_within_quotes_is_one_row_with_the_number_of_its_first_line(read):
    noted = '"jam\nat the knife",1\n2026-06-08 06:00:10,158,"three\nlines\nof it",2\n2026-06-08 06:00:20,216,,3\n'
    export = read(f"time,pieces,note,rejects\n2026-06-08 06:00:00,100,{noted}", PIECES)
    assert values(export, "rejects") == [1, 2, 3]
    assert export.parts[0].tidy["row"].unique().sort().to_list() == [2, 4, 7]
    assert (export.rows, reasons(export)) == (3, {})


def test_a_stray_pair_of_quotes_swallows_no_row(read):
    text = 'time,pieces,rejects\n2026-06-08 06:00:00,"100,1\n2026-06-08 06:00:10,158,2\n2026-06-08 06:00:20,200",3\n'
    export = read(text, PIECES)
    assert export.rows == 3
    assert values(export, "pieces") == [158]
    assert values(export, "rejects") == [1, 2, 3]
    assert set(reasons(export)) == {(2, "pieces"), (4, "pieces")}


def test_one_stray_quote_costs_its_own_cell_only(read):
    text = 'time;pieces;rejects\n2026-06-08 06:00:00;100;1"\n2026-06-08 06:00:10;158;2\n'
    export = read(text, PIECES)
    assert values(export, "pieces") == [100, 158]
    assert values(export, "rejects") == [2]


def test_blanks_beside_quotes(read):
    text = 'time, pieces, rejects\n"2026-06-08 06:00:00", "100", "1"\n'
    assert values(read(text, PIECES), "pieces") == [100]


def test_duplicate_and_reversed_rows_all_stay(read):
    text = "\n".join([ROWS[0], ROWS[2], ROWS[2], ROWS[1], ""])
    export = read(text, PIECES)
    assert values(export, "pieces") == [158, 158, 100]


def test_a_decimal_comma_is_not_taken_for_a_separator(read):
    layout = layout_of({"d": ("diameter", "mm"), "t": "temperature"}, machine="sizer1")
    export = read("time;d;t\n2026-06-08 06:00:00;14,02;35,5\n2026-06-08 06:00:10;14,1;35\n", layout)
    assert values(export, "diameter") == [14.02, 14.1]


def test_repeated_headers_in_one_row_are_told_apart(read):
    layout = layout_of({"count": "pieces", "count (2)": "rejects"})
    export = read("time;count;count\n2026-06-08 06:00:00;100;1\n", layout)
    assert values(export, "rejects") == [1]


def test_a_repeated_header_that_the_layout_names_once_is_noted(read):
    export = read("time;count;count\n2026-06-08 06:00:00;100;1\n", layout_of({"count": "pieces"}))
    assert values(export, "pieces") == [100]
    assert any("'count (2)'" in note for note in export.notes)
    told = read("time;count;count\n2026-06-08 06:00:00;100;1\n", layout_of({"count": "pieces", "count (2)": "rejects"}))
    assert not any("(2)" in note for note in told.notes)


def test_a_header_without_rows_is_an_export_of_nothing_and_says_so(read):
    export = read("time;pieces;rejects\n", PIECES)
    assert (export.rows, export.rows_refused, export.parts[0].tidy.height) == (0, 0, 0)
    assert any("header and no row" in note for note in export.notes)


def test_a_preamble_of_other_separators_misleads_nobody(read):
    text = "Report, line 1\nPrinted, today\nBy, nobody\nCopies, two\n" + table()
    assert values(read(text, PIECES), "pieces") == [100, 158]


def test_a_repeated_header_in_other_letters_is_no_data(read):
    assert read(table() + "TIME;Pieces;REJECTS\n" + ROWS[2] + "\n", PIECES).rows_refused == 0


def test_an_unknown_zone_of_a_layout_is_an_error(read):
    with pytest.raises(IntakeError, match="unknown zone 'Berlin'"):
        read(table(), PIECES.model_copy(update={"zone": "Berlin"}))
