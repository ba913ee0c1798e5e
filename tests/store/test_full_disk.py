"""A disk that is full at any write of an intake: a plain error, nothing half done, and the next run works."""

import errno
import os
from contextlib import suppress

import pytest

from lineview.core.errors import StoreError
from lineview.store.store import Store
from tests.store.made import at, export, readings
from tests.store.test_crash import counts, whole


class FullDisk:
    """Stands in for os.fsync: from the nth call on there is no space left, until it is freed."""

    def __init__(self, after: int) -> None:
        self.calls, self.after = 0, after
        self._real = os.fsync

    def fsync(self, handle: int) -> None:
        self.calls += 1
        if self.calls > self.after:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self._real(handle)


def syncs(folder, monkeypatch) -> int:
    """How often an intake brings something to the disk."""
    disk = FullDisk(10**9)
    with Store.open(folder / "store") as store, monkeypatch.context() as patch:
        patch.setattr(os, "fsync", disk.fsync)
        store.record(whole(folder))
    return disk.calls


def holds_at(folder, monkeypatch, after) -> None:
    """Fill the disk after so many writes; then say so plainly, hold nothing or all, and take it in once freed."""
    folder.mkdir()
    one = whole(folder)
    with Store.open(folder / "store") as store:
        store.record(export(folder, "b.csv", ("readings", readings([(2, 5, "spare", 1.0)], "wrap2"))))
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", FullDisk(after).fsync)
            with suppress(StoreError):
                store.record(one)
        there = counts(store)
        assert there in ((0, 0, 0, 0, 1), (2, 1, 1, 1, 2)), (after, there)
        assert store.record(one).kept == one.rows - 1
        assert counts(store) == (2, 1, 1, 1, 2)
        assert store.record(one).already
    with Store.open(folder / "store") as store:
        assert counts(store) == (2, 1, 1, 1, 2)
        assert store.readings("wrap2", at(0), at(9)).height == 1


@pytest.mark.parametrize("part", range(4))
def test_a_full_disk_leaves_nothing_half_done(tmp_path, monkeypatch, part):
    total = syncs(tmp_path, monkeypatch)
    assert total > 20
    for after in range(part, total, 4):
        holds_at(tmp_path / str(after), monkeypatch, after)


def test_a_full_disk_is_said_plainly(tmp_path, monkeypatch):
    with Store.open(tmp_path / "store") as store:
        monkeypatch.setattr(os, "fsync", FullDisk(0).fsync)
        with pytest.raises(StoreError, match=r"No space left on device.*Check the disk's space"):
            store.record(whole(tmp_path))
