"""A works in one file: written while the store is held still, and put back only where every byte is as it was."""

from __future__ import annotations

import hashlib
import sqlite3
import struct
import zlib
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from shutil import rmtree
from tempfile import TemporaryDirectory
from uuid import uuid4
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile

from pydantic import TypeAdapter, ValidationError

from lineview.core.errors import Fault, StoreError
from lineview.core.language import tr
from lineview.core.names import readable
from lineview.store.doctor import examine
from lineview.store.files import body_of, make_folder, sealed, storage_errors, sync, sync_folder, write_file
from lineview.store.opening import JOURNAL, SEAL
from lineview.store.store import Store, writing

_FORM, _LIST = 1, "backup.json"
#: What is made again when the store is opened; the key that signs cookies is not given away with a backup.
_LEFT_OUT = {SEAL, f"{JOURNAL}-wal", f"{JOURNAL}-shm", "writing.lock", "signing.key"}
_BESIDE = ("plant.toml", "layouts.toml")
_BLOCK = 1 << 20
#: What `zipfile` raises, each for another damage; ValueError comes of text and lists that are none, too.
_UNREADABLE = (BadZipFile, zlib.error, struct.error, EOFError, RuntimeError, ValueError, LookupError, OverflowError)
#: The files of a backup: name, length and SHA-256.
_FILES = TypeAdapter(dict[str, tuple[int, str]])
#: A list of a million files stays below this.
_MOST_LIST_BYTES = 256 << 20


def write_backup(works: Path, file: Path) -> int:
    """Write a works' store and description to a new file; give how many files are in it.

    Parameters
    ----------
    works : pathlib.Path
        The works folder, its journal in the store.
    file : pathlib.Path
        Where it goes. Writers of the store wait meanwhile; readers do not.

    Returns
    -------
    int
        How many files were written.

    Raises
    ------
    StoreError
        Where the file is there already, the store is damaged, or a disk fails; nothing is left half written.
    """
    if file.exists():
        raise StoreError(Fault(tr("there is a file of this name"), readable(str(file)), tr("the name of a new one")))
    if (works / "store").resolve() in file.resolve().parents:  # the next backup would hold this one
        raise StoreError(Fault(tr("a backup cannot lie in the store"), readable(str(file)), tr("a file elsewhere")))
    if not (works / "store" / JOURNAL).exists():
        do = tr(
            "Where the journal stands on PostgreSQL: while nothing is taken in, dump its database "
            "with pg_dump, then copy the works folder; to go back, put both back (pg_restore) and "
            "run lineview doctor"
        )
        raise StoreError(Fault(tr("no journal stands in the store"), readable(str(works)), tr("a works folder"), do))
    damage = [finding for finding in examine(works / "store", None) if finding.is_damage and finding.part != "seal"]
    if damage:
        what, do = f"{damage[0].where} {damage[0].what}", tr("Mend it first: lineview doctor --repair")
        raise StoreError(Fault(what, readable(str(works)), tr("a store as it was written"), do))
    listed: dict[str, tuple[int, str]] = {}

    def write(part: Path) -> None:
        part.touch(mode=0o600)  # it holds what the works folder holds, hashes of passwords among it
        with ZipFile(part, "w", ZIP_DEFLATED, compresslevel=1) as archive:
            for name, source in _sources(works):
                listed[name] = _add(archive, name, source)
            archive.writestr(_LIST, sealed({"form": _FORM, "files": listed}))

    missing = [folder for folder in file.parents if not folder.exists()]
    try:
        with storage_errors(tr("write the backup")), writing(works / "store"):
            write_file(file, write)
    except BaseException:
        for folder in missing:
            with suppress(OSError):
                folder.rmdir()
        raise
    return len(listed)


def _sources(works: Path) -> Iterator[tuple[str, Path]]:
    """The files of a works by their names in a backup; the journal as it is at one moment."""
    yield from ((name, works / name) for name in _BESIDE if (works / name).exists())
    for path in sorted((works / "store").rglob("*")):
        name = path.relative_to(works)
        unfinished = any(part.endswith(".part") for part in name.parts)
        if path.is_file() and path.name not in {*_LEFT_OUT, JOURNAL} and not unfinished:
            yield name.as_posix(), path
    with TemporaryDirectory(prefix="lineview-") as folder:
        copy = Path(folder) / JOURNAL
        with closing(sqlite3.connect(works / "store" / JOURNAL)) as journal, closing(sqlite3.connect(copy)) as into:
            journal.backup(into)
        yield f"store/{JOURNAL}", copy


