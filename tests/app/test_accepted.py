"""layouts.toml: written whole or not at all, by several at once, and never so that it cannot be read."""

import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from lineview.app.accepted import keep_layout
from lineview.app.take_in import take_in
from lineview.app.works import Works
from lineview.core.errors import PlantError, StoreError
from lineview.plant import Layout
from lineview.plant.read import read_plant
from tests.app.test_watch import GOOD, PLANT

ROOT = Path(__file__).parents[2]


def layout(header: str, name: str = "found") -> Layout:
    return Layout(id=name, machine="wrap1", columns={header: {"to": "pieces"}})


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plant.toml").write_text(PLANT)
    return tmp_path


def kept(folder: Path) -> list[str]:
    return [one.id for one in read_plant(folder / "plant.toml", folder / "layouts.toml").layouts]


def test_two_of_one_id_stand_beside_each_other_and_the_same_one_once(folder):
    assert keep_layout(folder, layout("a")).id == "found"
    assert keep_layout(folder, layout("b")).id == "found-2"
    assert keep_layout(folder, layout("b")).id == "found-2"
    assert keep_layout(folder, layout("a")).id == "found"
    assert keep_layout(folder, layout("c", "log")).id == "log-2"  # plant.toml has a log
    assert kept(folder) == ["log", "found", "found-2", "log-2"]


ACCEPTS = """
import sys
from pathlib import Path
from lineview.app.accepted import keep_layout
from lineview.plant import Layout
for number in range(8):
    layout = Layout(id=f"found{number}", machine="wrap1", columns={sys.argv[2]: {"to": "pieces"}})
    keep_layout(Path(sys.argv[1]), layout)
"""


def test_several_who_accept_at_once_leave_a_file_that_is_read(folder):
    command = [sys.executable, "-c", ACCEPTS, str(folder)]
    running = [subprocess.Popen([*command, header], cwd=ROOT) for header in ("a", "b", "b")]
    assert [process.wait(60) for process in running] == [0, 0, 0]
    names = [name for number in range(8) for name in (f"found{number}", f"found{number}-2")]
    assert sorted(kept(folder)) == sorted(["log", *names])


def test_one_that_was_proposed_before_another_took_its_id_is_taken_in_under_its_new_id(folder):
    export = folder / "other.csv"
    export.write_text(GOOD.replace("count", "good pieces"))
    with Works(folder) as works:
        stale = works.plant
        (proposal,) = works.take([export])
        keep_layout(folder, layout("elsewhere", proposal.proposal.layout.id))
        name = f"{proposal.proposal.layout.id}-2"
        keep = partial(keep_layout, folder)
        (one,) = take_in([export], stale, works.store, accept=True, keep=keep)
        assert one.error is None, one.error
        assert one.accepted.id == name
        assert works.store.intakes()["layouts"].to_list() == [name]


def test_a_file_that_cannot_be_written_is_said_plainly_and_nothing_is_taken_in(folder):
    (folder / "layouts.toml").write_text("")
    export = folder / "other.csv"
    export.write_text(GOOD.replace("count", "good pieces"))
    (folder / ".layouts.lock").mkdir()  # a folder that may not be written to fails at the same place
    with Works(folder) as works:
        (one,) = works.take([export], accept=True)
        assert isinstance(one.error, StoreError)
        assert "could not keep the layout in layouts.toml" in str(one.error)
        assert works.store.intakes().is_empty()
    assert (folder / "layouts.toml").read_text() == ""


def test_what_cannot_be_read_back_is_not_put_in_place(folder, monkeypatch):
    keep_layout(folder, layout("a"))
    before = (folder / "layouts.toml").read_bytes()
    monkeypatch.setattr("lineview.app.accepted.layout_toml", lambda _layout: "[[layouts]\n")
    with pytest.raises(PlantError):
        keep_layout(folder, layout("b"))
    assert (folder / "layouts.toml").read_bytes() == before
    assert [file.name for file in folder.glob(".*")] == [".layouts.lock"]


KILLED = """
import os, sys
from pathlib import Path
from lineview.app import accepted
from lineview.store import files
from lineview.plant import Layout
left = [int(sys.argv[2])]
def dying(real):
    def step(*args, **kwargs):
        left[0] -= 1
        if left[0] < 0:
            os._exit(9)
        return real(*args, **kwargs)
    return step
for owner, name in ((Path, "write_text"), (os, "fsync"), (Path, "replace"), (Path, "open")):
    setattr(owner, name, dying(getattr(owner, name)))
accepted.keep_layout(Path(sys.argv[1]), Layout(id="found", machine="wrap1", columns={"a": {"to": "pieces"}}))
"""


@pytest.mark.parametrize("steps", range(9))
def test_killed_at_any_step_it_leaves_the_file_as_it_was_or_whole(folder, steps):
    keep_layout(folder, layout("b", "before"))
    command = [sys.executable, "-c", KILLED, str(folder), str(steps)]
    killed = subprocess.run(command, cwd=ROOT, check=False).returncode == 9
    assert kept(folder) in (
        (["log", "before"], ["log", "before", "found"]) if killed else (["log", "before", "found"],)
    )
    assert keep_layout(folder, layout("a")).id == "found"
    assert kept(folder) == ["log", "before", "found"]
