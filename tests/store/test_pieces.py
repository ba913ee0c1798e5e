"""A big export that is written while it is read gives what it gives when taken in at once, or nothing."""

import hashlib
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from lineview.core.errors import StoreError
from lineview.intake.exports import NotInPieces, Stretch
from lineview.intake.tidy.rows import REFUSED
from lineview.store.conflicts import PerIntake
from lineview.store.files import Originals
from lineview.store.journal import Journal
from lineview.store.readings import PartedTable
from lineview.store.store import Store

from .made import at, export, readings
from .test_crash import break_at

DAY = 86_400


class Made:
    """An export in pieces, each given as rows of (row, seconds, channel, value) and refused rows."""

    layouts = ("daily",)
    notes = ()

    def __init__(self, path: Path, pieces: list[tuple[list[tuple], list[int]]], stop: int = -1) -> None:
        self.path, self.pieces, self.stop = path, pieces, stop
        path.write_text(str(pieces))

    def stretches(self, source: Path):
        assert source.read_bytes() == self.path.read_bytes()
        for place, (rows, refused) in enumerate(self.pieces):
            if place == self.stop:
                raise NotInPieces
            tidy = readings(rows)
            lost = pl.DataFrame([(row, "", "???", "no time") for row in refused], REFUSED, orient="row")
            numbers = [row[0] for row in rows] + refused
            data_rows = len({row[0] for row in rows}) + len(refused)
            apart = tuple(tidy.partition_by("channel", maintain_order=True))
            frames = apart if place % 2 and apart else (tidy,)
            yield Stretch(frames, min(numbers), data_rows, lost, len(refused))

    def whole(self):
        rows = [row for some, _ in self.pieces for row in some]
        lost = [(0, self.path.name, row, "", "???", "no time") for _, some in self.pieces for row in some]
        one = export(self.path.parent, "whole.csv", ("readings", readings(rows)))
        refusals = pl.DataFrame(lost, one.refusals.schema, orient="row")
        sha = hashlib.sha256(one.path.read_bytes()).hexdigest()
        facts = {**one.__dict__, "sha256": sha, "refusals": refusals, "rows": one.rows + len(lost)}
        return type(one)(**{**facts, "rows_refused": len(lost)})


def piece(first_row: int, start: float, n: int, step: float = 60.0, value: float = 0.0, refused=()):
    rows = [
        (first_row + i, start + i * step, channel, value + i + k)
        for i in range(n)
        for k, channel in enumerate(("good", "rejects"))
    ]
    return rows, list(refused)


FILES = {
    "in order": [piece(2, 0, 5), piece(7, 300, 5), piece(12, 600, 5, refused=[17])],
    "newest first": [piece(2, 600, 5, -60), piece(7, 300, 5, -60), piece(12, 0, 5, -60)],
    "two months": [piece(2, 0, 5, 10 * DAY), piece(7, 50 * DAY, 5, 10 * DAY)],
    "a moment in two pieces": [piece(2, 0, 5), piece(7, 240, 5, value=4.0)],
    "a moment disputed": [piece(2, 0, 5), piece(7, 240, 5, value=9.0)],
    "all again": [piece(2, 0, 5), piece(7, 0, 5), piece(12, 0, 5)],
    "all disputed": [piece(2, 0, 5), piece(7, 0, 5, value=1.0), piece(12, 0, 5)],
    "tangled": [piece(2, 0, 9, 120), piece(11, 60, 9, 120), piece(20, 0, 9, 90, value=0.0)],
    "only refused": [piece(2, 0, 5), ([], [7, 8]), piece(9, 300, 5)],
}


def given(store):
    span = (at(-1), at(1e8))
    return (
        [row[:6] + row[7:] for row in store.readings("wrap1", *span).rows()],
        store.refusals().drop("file", "intake").rows(),
        store.conflicts().drop("file", "intake").rows(),
        store.intakes().select("rows", "kept", "duplicate", "refused", "uncertain", "conflicts").rows(),
        store.span("wrap1"),
    )


