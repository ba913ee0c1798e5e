"""A disk that keeps only what was brought to it: what a power cut would leave of a folder, at any moment."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from shutil import copyfile
from stat import S_ISDIR


class Disk:
    """What of a folder was brought to the disk, by the number of each file and folder.

    Parameters
    ----------
    root : pathlib.Path
        The folder, whose database is left out: that brings its files to the disk by itself.
    then : callable
        Called after each time that something was brought to the disk.
    """

    def __init__(self, root: Path, then: Callable[[], None]) -> None:
        self._root, self._then = root, then
        self._folders: dict[int, dict[str, int]] = {root.parent.stat().st_ino: {}}
        self._files: dict[int, tuple[int, bytes]] = {}

    def fsync(self, handle: int) -> None:
        """Stand in for os.fsync: a folder's names, or a file's bytes, are safe from now on."""
        there, path = os.fstat(handle), Path(f"/proc/self/fd/{handle}").readlink()
        if S_ISDIR(there.st_mode):
            self._folders[there.st_ino] = {one.name: one.inode() for one in os.scandir(path)}
        else:
            self._files[there.st_ino] = there.st_mtime_ns, path.read_bytes()
        if path == self._root or self._root in path.parents:
            self._then()

    def image(self, into: Path, *, names: bool) -> None:
        """Write what a power cut would leave now; `names`: of what was not brought, the names are left."""
        now = {one.stat().st_ino: one for one in self._root.rglob("*")}
        self._write(self._root.stat().st_ino, into, now | {self._root.stat().st_ino: self._root}, names)
        for file in self._root.glob("journal.sqlite*"):
            copyfile(file, into / file.name)

    def _write(self, number: int, into: Path, now: dict[int, Path], names: bool) -> None:
        into.mkdir()
        inside = dict(self._folders.get(number, {}))
        if names and number in now:
            inside = {one.name: one.inode() for one in os.scandir(now[number])}
        for name, its in inside.items():
            place = now.get(its)
            # the number of a folder that went may be a file's now
            if its in self._folders if place is None else place.is_dir():
                self._write(its, into / name, now, names)
            elif not name.startswith("journal.sqlite"):
                written, kept = self._files.get(its, (-1, b""))
                same = place is None or place.stat().st_mtime_ns == written
                (into / name).write_bytes(kept if same else b"")

    def forget(self, folder: str) -> None:
        """Take it that nothing in folders of this name was brought to the disk."""
        for place in self._root.rglob(folder):
            self._folders.pop(place.stat().st_ino, None)
            for file in place.iterdir():
                self._files.pop(file.stat().st_ino, None)
