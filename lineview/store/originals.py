"""The exports as they came, byte for byte, by their SHA-256."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

from lineview.errors import Fault, StoreError
from lineview.store.durable import put, sync, sync_folder

_BLOCK = 1 << 20


@dataclass(frozen=True)
class Kept:
    """Where an export's bytes are kept, their SHA-256 and how many they are."""

    path: Path
    sha256: str
    size_bytes: int


class Originals:
    """The folder of exports as they came.

    Parameters
    ----------
    folder : pathlib.Path
        Each export stands in it under ab/cdef…, its SHA-256 cut after two figures.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def path(self, sha256: str) -> Path:
        """Give where the export of this SHA-256 stands, or would."""
        return self._folder / sha256[:2] / sha256[2:]

    def keep(self, source: Path, sha256: str) -> Path:
        """Keep an export; one that is kept already is never written again.

        Parameters
        ----------
        source : pathlib.Path
            The export as given.
        sha256 : str
            Of its bytes when it was read.

        Returns
        -------
        pathlib.Path
            Where it is kept.

        Raises
        ------
        StoreError
            Where the file's bytes are no longer those that were read.
        """
        path = self.path(sha256)
        if not path.exists():
            put(path, lambda part: _copy(source, part, sha256))
        return path

    def take(self, source: Path) -> Kept:
        """Keep an export that was not read yet: its bytes are hashed while they are copied.

        Parameters
        ----------
        source : pathlib.Path
            The export as given.

        Returns
        -------
        Kept
            To be read from there, so that what is read is what is kept.
        """
        self._folder.mkdir(parents=True, exist_ok=True)
        part = self._folder / f".{uuid4().hex}.part"
        try:
            sha256 = _copied(source, part)
            kept = Kept(self.path(sha256), sha256, part.stat().st_size)
            if not kept.path.exists():
                sync(part)
                kept.path.parent.mkdir(exist_ok=True)
                part.replace(kept.path)
                sync_folder(kept.path.parent)
                sync_folder(self._folder)
            return kept
        finally:
            part.unlink(missing_ok=True)


def _copied(source: Path, target: Path) -> str:
    """Copy a file and give the SHA-256 of its bytes."""
    digest, block = hashlib.sha256(), memoryview(bytearray(_BLOCK))
    with source.open("rb", buffering=0) as given, target.open("wb", buffering=0) as kept:
        while size := given.readinto(block):
            digest.update(block[:size])
            kept.write(block[:size])
    return digest.hexdigest()


def _copy(source: Path, target: Path, sha256: str) -> None:
    if _copied(source, target) != sha256:
        fault = Fault(
            "the file changed while it was read",
            str(source),
            "the same bytes throughout",
            "Give it again once it is written whole",
        )
        raise StoreError(fault)