@pytest.mark.parametrize("before", [False, True])
@pytest.mark.parametrize("name", FILES)
def test_pieces_give_what_the_whole_gives(tmp_path, name, before):
    made = Made(tmp_path / "big.csv", FILES[name])
    earlier = export(tmp_path, "earlier.csv", ("readings", readings(piece(2, 120, 6, value=2.0)[0])))
    results = []
    for way in ("whole", "pieces"):
        with Store.open(tmp_path / way) as store:
            if before:
                store.record(earlier)
            one = store.record(made.whole()) if way == "whole" else store.record_in_pieces(made)
            results.append((one, given(store)))
    assert results[0] == results[1]
    with Store.open(tmp_path / "pieces") as store:
        again = store.record_in_pieces(made)
        assert again.already and given(store) == results[1][1]
        store.undo(again.intake)
        assert store.readings("wrap1", at(-1), at(1e8)).height == (12 if before else 0)


def files(folder: Path) -> list[Path]:
    return list(folder.rglob("intake-*.parquet"))


STEPS = [
    (Originals, "take", 1),
    (Journal, "begin", 1),
    (PartedTable, "_write", 1),
    (PartedTable, "_write", 3),
    (Journal, "complete", 1),
    (PerIntake, "keep", 1),
    (PerIntake, "keep", 2),
    (PartedTable, "_commit", 1),
    (Journal, "end", 1),
]


@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize(("owner", "name", "nth"), STEPS)
def test_a_failed_intake_is_whole_or_not_there(tmp_path, monkeypatch, owner, name, nth, after):
    made = Made(tmp_path / "big.csv", FILES["in order"])
    with Store.open(tmp_path / "store") as store, monkeypatch.context() as patch:
        break_at(patch, owner, name, nth, after=after)
        with pytest.raises(StoreError, match=r"could not take in big\.csv: the power went"):
            store.record_in_pieces(made)
    with Store.open(tmp_path / "store") as store:
        assert store.readings("wrap1", at(-1), at(1e8)).height in {0, 30}
        receipt = store.record_in_pieces(made)
        assert (receipt.rows, receipt.kept, receipt.refused) == (16, 15, 1)
        assert store.readings("wrap1", at(-1), at(1e8)).height == 30
        assert store.refusals()["row"].to_list() == [17]
        assert store.intakes().height == 1


def test_what_has_to_be_read_whole_leaves_nothing(tmp_path):
    made = Made(tmp_path / "big.csv", FILES["in order"], stop=2)
    with Store.open(tmp_path / "store") as store:
        with pytest.raises(NotInPieces):
            store.record_in_pieces(made)
        assert store.intakes().is_empty() and store.readings("wrap1", at(-1), at(1e8)).is_empty()
        assert files(tmp_path) == []
        assert store.record(made.whole()).kept == 15


KILLED = """
import os, sys
from pathlib import Path
from lineview.store import journal, readings, store
from tests.store.test_pieces import FILES, Made
folder, owner, name, nth = Path(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[5])
place = {"journal": journal.Journal, "readings": readings.PartedTable}[owner]
real, calls = getattr(place, name), []
def killed(*args, **kwargs):
    calls.append(1)
    if len(calls) < nth:
        return real(*args, **kwargs)
    if sys.argv[4] == "after":
        real(*args, **kwargs)
    os._exit(9)
with store.Store.open(folder / "store") as opened:
    setattr(place, name, killed)
    opened.record_in_pieces(Made(folder / "big.csv", FILES["in order"]))
"""


@pytest.mark.parametrize(
    ("owner", "name", "when", "nth", "finished"),
    [
        ("journal", "begin", "after", 1, False),
        ("readings", "_write", "after", 2, False),
        ("journal", "complete", "after", 1, False),
        ("readings", "_commit", "before", 1, False),
        ("readings", "_commit", "after", 1, True),
        ("journal", "end", "before", 1, True),
    ],
)
def test_a_killed_process_leaves_what_the_next_can_mend(tmp_path, owner, name, when, nth, finished):
    root = Path(__file__).parents[2]
    command = [sys.executable, "-c", KILLED, str(tmp_path), owner, name, when, str(nth)]
    assert subprocess.run(command, cwd=root, check=False).returncode == 9
    with Store.open(tmp_path / "store") as store:
        assert store.readings("wrap1", at(-1), at(1e8)).height == (30 if finished else 0)
        assert len(files(tmp_path)) == (3 if finished else 0)
        made = Made(tmp_path / "big.csv", FILES["in order"])
        assert store.record_in_pieces(made).already == finished
        assert store.readings("wrap1", at(-1), at(1e8)).height == 30
        assert store.intakes().height == 1
