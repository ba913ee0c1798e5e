"""Exports that are written together: each is whole or not there, and compared with those before it."""

import subprocess
import sys
from pathlib import Path

import pytest

from lineview.core.errors import StoreError
from lineview.store.conflicts import PerIntake
from lineview.store.files import Originals
from lineview.store.journal import Journal
from lineview.store.readings import PartedTable
from lineview.store.store import Store
from tests.store.made import at, export, kind, readings, refused, weights

from .test_crash import break_at


def three(folder: Path):
    """Three exports of one machine, of which the second repeats a row of the first and disputes another."""
    a = [(2, 0, "good", 1.0), (3, 30 * 86_400, "good", 2.0)]
    b = [(2, 0, "good", 1.0), (3, 30 * 86_400, "good", 9.0), (4, 60, "good", 3.0)]
    batch = {"line": "line1", "batch": "b1", "start": at(0)}
    return [
        export(folder, "a.csv", ("readings", readings(a)), refusals=refused([9])),
        export(folder, "b.csv", ("readings", readings(b)), ("weights", weights([(5, 0, 6.8, "1")]))),
        export(folder, "c.csv", ("batches", kind("batches", [batch])), ("weights", weights([(5, 0, 6.8, "1")]))),
    ]


def given(store):
    span = (at(-1), at(1e8))
    return (
        store.readings("wrap1", *span).rows(),
        store.weights("wrap1", *span).height,
        store.batches("line1", *span).height,
        store.refusals().height,
        store.conflicts().height,
        store.intakes()["file"].to_list(),
        store.intakes().select("rows", "kept", "duplicate", "refused", "conflicts").rows(),
    )


@pytest.fixture
def alone(tmp_path):
    """What the store gives when the exports are taken in one after the other."""
    folder = tmp_path / "alone"
    folder.mkdir()
    with Store.open(folder / "store") as store:
        receipts = [store.record(one) for one in three(folder)]
        return receipts, given(store)


def test_together_gives_what_one_after_the_other_gives(tmp_path, alone):
    with Store.open(tmp_path / "store") as store:
        assert store.record_all(three(tmp_path)) == alone[0]
        assert given(store) == alone[1]
        again = store.record_all(three(tmp_path))
        assert all(one.already for one in again)
        assert given(store) == alone[1]
        assert alone[0][1].duplicate == 1 and alone[0][1].conflicts == 1
    with Store.open(tmp_path / "store") as store:
        store.undo(2)
        assert store.conflicts().is_empty()
        assert store.readings("wrap1", at(-1), at(1e8)).height == 2


def test_the_same_bytes_twice_in_a_group_are_in_once(tmp_path):
    first, _, _ = three(tmp_path)
    with Store.open(tmp_path / "store") as store:
        one, two = store.record_all([first, first])
        assert (one.already, two.already, one.intake) == (False, True, two.intake)
        assert store.intakes().height == 1


def test_one_that_changed_meanwhile_does_not_stop_the_others(tmp_path):
    exports = three(tmp_path)
    exports[1].path.write_text("other bytes")
    with Store.open(tmp_path / "store") as store:
        a, b, c = store.record_all(exports)
        assert isinstance(b, StoreError) and "changed while it was read" in str(b)
        assert (a.kept, c.kept) == (2, 2)
        assert store.intakes()["file"].to_list() == ["a.csv", "c.csv"]


STEPS = [
    (Originals, "keep", 2),
    (Journal, "begin", 1),
    (PerIntake, "keep", 3),
    (PartedTable, "_write", 2),
    (PartedTable, "_write", 5),
    (PartedTable, "add", 1),
    (PartedTable, "add", 2),
    (Journal, "end", 1),
]


@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize(("owner", "name", "nth"), STEPS)
def test_a_step_that_fails_leaves_each_in_once(tmp_path, monkeypatch, alone, owner, name, nth, after):
    with Store.open(tmp_path / "store") as store:
        with monkeypatch.context() as patch:
            break_at(patch, owner, name, nth, after=after)
            outcomes = store.record_all(three(tmp_path))  # what failed together is taken one by one
        assert not any(isinstance(one, StoreError) for one in outcomes)
        assert _without_ids(given(store)) == _without_ids(alone[1])
    with Store.open(tmp_path / "store") as store:
        assert all(one.already for one in store.record_all(three(tmp_path)))
        assert given(store)[5] == ["a.csv", "b.csv", "c.csv"]


def _without_ids(all_: tuple) -> tuple:
    """What a store gives but for the numbers of its intakes, which are never given twice."""
    return ([row[:6] + row[7:] for row in all_[0]], *all_[1:])


KILLED = """
import os, sys
from pathlib import Path
from lineview.store import journal, readings, store
from tests.store.test_groups import three
folder, owner, name = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
place = {"journal": journal.Journal, "readings": readings.PartedTable}[owner]
real = getattr(place, name)
def killed(*args, **kwargs):
    if sys.argv[4] == "after":
        real(*args, **kwargs)
    os._exit(9)
with store.Store.open(folder / "store") as opened:
    setattr(place, name, killed)
    opened.record_all(three(folder))
"""


@pytest.mark.parametrize(
    ("owner", "name", "when", "finished"),
    [
        ("journal", "begin", "after", []),
        ("readings", "_commit", "after", ["a.csv"]),  # the readings' commit is there, the weights' is not
        ("journal", "end", "before", ["a.csv", "b.csv", "c.csv"]),
    ],
)
def test_a_killed_process_leaves_each_whole_or_not_there(tmp_path, alone, owner, name, when, finished):
    root = Path(__file__).parents[2]
    command = [sys.executable, "-c", KILLED, str(tmp_path), owner, name, when]
    assert subprocess.run(command, cwd=root, check=False).returncode == 9
    with Store.open(tmp_path / "store") as store:
        assert store.intakes()["file"].to_list() == finished
        outcomes = store.record_all(three(tmp_path))
        assert [one.already for one in outcomes] == [name in finished for name in ("a.csv", "b.csv", "c.csv")]
        assert _without_ids(given(store)) == _without_ids(alone[1])
