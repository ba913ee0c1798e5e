"""A crash at any point leaves an intake whole or not there; trying again never doubles it."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from lineview.core.errors import StoreError
from lineview.store.conflicts import PerIntake
from lineview.store.doctor import examine
from lineview.store.files import LEFT_OVER_S, Originals
from lineview.store.journal import Journal
from lineview.store.readings import PartedTable
from lineview.store.store import Store, writing
from tests.store.made import at, export, kind, readings, refused, weights

STEPS = [
    (Originals, "keep", 1),
    (Journal, "begin", 1),
    (PerIntake, "keep", 1),
    (PerIntake, "keep", 2),
    (PartedTable, "_write", 1),
    (PartedTable, "_write", 2),
    (PartedTable, "_write", 3),
    (PartedTable, "add", 1),
    (PartedTable, "add", 2),
    (Journal, "end", 1),
]


def whole(folder: Path):
    """Readings in two months, weights, a batch, a refusal: every place that an intake writes to."""
    tidy = readings([(2, 0, "good", 1.0), (3, 30 * 86_400, "good", 2.0)])
    batch = kind("batches", [{"line": "line1", "batch": "b1", "start": at(0)}])
    parts = (("readings", tidy), ("weights", weights([(2, 0, 6.8, "1")])), ("batches", batch))
    return export(folder, "a.xlsx", *parts, refusals=refused([9]))


def counts(store):
    return (
        store.readings("wrap1", at(-1), at(1e8)).height,
        store.weights("wrap1", at(-1), at(1e8)).height,
        store.batches("line1", at(-1), at(1e8)).height,
        store.refusals().height,
        store.intakes().height,
    )


def break_at(monkeypatch, owner, name, nth, *, after):
    """Let the nth call of a step fail, before it does anything or after it has done all."""
    real, calls = getattr(owner, name), []

    def broken(*args, **kwargs):
        calls.append(1)
        if len(calls) != nth:
            return real(*args, **kwargs)
        if after:
            real(*args, **kwargs)
        raise OSError("the power went")

    monkeypatch.setattr(owner, name, broken)


@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize(("owner", "name", "nth"), STEPS)
def test_a_failed_intake_is_whole_or_not_there(tmp_path, monkeypatch, owner, name, nth, after):
    one = whole(tmp_path)
    with Store.open(tmp_path / "store") as store:
        with monkeypatch.context() as patch:
            break_at(patch, owner, name, nth, after=after)
            with pytest.raises(StoreError, match=r"could not take in a\.xlsx: the power went"):
                store.record(one)
        done = (owner, name, after) == (Journal, "end", True)
        assert counts(store)[:4] == ((2, 1, 1, 1) if done else (0, 0, 0, 0)), "seen before it was done"
    with Store.open(tmp_path / "store") as store:
        assert counts(store) in {(0, 0, 0, 0, 0), (2, 1, 1, 1, 1)}
        store.record(one)
        assert counts(store) == (2, 1, 1, 1, 1)
        assert store.record(one).already
    files = [path for path in (tmp_path / "store").rglob("*.parquet") if "refusals" in path.parts]
    assert len(files) == 1


@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize(("owner", "name"), [(Journal, "end"), (PartedTable, "remove"), (Journal, "clear")])
def test_a_failed_undo_is_finished_or_not_begun(tmp_path, monkeypatch, owner, name, after):
    one = whole(tmp_path)
    with Store.open(tmp_path / "store") as store:
        intake = store.record(one).intake
        with monkeypatch.context() as patch:
            break_at(patch, owner, name, 1, after=after)
            with pytest.raises(StoreError, match="could not undo"):
                store.undo(intake)
        undone = (owner, name, after) != (Journal, "end", False)
        assert counts(store) == ((0, 0, 0, 0, 1) if undone else (2, 1, 1, 1, 1))
    with Store.open(tmp_path / "store") as store:
        assert counts(store) == ((0, 0, 0, 0, 1) if undone else (2, 1, 1, 1, 1))
        if undone:
            assert all(table.files().is_empty() for table in store._tables.values())


KILLED = """
import os, sys
from pathlib import Path
from lineview.store import journal, readings, store
from tests.store.test_crash import whole
folder, owner, name = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
place = {"journal": journal.Journal, "readings": readings.PartedTable}[owner]
real = getattr(place, name)
def killed(*args, **kwargs):
    if sys.argv[4] == "after":
        real(*args, **kwargs)
    os._exit(9)
