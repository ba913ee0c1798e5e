"""A file that ends within its last number: that row is refused, and the whole file later makes no dispute."""

import gzip

import pytest

from lineview.app.works import Works
from lineview.intake import pieces
from lineview.intake.tidy.rows import why_cut_off
from tests.app.test_watch import PLANT
from tests.intake.invented_works import layout_of

ROWS = "".join(f"2026-06-09 06:{minute:02d}:00,{58_000 + 349 * minute}\n" for minute in range(30))
WHOLE = "time,count\n" + ROWS


@pytest.fixture
def works(tmp_path):
    (tmp_path / "plant.toml").write_text(PLANT)
    with Works(tmp_path) as works:
        yield works


@pytest.mark.parametrize("packed", [False, True], ids=["plain", "gzip"])
@pytest.mark.parametrize("in_pieces", [False, True], ids=["whole", "in pieces"])
@pytest.mark.parametrize("lost", range(1, 8))
def test_cut_anywhere_within_its_last_row_it_gives_only_what_it_says(works, monkeypatch, lost, in_pieces, packed):
    monkeypatch.setattr(pieces, "BIG", 0 if in_pieces else 1 << 40)
    cut, whole = works.folder / "log-cut.csv", works.folder / "log-whole.csv"
    for path, text in ((cut, WHOLE[:-lost]), (whole, WHOLE)):
        path.write_bytes(gzip.compress(text.encode()) if packed else text.encode())
    (one,) = works.take([cut])
    assert (one.receipt.kept, one.receipt.refused) == ((30, 0) if lost == 1 else (29, 1))
    if lost > 1:
        (reason,) = works.store.refusals()["reason"]
        assert "the file ends within this row" in reason or "cut off" in reason
    (two,) = works.take([whole])
    assert two.receipt.kept + two.receipt.duplicate == 30
    assert works.store.conflicts().is_empty()


@pytest.mark.parametrize(
    ("last", "before", "is_cut"),
    [
        ("0", ["0", "0"], False),
        ("3", ["0", "1", "2"], False),
        ("1", ["9", "11"], True),
        ("6.75", ["6.80", "6.81"], False),
        ("6.7", ["6.80", "6.81"], True),
        ("RUN", ["RUN", "STOP"], False),
        ("ST", ["RUN", "STOP"], True),
        ("FAULT", ["RUN", "STOP"], False),
        ("", ["RUN", "STOP"], True),
        ("", ["", "STOP"], False),
        ("58", [], False),
        ("99", ["100", "98", "101"], True),
        ("06:0", ["06:00", "06:01"], True),
    ],
)
def test_what_is_taken_as_cut_off(last, before, is_cut):
    assert (why_cut_off(last, before) is not None) == is_cut


@pytest.mark.parametrize("last", ["15.9", "15.95"])
def test_the_last_cell_is_judged_by_those_above_it_in_rows_as_wide(read, last):
    text = "time,warm,size\n2026-06-09 06:00:00,41.5,16.0\n2026-06-09 06:01:00,41.5,15.98,\n"
    text += "2026-06-09 06:02:00,41.4,16.01\n2026-06-09 06:03:00,41.4," + last
    export = read(text, layout_of({"warm": "temperature", "size": "diameter"}, machine="sizer1"))
    assert (export.rows, export.rows_refused) == (4, int(last == "15.9"))


def test_a_cell_in_quotes_is_whole(works):
    text = 'time,count\n"2026-06-09 06:00:00","58000"\n"2026-06-09 06:01:00","349"'
    path = works.folder / "log-quoted.csv"
    path.write_text(text)
    assert works.take([path])[0].receipt.kept == 2
