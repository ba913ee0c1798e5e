"""The logs of Delta tables, brought to the disk by the store: the library leaves that to the system.

Notes
-----
The journal says "done" only after the entry that lists an intake's files is on the disk. An entry that a
power cut left in part is therefore of an intake that was not done, and can go; where it is not, nothing is
changed.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Collection, Sequence
from functools import partial
from pathlib import Path
from shutil import copyfile, rmtree
from uuid import uuid4

from deltalake import DeltaTable, Field, PostCommitHookProperties, Schema

from lineview.core.errors import Fault, StoreError
from lineview.core.language import mark, tr
from lineview.core.names import readable
from lineview.store.files import make_folder, sealed, sum_of, sync, sync_folder, unsealed, write_file

#: Given with every commit: the library's summaries of a log appear before they are on the disk.
NO_CHECKPOINT = PostCommitHookProperties(create_checkpoint=False, cleanup_expired_logs=False)
#: So many entries make a summary of the log worth its while.
_SUMMED_UP_EVERY = 25
#: Taking files away writes two entries, and one may wait for the disk before that.
_UNSYNCED_AT_MOST = 3
_LAST_SUMMARY = "_last_checkpoint"


class TableLog:
    """The log of the table in a folder."""

    def __init__(self, table: Path) -> None:
        self._table = table
        self._folder = table / "_delta_log"
        self._sums: dict[str, str] | None = None

    def sync(self) -> None:
        """Bring all entries and their names to the disk; each once, since none ever changes.

        Those that are summed up are there: a summary is made of entries on the disk alone.
        """
        if self._sums is None:
            self._sums = kept_sums(self._table) or {}
        summed_up, former = self._summed_up(), dict(self._sums)
        entries = _entries(self._folder)
        for entry in entries:
            if entry not in self._sums:
                if _version(entry) > summed_up:
                    sync(self._folder / entry)
                self._sums[entry] = sum_of(self._folder / entry)[1]
        sync_folder(self._folder)
        self._sums = {name: self._sums[name] for name in entries}
        for file in self._folder.glob("*.checkpoint*.parquet"):
            self._sums[file.name] = former.get(file.name) or sum_of(file)[1]
        if (self._folder / _LAST_SUMMARY).exists():
            self._sums[_LAST_SUMMARY] = sum_of(self._folder / _LAST_SUMMARY)[1]
        if self._sums != former and not self._table.name.startswith("."):
            text = sealed(self._sums)
            write_file(_sums_file(self._table), lambda part: part.write_text(text, encoding="utf-8"))

    def sum_up(self) -> None:
        """Sum the log up to its newest entry when that is due: it is then read from there."""
        version = _version(_entries(self._folder)[-1])
        before = self._summed_up()
        if version - max(before, 0) < _SUMMED_UP_EVERY:
            return
        copy = _beside(self._table)
        try:
            log = copy / "_delta_log"
            log.mkdir(parents=True)
            later = [entry for entry in _entries(self._folder) if _version(entry) > before]
            for name in [*later, *_summaries(self._folder, before)]:
                copyfile(self._folder / name, log / name)
            DeltaTable(str(copy)).create_checkpoint()
            for name in _summaries(log, version):
                write_file(self._folder / name, partial(copyfile, log / name))
        finally:
            rmtree(copy, ignore_errors=True)
        # the summary before stays, and all after it: for those that are reading it, and should this one be damaged
        for name in os.listdir(self._folder):  # noqa: PTH208 - names alone, of many files
            if name[:20].isdecimal() and (_version(name), name.endswith(".parquet")) < (before, True):
                (self._folder / name).unlink(missing_ok=True)
        self.sync()

    def _summed_up(self) -> int:
        """The newest entry that a summary holds; -1 where there is no summary."""
        try:
            return int(json.loads((self._folder / _LAST_SUMMARY).read_bytes())["version"])
        except (FileNotFoundError, ValueError, KeyError):
            return -1


#: What the library cannot have in a path, and how it is called.
_UNUSABLE = (
    (r"[\x00-\x1f\x7f]", mark("a line break or another control character")),
    (r"\\", mark("a backslash")),
    (r"%[0-9A-Fa-f]{2}", mark("a percent sign before two digits")),
    (r"[\ud800-\udfff]", mark("a byte that is not UTF-8")),
)


def check_path(folder: Path) -> None:
    """Raise where tables cannot be kept under a folder because of how it or one above it is called."""
    path = folder.resolve().as_posix()
    for pattern, what in _UNUSABLE:
        if re.search(pattern, path):
            do = tr("Move the works to a folder without it, or rename the folder")
            raise StoreError(
                Fault(tr("the path has {what} in it", what=tr(what)), readable(path), tr("a plain path"), do)
            )


def _sums_file(table: Path) -> Path:
    return table.parent / "sums" / f"{table.name}.json"


def kept_sums(table: Path) -> dict[str, str] | None:
    """The SHA-256 of each file of a table's log as it was written; None where that is not known."""
    sums: dict[str, str] | None = unsealed(_sums_file(table))
    return sums


