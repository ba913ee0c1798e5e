"""Putting a file in place whole: a reader sees all of it or nothing, also after a power cut."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from uuid import uuid4


def put(path: Path, write: Callable[[Path], object]) -> None:
    """Let `write` fill a temporary file beside `path`, bring it to the disk and give it its name.

    Parameters
    ----------
    path : pathlib.Path
        Where the file is to stand; its folder is made where it is missing.
    write : callable
        Given the temporary path, writes the file there.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{uuid4().hex}.part")
    try:
        write(part)
        sync(part)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    sync_folder(path.parent)


def sync(path: Path) -> None:
    """Bring a file's bytes to the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Bring a folder's names to the disk, where the system can."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