def _add(archive: ZipFile, name: str, source: Path) -> tuple[int, str]:
    """Add a file; give its length and SHA-256."""
    digest, size = hashlib.sha256(), 0
    with source.open("rb") as reader, archive.open(name, "w", force_zip64=True) as writer:
        while block := reader.read(_BLOCK):
            digest.update(block)
            size += len(block)
            writer.write(block)
    return size, digest.hexdigest()


def read_backup(file: Path, works: Path) -> int:
    """Put a works back from a backup, whole or not at all; give how many files it has.

    Parameters
    ----------
    file : pathlib.Path
        As `write_backup` wrote it.
    works : pathlib.Path
        A folder that is not there yet.

    Returns
    -------
    int
        How many files were put back.

    Raises
    ------
    StoreError
        Where the folder is there already, or the backup is not as it was written or is of a later version.
    """
    works = works.absolute()
    if works.exists():
        do = tr("Name one that is not there yet with --works")
        raise StoreError(Fault(tr("the folder is there already"), readable(str(works)), tr("a new folder"), do))
    part = works.with_name(f".{works.name}.{uuid4().hex}.part")
    try:
        with storage_errors(tr("put the backup back")):
            count = _unpack(file, part)
            Store.open(part / "store").close()
            findings = examine(part / "store", None)
            if findings:
                raise StoreError(_not_whole(file, f"{findings[0].where} {findings[0].what}"))
            part.rename(works)
            sync_folder(works.parent)
    finally:
        rmtree(part, ignore_errors=True)
    return count


def _unpack(file: Path, into: Path) -> int:
    try:
        with ZipFile(file) as archive:
            if any(entry.compress_type != ZIP_DEFLATED for entry in archive.infolist()):
                raise StoreError(_not_whole(file, tr("packed in another way")))
            listed = _list_of(archive, file)
            if {entry.filename for entry in archive.infolist()} != {*listed, _LIST}:
                raise StoreError(_not_whole(file, tr("other files than those of its list")))
            for name, (size, sha256) in listed.items():
                _extract(archive, name, into, size, sha256, file)
    except _UNREADABLE as error:
        raise StoreError(_not_whole(file, str(error))) from None
    return len(listed)


def _list_of(archive: ZipFile, file: Path) -> dict[str, tuple[int, str]]:
    """The files of a backup: name, length and SHA-256."""
    try:
        entry = archive.getinfo(_LIST)
    except KeyError:
        raise StoreError(_not_whole(file, tr("no list of files in it"))) from None
    body = body_of(archive.read(entry)) if entry.file_size < _MOST_LIST_BYTES else None
    if not isinstance(body, dict):
        raise StoreError(_not_whole(file, tr("its list of files is not as it was written")))
    if body.get("form") != _FORM:
        what = tr("the backup is of form {form}, this version knows {known}", form=body.get("form"), known=_FORM)
        raise StoreError(Fault(what, readable(str(file)), tr("a backup of this version"), tr("Use the newer version")))
    try:
        return _FILES.validate_python(body.get("files"))
    except ValidationError:
        raise StoreError(_not_whole(file, tr("its list of files is none"))) from None


def _extract(archive: ZipFile, name: str, into: Path, size: int, sha256: str, file: Path) -> None:
    path = into / name
    if ".." in path.parts or not path.is_relative_to(into) or "\\" in name:
        raise StoreError(_not_whole(file, tr("a name that leads out of the folder")))
    make_folder(path.parent)
    digest, remaining = hashlib.sha256(), size
    with archive.open(name) as reader, path.open("wb") as writer:
        while block := reader.read(_BLOCK):
            remaining -= len(block)
            if remaining < 0:
                break
            digest.update(block)
            writer.write(block)
    sync(path)
    sync_folder(path.parent)
    if remaining or digest.hexdigest() != sha256:
        raise StoreError(_not_whole(file, tr("{name} has other bytes", name=name)))


def _not_whole(file: Path, why: str) -> Fault:
    do = tr("Nothing was put back; use another backup")
    return Fault(
        tr("the backup is not as it was written: {why}", why=why), readable(str(file)), tr("what was backed up"), do
    )