def has_sums(table: Path) -> bool:
    """Whether sums of a table's log are kept, sound or not; a former version kept none."""
    return _sums_file(table).exists()


def damaged_entries(table: Path) -> list[str]:
    """The names of the files of a table's log that are not as they were written, missing ones too."""
    sums, log = kept_sums(table), table / "_delta_log"
    if sums is None:
        return [_sums_file(table).name]
    there = {file.name: file for file in log.iterdir() if not file.name.startswith(".")} if log.is_dir() else {}
    other = [name for name, file in there.items() if name not in sums or sum_of(file)[1] != sums[name]]
    return sorted({*other, *(set(sums) - set(there))})


def make_table(folder: Path, fields: Sequence[Field], partition_by: Sequence[str]) -> None:
    """Make a table where there is none: it appears whole and on the disk, or not at all."""
    if DeltaTable.is_deltatable(str(folder)):
        return
    make_folder(folder)
    draft = _beside(folder)
    try:
        DeltaTable.create(str(draft), Schema(list(fields)), partition_by=list(partition_by))
        TableLog(draft).sync()
        (draft / "_delta_log").rename(folder / "_delta_log")
    except OSError:
        if not DeltaTable.is_deltatable(str(folder)):  # else another process has just made it
            raise
    finally:
        rmtree(draft, ignore_errors=True)
    sync_folder(folder)
    TableLog(folder).sync()


def drop_log(table: Path) -> None:
    """Put a damaged log out of the way, so that the table is made anew around its files."""
    aside = _beside(table)
    if (table / "_delta_log").exists():
        (table / "_delta_log").rename(aside)
    _sums_file(table).unlink(missing_ok=True)
    rmtree(aside, ignore_errors=True)


def mend_log(table: Path, done: Collection[str]) -> None:
    """Take away what a power cut left of the newest entries of a table's log."""
    log = table / "_delta_log"
    entries = _entries(log)
    if not entries:
        if done:
            raise StoreError(lost_entries(table, tr("the log of the table of {table} is missing", table=table.name)))
        return
    newest = entries[-_UNSYNCED_AT_MOST:]
    torn = next((place for place, entry in enumerate(newest) if not _is_whole(log / entry)), None)
    if torn is None:
        return
    version = _version(newest[torn]) - 1
    before = DeltaTable(str(table), version=version) if version >= 0 else None
    if any(before is None or before.transaction_version(app_id) is None for app_id in done):
        raise StoreError(
            lost_entries(
                table, tr("the log of the table of {table} is damaged ({entry})", table=table.name, entry=newest[torn])
            )
        )
    for entry in reversed(newest[torn:]):
        (log / entry).unlink()
    sync_folder(log)


def lost_entries(table: Path, how: str) -> Fault:
    """Say that a table's log does not list what was taken in; `how` it fails to."""
    return Fault(
        tr("{how}, and readings that were taken in are listed in it", how=how),
        str(table / "_delta_log"),
        tr("every entry as it was written"),
        tr("Put the store's folder back from a copy, or give the journal of this store; nothing was changed"),
    )


def _entries(log: Path) -> list[str]:
    """The names of a log's entries, oldest first."""
    if not log.is_dir():
        return []
    return sorted(name for name in os.listdir(log) if name.endswith(".json") and name[:-5].isdecimal())  # noqa: PTH208 - thousands of paths take as long to make as all else


def _version(entry: str) -> int:
    return int(entry.partition(".")[0])


def _summaries(log: Path, version: int) -> list[str]:
    """The names of the files that sum a log up to a version, the one that points to them last."""
    if version < 0:
        return []
    return [*sorted(file.name for file in log.glob(f"{version:020d}.checkpoint*.parquet")), _LAST_SUMMARY]


def _is_whole(entry: Path) -> bool:
    """Whether an entry is as it was written: an object a line, none of them cut short."""
    lines = entry.read_bytes().split(b"\n")
    try:
        return all(isinstance(json.loads(line), dict) for line in lines)
    except ValueError:
        return False


def _beside(table: Path) -> Path:
    return table.with_name(f".{table.name}.{uuid4().hex}.part")
