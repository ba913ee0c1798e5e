"""Numbers that would be read wrongly in silence: rounded ones, parts of pieces, durations of two parts."""

from __future__ import annotations

import pytest

from lineview.core.errors import IntakeError
from tests.intake.invented_works import layout_of, reasons, values


def test_a_rounded_total_is_refused(read):
    export = read("time;n\n2026-06-08 06:00:00;4.29490E+09\n2026-06-08 06:00:10;1.234E3\n", layout_of({"n": "pieces"}))
    assert values(export, "pieces") == [1234.0]
    assert "is rounded" in reasons(export)[2, ""]


def test_a_column_of_parts_of_pieces_is_refused(read):
    lines = "".join(f"2026-06-08 06:00:{i:02};6.{i:02}\n" for i in range(10, 30))
    export = read("time;n\n" + lines + "2026-06-08 06:01:00;7.0\n", layout_of({"n": "pieces"}))
    assert values(export, "pieces") == []
    assert "parts of pieces" in reasons(export)[2, ""]


def test_a_duration_of_two_parts_needs_its_unit(read):
    text = "start;length\n2026-06-08 06:00:00;12:00\n2026-06-08 07:00:00;00:45\n"
    columns = {"start": "start", "length": "duration"}
    with pytest.raises(IntakeError, match=r"'12:00' in 'length' can be hours and minutes, or minutes and seconds"):
        read(text, layout_of(columns, kind="stops"))
    for unit, ends in (("min", ["06:12", "07:00"]), ("h", ["18:00", "07:45"])):
        export = read(text, layout_of({"start": "start", "length": ("duration", unit)}, kind="stops", zone="UTC"))
        assert [f"{end:%H:%M}" for end in export.parts[0].tidy["end"]] == ends


def test_a_column_of_hexadecimal_numbers_is_refused(read):
    """0012E5 passed for 1,200,000 pieces, and 001310 for 1,310."""
    cells = ["0012E5", "001310", "0013C7", "001492", "0015AB", "001600", "001753", "001801"]
    text = "".join(f"2026-06-08 06:00:{n:02};{cell}\n" for n, cell in enumerate(cells))
    export = read(f"time;n\n{text}", layout_of({"n": "pieces"}))
    assert export.rows_refused == len(cells)
    assert "hexadecimal" in str(export.refusals["reason"].to_list())
