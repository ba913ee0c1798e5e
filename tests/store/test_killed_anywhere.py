"""A process killed at any write of an intake, an undo and a note: what was said is there, the rest whole or not."""

import subprocess
import sys
from pathlib import Path

import pytest

from lineview.store.doctor import examine
from lineview.store.store import Store
from tests.store.made import at
from tests.store.test_crash import counts, whole

ROOT = Path(__file__).parents[2]
#: Dead before its nth write: something brought to the disk, or a statement that changes the journal.
SCRIPT = """
import os, sys
from pathlib import Path
from sqlalchemy import event
from sqlalchemy.engine import Engine
from lineview.store.store import Store
from tests.store.made import at
from tests.store.test_crash import whole
folder, left, real = Path(sys.argv[1]), [int(sys.argv[2])], os.fsync
def step():
    left[0] -= 1
    if left[0] < 0:
        os._exit(9)
def fsync(handle):
    step()
    real(handle)
os.fsync = fsync
@event.listens_for(Engine, "before_cursor_execute")
def count(connection, cursor, statement, *rest):
    if statement.lstrip().startswith(("INSERT", "UPDATE", "DELETE")):
        step()
@event.listens_for(Engine, "commit")
def commit(connection):
    step()
def say(what):
    os.write(1, f"{what}\\n".encode())
with Store.open(folder / "store") as store:
    say("opened")
    intake = store.record(whole(folder)).intake
    say("in")
    store.write("adjustment", "wrap1", at(0), "knife changed")
    say("noted")
    store.undo(intake)
    say("undone")
say(f"left {left[0]}")
"""
IN, OUT = (2, 1, 1, 1, 1), (0, 0, 0, 0)


def killed(folder: Path, before: int) -> list[str]:
    """What a process said until it was killed before its nth write."""
    folder.mkdir()
    command = [sys.executable, "-c", SCRIPT, str(folder), str(before)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False).stdout.split("\n")[:-1]


def holds(folder: Path, said: list[str]) -> None:
    with Store.open(folder / "store") as store:
        there = counts(store)
        if "undone" in said:
            assert there[:4] == OUT
        elif "noted" in said:
            assert there == IN or there[:4] == OUT
        else:
            assert there == IN if "in" in said else there == IN or there == (*OUT, 0)
        noted = store.adjustments("wrap1", at(-9), at(9)).height
        assert noted == 1 if "noted" in said else noted in ({0, 1} if "in" in said else {0})
    assert examine(folder / "store", None) == []
    with Store.open(folder / "store") as store:
        store.record(whole(folder))
        assert counts(store)[:4] == IN[:4]
    assert examine(folder / "store", None) == []


def total(folder: Path) -> int:
    """How many writes there are, undisturbed."""
    said = killed(folder, 100_000)
    assert said[:4] == ["opened", "in", "noted", "undone"]
    return 100_000 - int(said[4].removeprefix("left "))


def test_a_process_killed_at_some_writes_leaves_each_step_whole_or_not_at_all(tmp_path):
    count = total(tmp_path / "all")
    assert count > 100
    for before in range(7, count, count // 3):
        holds(tmp_path / str(before), killed(tmp_path / str(before), before))


@pytest.mark.long
def test_a_process_killed_at_any_write_leaves_each_step_whole_or_not_at_all(tmp_path):
    count = total(tmp_path / "all")
    for before in range(count):
        holds(tmp_path / str(before), killed(tmp_path / str(before), before))
    print(f"killed at each of {count} writes")
