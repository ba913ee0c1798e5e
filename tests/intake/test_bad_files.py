"""Files that cannot be taken in at all: a plain error each, and nothing else."""

from __future__ import annotations

import gzip

import pytest

from lineview.core.errors import IntakeError
from lineview.intake.find import find_exports
from lineview.intake.read import read_export
from tests.intake.invented_works import WORKS, layout_of

GOOD = b"time;n\n2026-06-08 06:00:00;1\n"


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", b"", "empty"),
        ("a.csv", b"\x00" * 100, "empty"),
        ("a.csv", b"\xef\xbb\xbf\r\n", "empty"),
        ("a.csv.gz", gzip.compress(b"", mtime=0), "empty"),
        ("a.csv", bytes(range(256)) * 40, "binary"),
        ("a.png", b"\x89PNG\r\n\x1a\n" + bytes(200), "binary"),
        ("a.csv.gz", gzip.compress(GOOD * 500, mtime=0)[:60], "cut off"),
        ("a.csv.gz", b"\x1f\x8b\x08" + b"x" * 50, "damaged"),
        ("a.xlsx", b"time;n\n", "not a workbook"),
        ("a.xlsx", b"PK\x03\x04" + b"x" * 100, "not a workbook"),
        ("a.txt", b"Dear all,\nplease find the numbers.\n", "no rows with times"),
    ],
)
def test_a_plain_error(tmp_path, name, content, said):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(IntakeError, match=said):
        read_export(path, WORKS)


def test_a_missing_file(tmp_path):
    with pytest.raises(IntakeError, match="no such file"):
        read_export(tmp_path / "none.csv", WORKS)


def test_a_missing_column_names_the_headers_there_are(read):
    with pytest.raises(IntakeError, match=r"'Stück', 'Menge'.*headers: 'time', 'n'"):
        read(GOOD, layout_of({"Stück": "pieces", "Menge": "rejects"}))


def test_unknown_machine_and_channel_at_once(read, tmp_path):
    layout = layout_of({"n": "wrap9/pieces", "time": "wrap1/nothing"}, machine=None)
    with pytest.raises(IntakeError) as caught:
        read(GOOD, layout)
    first, second = caught.value.faults
    assert (first.what, first.expected) == (
        "'n' points at the unknown machine 'wrap9'", "one of wrap1, wrap2, sizer1"
    )  # fmt: skip
    assert second.what == "'time' points at 'nothing', which is not a counter or gauge"
    assert {first.where, second.where} == {str(tmp_path / "export.csv")}
    with pytest.raises(IntakeError, match=r"unknown machine 'wrap7'.*wrap1, wrap2, sizer1"):
        read(GOOD, layout_of({"n": "pieces"}, machine="wrap7"))


def test_a_layout_without_a_machine_where_several_are(read):
    with pytest.raises(IntakeError, match="does not name a machine"):
        read(GOOD, layout_of({"n": "pieces"}, machine=None))


def test_folders_are_walked_in_order_and_temporary_files_passed_over(tmp_path):
    for name in ("b.csv", "sub/a.tsv.gz", ".hidden.csv", "~$a.xlsx", "c.csv.tmp", "notes.md", ".git/x.csv"):
        file = tmp_path / name
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(GOOD)
    found = find_exports([tmp_path, tmp_path / "b.csv"])
    assert [str(f.relative_to(tmp_path)) for f in found] == ["b.csv", "sub/a.tsv.gz"]


def test_all_faults_of_paths_at_once(tmp_path):
    (tmp_path / "void").mkdir()
    with pytest.raises(IntakeError) as caught:
        find_exports([tmp_path / "void", tmp_path / "none.csv"])
    assert len(caught.value.faults) == 2