with store.Store.open(folder / "store") as opened:
    setattr(place, name, killed)
    opened.record(whole(folder))
"""


@pytest.mark.parametrize(
    ("owner", "name", "when", "finished"),
    [
        ("journal", "begin", "after", False),
        ("readings", "_commit", "after", False),  # the readings' commit is there, the weights' is not
        ("journal", "end", "before", True),
    ],
)
def test_a_killed_process_leaves_what_the_next_can_mend(tmp_path, owner, name, when, finished):
    root = Path(__file__).parents[2]
    command = [sys.executable, "-c", KILLED, str(tmp_path), owner, name, when]
    assert subprocess.run(command, cwd=root, check=False).returncode == 9
    with Store.open(tmp_path / "store") as store:
        assert counts(store) == ((2, 1, 1, 1, 1) if finished else (0, 0, 0, 0, 0))
        store.record(whole(tmp_path))
        assert counts(store) == (2, 1, 1, 1, 1)


RECORDED = """
import json, sys
from pathlib import Path
from lineview.store.store import Store, writing
from tests.store.made import export, readings
folder, me = Path(sys.argv[1]), int(sys.argv[2])
receipts = []
with Store.open(folder / "store") as store:
    for i in range(6):
        mine = [(2, 1000 * me + i, "good", float(i)), (3, i, "good", float(i))]
        one = export(folder, f"{me}-{i}.csv", ("readings", readings(mine)))
        receipts.append(store.record(one).__dict__)
print(json.dumps(receipts))
"""


def test_two_processes_at_once_neither_lose_nor_double(tmp_path):
    root = Path(__file__).parents[2]
    running = [
        subprocess.Popen([sys.executable, "-c", RECORDED, str(tmp_path), str(me)], cwd=root, stdout=subprocess.PIPE)
        for me in (1, 2)
    ]
    receipts = [one for process in running for one in json.loads(process.communicate(timeout=120)[0])]
    assert [process.returncode for process in running] == [0, 0]
    assert len({one["intake"] for one in receipts}) == 12
    assert sum(one["kept"] for one in receipts) == 18  # six shared rows are new once
    assert sum(one["duplicate"] for one in receipts) == 6
    with Store.open(tmp_path / "store") as store:
        assert store.readings("wrap1", at(-1), at(1e6)).height == 18


def aged(path: Path, age_s: float) -> Path:
    """A file half written, last touched so long ago."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"half")
    os.utime(path, (time.time() - age_s,) * 2)
    return path


def test_what_ended_processes_left_is_cleared_and_never_what_is_in_use(tmp_path):
    store = tmp_path / "store"
    with Store.open(store) as opened:
        opened.record(whole(tmp_path))
    os.utime(store / ".cleared", (0, 0))
    old, new = 2 * LEFT_OVER_S, LEFT_OVER_S / 2
    gone = [aged(store / "originals" / "ab" / ".cd.1.part", old), aged(store / ".seal.2.part", old)]
    left_folder = aged(store / ".readings.3.part" / "_delta_log" / "0.json", old).parent.parent
    os.utime(left_folder / "_delta_log", (0, 0))
    os.utime(left_folder, (0, 0))
    in_use = [aged(store / "originals" / ".4.part", new), aged(store / ".records.5.part" / "entry", new)]
    os.utime(store / ".records.5.part", (0, 0))  # a folder is as old as the newest in it
    with writing(store), Store.open(store):
        assert all(one.exists() for one in (*gone, *in_use, left_folder))  # somebody else is at work
    with Store.open(store) as opened:
        assert counts(opened) == (2, 1, 1, 1, 1)
    assert not any(one.exists() for one in (*gone, left_folder))
    assert all(one.exists() for one in in_use)
    assert not examine(store, None)
    again = aged(store / ".seal.6.part", old)
    Store.open(store).close()
    assert again.exists()  # looked for once a day
