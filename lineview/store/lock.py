"""One writer at a time: a lock file in the store's folder, let go by the system if its holder dies."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[bytes], wait: bool) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(file: IO[bytes], wait: bool) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))


@contextmanager
def writing(folder: Path, *, wait: bool = True) -> Iterator[bool]:
    """Hold the store for writing, against other processes and other threads.

    Parameters
    ----------
    folder : pathlib.Path
        The store's folder.
    wait : bool
        Whether to wait for another writer; without, `False` is given where there is one.

    Yields
    ------
    bool
        Whether the store is held.
    """
    with (folder / "writing.lock").open("ab") as file:
        try:
            _take(file, wait)
        except OSError:
            if wait:
                raise
            yield False
            return
        yield True
