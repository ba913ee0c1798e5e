"""Files of the store: locks, whole writes, SHA-256 sums, and the exports as they came."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from shutil import disk_usage, rmtree
from time import time
from typing import IO, Any
from uuid import uuid4

import polars as pl
from deltalake.exceptions import DeltaError
from sqlalchemy.exc import SQLAlchemyError

from lineview.core.errors import Fault, StoreError
from lineview.core.language import tr

if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[bytes], wait: bool) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(file: IO[bytes], wait: bool) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))


@contextmanager
def locked(path: Path, *, wait: bool = True) -> Iterator[bool]:
    """Hold a lock file against other processes and other threads.

    Parameters
    ----------
    path : pathlib.Path
        The lock file, made where it is missing and left there.
    wait : bool
        Whether to wait for whoever holds it.

    Yields
    ------
    bool
        Whether it is held: False only where somebody else holds it and it is not waited for.
    """
    with path.open("ab") as file:
        try:
            _take(file, wait)
        except OSError:
            if wait:
                raise
            yield False
            return
        yield True


def write_file(path: Path, write: Callable[[Path], object]) -> None:
    """Let `write` fill a temporary file beside `path`, bring it to the disk and give it its name.

    Parameters
    ----------
    path : pathlib.Path
        Where the file is to stand; its folder is made where it is missing.
    write : callable
        Given the temporary path, writes the file there.
    """
    make_folder(path.parent)
    part = path.with_name(f".{path.name}.{uuid4().hex}.part")
    try:
        write(part)
        sync(part)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    sync_folder(path.parent)


#: What no process has touched for so long is left over from one that was ended [s].
LEFT_OVER_S = 86_400.0
_CLEARED = ".cleared"


def clear_leftovers(folder: Path) -> None:
    """Delete what processes that were ended left half written, once a day; nothing that may be in use."""
    mark, now = folder / _CLEARED, time()
    if mark.exists() and now - mark.stat().st_mtime < LEFT_OVER_S:
        return
    for place, folders, files in os.walk(folder):
        for name in [entry for entry in (*folders, *files) if entry.startswith(".") and entry.endswith(".part")]:
            part = Path(place, name)
            if now - _last_touched(part) < LEFT_OVER_S:
                continue
            if part.is_dir():
                rmtree(part, ignore_errors=True)
            else:
                part.unlink(missing_ok=True)
        folders[:] = [name for name in folders if not name.endswith(".part")]
    mark.touch()


def _last_touched(part: Path) -> float:
    """When a file, or anything in a folder, was last written to; now where it has just gone."""
    try:
        return max(item.stat().st_mtime for item in (part, *part.rglob("*")))
    except FileNotFoundError:
        return time()


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, and bring their names to the disk."""
    chain = [folder, *folder.parents]
    missing = [path for path in chain if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for path in missing:
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


_BLOCK = 1 << 20


def sum_of(path: Path) -> tuple[int, str]:
    """A file's length and the SHA-256 of its bytes."""
    digest, size, block = hashlib.sha256(), 0, memoryview(bytearray(_BLOCK))
    with path.open("rb", buffering=0) as file:
        while read := file.readinto(block):
            digest.update(block[:read])
            size += read
    return size, digest.hexdigest()


def sealed(body: Any) -> str:
    """A JSON text with the SHA-256 of its body."""
    text = json.dumps(body, sort_keys=True)
    return json.dumps({"sha256": hashlib.sha256(text.encode()).hexdigest(), "body": body}, sort_keys=True)


def unsealed(path: Path) -> Any | None:
    """The body of a sealed file, or None where there is none or it is not as it was written."""
    try:
        return body_of(path.read_bytes())
    except OSError:
        return None


def body_of(text: bytes) -> Any | None:
    """The body of a sealed text, or None where it is not as it was written."""
    try:
        document = json.loads(text)
        body = json.dumps(document["body"], sort_keys=True)
        return document["body"] if hashlib.sha256(body.encode()).hexdigest() == document["sha256"] else None
    except (ValueError, KeyError, TypeError):
        return None


@dataclass(frozen=True)
class StoredOriginal:
    """Where an export's bytes are kept, their SHA-256 and how many they are."""

    path: Path
    sha256: str
    size_bytes: int


class Originals:
    """The folder of exports as they came, each under ab/cdef…: its SHA-256 cut after two figures."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def path(self, sha256: str) -> Path:
        """Where the export of this SHA-256 stands, or would."""
        return self._folder / sha256[:2] / sha256[2:]

    def keep(self, source: Path, sha256: str) -> Path:
        """Keep an export; one that is kept already is never written again."""
        path = self.path(sha256)
        if not path.exists():
            write_file(path, lambda part: _copy(source, part, sha256))
        self._sync_names(path)
        return path

    def take(self, source: Path) -> StoredOriginal:
        """Keep an export that was not read yet: its bytes are hashed while they are copied."""
        make_folder(self._folder)
        part = self._folder / f".{uuid4().hex}.part"
        try:
            sha256 = _copy_hashed(source, part)
            original = StoredOriginal(self.path(sha256), sha256, part.stat().st_size)
            if not original.path.exists():
                sync(part)
                original.path.parent.mkdir(exist_ok=True)
                part.replace(original.path)
            self._sync_names(original.path)
            return original
        finally:
            part.unlink(missing_ok=True)

    def _sync_names(self, path: Path) -> None:
        """Bring an export's name to the disk, also one that a killed process gave."""
        sync_folder(path.parent)
        sync_folder(self._folder)


def _copy_hashed(source: Path, target: Path) -> str:
    """Copy a file and give the SHA-256 of its bytes."""
    digest, block = hashlib.sha256(), memoryview(bytearray(_BLOCK))
    with source.open("rb", buffering=0) as reader, target.open("wb", buffering=0) as writer:
        while size := reader.readinto(block):
            digest.update(block[:size])
            writer.write(block[:size])
    return digest.hexdigest()


def _copy(source: Path, target: Path, sha256: str) -> None:
    if _copy_hashed(source, target) != sha256:
        fault = Fault(
            tr("the file changed while it was read"),
            str(source),
            tr("the same bytes throughout"),
            tr("Take it in again once it is completely written"),
        )
        raise StoreError(fault)


#: Less than this is a full disk: a sound journal cannot be opened, and looks as if it were not [bytes].
LEAST_FREE = 200_000


def require_room(folder: Path) -> None:
    """Raise an OSError where the disk of a folder is full."""
    if folder.exists() and disk_usage(folder).free < LEAST_FREE:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(folder))


@contextmanager
def storage_errors(doing: str) -> Iterator[None]:
    """Turn what the disk, Delta, polars or the database raises into a StoreError."""
    try:
        yield
    except (OSError, DeltaError, SQLAlchemyError, pl.exceptions.PolarsError) as error:
        reason = str(getattr(error, "orig", None) or error).strip().splitlines() or [type(error).__name__]
        advice = tr("Check the disk's space and rights, then try again: nothing is left half done")
        raise StoreError(
            Fault(tr("could not {doing}: {reason}", doing=doing, reason=reason[0]), "store", "", advice)
        ) from error
