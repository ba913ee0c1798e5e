"""The exports as they came, byte for byte, by their SHA-256."""

from __future__ import annotations

import hashlib
from pathlib import Path

from lineview.errors import Fault, StoreError
from lineview.store.durable import put

_BLOCK = 1 << 20


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


def _copy(source: Path, target: Path, sha256: str) -> None:
    digest = hashlib.sha256()
    with source.open("rb") as given, target.open("wb") as kept:
        while block := given.read(_BLOCK):
            digest.update(block)
            kept.write(block)
    if digest.hexdigest() != sha256:
        fault = Fault(
            "the file changed while it was read",
            str(source),
            "the same bytes throughout",
            "Give it again once it is written whole",
        )
        raise StoreError(fault)
