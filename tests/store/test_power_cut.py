"""A power cut at any moment: what was said to be in is there, what was not is whole or not there."""

import os
from pathlib import Path
from shutil import rmtree

import pytest

from lineview.core.errors import StoreError
from lineview.store.journal import Journal
from lineview.store.store import Store
from tests.store.disk import Disk
from tests.store.made import at, export, readings
from tests.store.test_crash import counts, whole
from tests.store.test_pieces import FILES, Made

WHOLE, NOTHING = (2, 1, 1, 1, 1), (0, 0, 0, 0, 0)


class Cut:
    """Images of a store, one for each moment at which something was brought to the disk."""

    def __init__(self, folder: Path, monkeypatch, *, names: bool) -> None:
        self.images: list[Path] = []
        self._folder, self._names = folder, names
        self.disk = Disk(folder / "store", self.take)
        monkeypatch.setattr(os, "fsync", self.disk.fsync)

    def take(self) -> Path:
        image = self._folder / f"image{len(self.images)}"
        self.disk.image(image, names=self._names)
        self.images.append(image)
        return image


@pytest.fixture(params=[False, True], ids=["lost", "in name only"])
def cut(tmp_path, monkeypatch, request):
    with monkeypatch.context() as patch:
        yield Cut(tmp_path, patch, names=request.param)


def test_an_intake_survives_a_power_cut_whole_or_not_at_all(tmp_path, monkeypatch, cut):
    one = whole(tmp_path)
    with Store.open(tmp_path / "store") as store:
        store.record(one)
        said = cut.take()
    monkeypatch.undo()
    assert len(cut.images) > 25
    for image in cut.images:
        with Store.open(image) as store:
            assert counts(store) in ({WHOLE} if image == said else {WHOLE, NOTHING}), image
            store.record(one)
            assert counts(store) == WHOLE
            assert store.record(one).already


def test_a_big_intake_survives_a_power_cut_whole_or_not_at_all(tmp_path, cut):
    made = Made(tmp_path / "big.csv", FILES["in order"])
    with Store.open(tmp_path / "store") as store:
        store.record_in_pieces(made)
        said = cut.take()
    for image in cut.images[:]:
        with Store.open(image) as store:
            there = store.readings("wrap1", at(-1), at(1e8)).height
            assert there in ({30} if image == said else {0, 30})
            assert store.record_in_pieces(made).already == (there == 30)
            assert store.readings("wrap1", at(-1), at(1e8)).height == 30


def test_what_a_killed_process_committed_is_on_the_disk_before_it_is_said_done(tmp_path, monkeypatch, cut):
    one = whole(tmp_path)
    with Store.open(tmp_path / "store") as store, monkeypatch.context() as patch:
        patch.setattr(Journal, "end", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            store.record(one)
    cut.disk.forget("_delta_log")
    rmtree(tmp_path / "store" / "sums")  # which are written once the log is on the disk
    with Store.open(tmp_path / "store") as store:
        assert counts(store) == WHOLE
        said = cut.take()
    with Store.open(said) as store:
        assert counts(store) == WHOLE


def test_an_undo_survives_a_power_cut(tmp_path, cut):
    one = whole(tmp_path)
    with Store.open(tmp_path / "store") as store:
        intake = store.record(one).intake
        before = len(cut.images)
        store.undo(intake)
        said = cut.take()
    for image in cut.images[before:]:
        with Store.open(image) as store:
            undone = (*NOTHING[:4], 1)
            assert counts(store) in ({undone} if image == said else {WHOLE, undone})


@pytest.mark.parametrize("torn", [b"", b"\0" * 300, b"half"])
def test_an_entry_left_in_part_goes_where_nothing_said_done_needs_it(tmp_path, torn):
    with Store.open(tmp_path / "store") as store:
        store.record(whole(tmp_path))
    log = tmp_path / "store" / "readings" / "_delta_log"
    newest = log / f"{2:020d}.json"
    assert not newest.exists()
    newest.write_bytes(torn)
    with Store.open(tmp_path / "store") as store:
        assert counts(store) == WHOLE
        store.record(export(tmp_path, "b.csv", ("readings", readings([(2, 99, "good", 1.0)]))))
        assert counts(store)[0] == 3


@pytest.mark.parametrize("damage", ["in part", "empty", "away", "log away", "table away"])
def test_damage_to_what_was_said_done_is_said_plainly_and_changes_nothing(tmp_path, damage):
    with Store.open(tmp_path / "store") as store:
        store.record(whole(tmp_path))
    table = tmp_path / "store" / "readings"
    entry = table / "_delta_log" / f"{1:020d}.json"
    if damage == "in part":
        entry.write_bytes(entry.read_bytes()[:100])
    elif damage == "empty":  # not the newest: the library passes over it
        with Store.open(tmp_path / "store") as store:
            store.record(export(tmp_path, "b.csv", ("readings", readings([(2, 99, "good", 1.0)]))))
        entry.write_bytes(b"")
    elif damage == "away":
        entry.unlink()
    elif damage == "log away":
        (table / "_delta_log").rename(tmp_path / "log")
    else:
        table.rename(tmp_path / "table")
    before = sorted(file for file in table.rglob("*"))
    for _ in range(2):
        with pytest.raises(StoreError, match="readings that were taken in are listed in it"):
            Store.open(tmp_path / "store")
    assert sorted(file for file in table.rglob("*")) == before


def test_a_log_of_many_entries_is_summed_up_and_read_alike(tmp_path):
    with Store.open(tmp_path / "store") as store:
        rows = [[(2, second, "good", float(second))] for second in range(101)]
        for place, some in enumerate(rows):
            store.record(export(tmp_path, f"{place}.csv", ("readings", readings(some))))
        given = store.readings("wrap1", at(-1), at(1e6)).rows()
    log = tmp_path / "store" / "readings" / "_delta_log"
    summaries = sorted(file.name for file in log.glob("*.parquet"))
    assert summaries == [f"{version:020d}.checkpoint.parquet" for version in (75, 100)]
    entries = sorted(file.stem for file in log.glob("*.json"))
    assert entries == [f"{version:020d}" for version in range(76, 102)]  # the sums stand for those before
    with Store.open(tmp_path / "store") as store:
        assert store.readings("wrap1", at(-1), at(1e6)).rows() == given
    assert {file.name for file in (tmp_path / "store").glob(".*")} <= {".cleared"}
