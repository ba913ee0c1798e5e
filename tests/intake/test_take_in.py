"""What the edge keeps of a run over several files: each file in order, and what was accepted for it."""

import sys
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from lineview.app.take_in import take_in
from lineview.app.works import Works
from lineview.intake import pieces
from lineview.intake.find import find_exports
from lineview.plant import Layout
from lineview.plant.read import read_plant
from lineview.store.store import Store
from tests.intake.invented_works import WORKS

PLANT = """
shop = "Invented Sweets"
zone = "UTC"
lines = [{ id = "1" }]

[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [
  { id = "pieces", counts = "pieces", fastest_per_min = 450 },
  { id = "rejects", counts = "rejects", fastest_per_min = 450 },
]
"""
LATER = {
    "a binary file": b"time;pieces;rejects\n\x00\x01\x02\x03" * 40,
    "an empty file": b"",
    "a damaged gzip": b"\x1f\x8b\x08\x00cut off",
}


def log(path: Path, first: int = 0, rows: int = 40, odd: int = -1) -> Path:
    start = datetime(2026, 6, 1)  # noqa: DTZ001 - wall time
    lines = [f"{start + timedelta(minutes=first + i)},{i * 7},{i}" for i in range(rows)]
    if odd >= 0:
        lines[odd] = "???,1,1"
    path.write_text("\n".join(["time,pieces,rejects", *lines, ""]))
    return path


@pytest.fixture
def works(tmp_path):
    folder = tmp_path / "works"
    folder.mkdir()
    (folder / "plant.toml").write_text(PLANT, encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", LATER)
def test_an_accepted_layout_is_kept_though_a_later_file_fails(tmp_path, works, name):
    first, later = log(tmp_path / "a.csv"), tmp_path / "b.csv"
    later.write_bytes(LATER[name])
    with Works(works) as opened:
        one, two = opened.take([first, later], accept=True)
        assert one.receipt is not None and two.receipt is None and two.error is not None
    kept = read_plant(works / "plant.toml", works / "layouts.toml").layouts
    assert [layout.id for layout in kept] == [one.accepted.id]
    (tmp_path / "next").mkdir()
    with Works(works) as opened:  # no need to accept it again
        (again,) = opened.take([log(tmp_path / "next" / "a.csv", 100)])
        assert again.receipt.kept == 40


@pytest.mark.parametrize("size", [1, 10**9])
def test_an_accepted_layout_is_kept_before_the_next_file_is_looked_at(tmp_path, works, monkeypatch, size):
    monkeypatch.setattr(pieces, "BIG", size)  # each read in pieces, or whole
    one, two = log(tmp_path / "a.csv"), log(tmp_path / "b.csv", 100)
    seen = []

    def stopped(path: Path, _rows: int) -> None:
        if path == two:
            seen.append((works / "layouts.toml").exists())
            sys.exit("somebody stopped it")

    with Works(works) as opened, pytest.raises(SystemExit):
        opened.take([one, two], accept=True, progress=stopped)
    assert seen == [True]
    with Works(works) as opened:
        assert opened.store.intakes()["file"].to_list() == ["a.csv"]
        assert len(opened.plant.layouts) == 1


@pytest.mark.parametrize("size", [1, 10**9])
def test_big_and_small_files_go_in_in_their_order(tmp_path, monkeypatch, size):
    layout = Layout.model_validate(
        {"id": "log", "machine": "wrap1", "columns": {"pieces": {"to": "pieces"}, "rejects": {"to": "rejects"}}}
    )
    plant = WORKS.model_copy(update={"layouts": (layout,)})
    paths = [log(tmp_path / "a.csv"), log(tmp_path / "b.csv", 20, 4_000, odd=5), log(tmp_path / "c.csv", 30)]
    monkeypatch.setattr(pieces, "BIG", 50_000 if size == 1 else size)
    with Store.open(tmp_path / "store") as store:
        taken = take_in(paths, plant, store)
        assert [one.receipt.intake for one in taken] == [1, 2, 3]
        counts = [(r.rows, r.kept, r.duplicate, r.refused) for r in (one.receipt for one in taken)]
        assert counts == [(40, 40, 0, 0), (4_000, 3_999, 0, 1), (40, 40, 0, 0)]
        assert store.refusals().select("row", "text", "reason").rows() == [
            (7, "???,1,1", "'???' is not a time as 'iso'")
        ]


def test_a_big_file_that_has_to_be_read_whole_is_taken_in_all_the_same(tmp_path, monkeypatch):
    layout = Layout.model_validate({"id": "log", "machine": "wrap1", "columns": {"pieces": {"to": "pieces"}}})
    plant = WORKS.model_copy(update={"layouts": (layout,)})
    monkeypatch.setattr(pieces, "BIG", 1)
    path = log(tmp_path / "a.csv")
    path.write_bytes(path.read_bytes() + "2026-06-01 09:00:00,280,40 °".encode("cp1252"))
    monkeypatch.setattr(pieces, "_HEAD", 200)
    with Store.open(tmp_path / "store") as store:
        (one,) = take_in([path], plant, store)
        assert (one.receipt.rows, one.receipt.kept) == (41, 41)
        assert "the file is written in Windows-1252" in one.notes
        assert store.intakes().height == 1


def test_a_works_own_store_holds_no_exports(tmp_path):
    for name in ("store/works.id", "store/readings/a.parquet", "store/sums/readings.json", "exports/a.csv"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x", encoding="utf-8")
    assert find_exports([tmp_path]) == [tmp_path / "exports" / "a.csv"]
