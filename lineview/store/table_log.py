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
from collections.abc import Collection, Sequence
from pathlib import Path
from shutil import copyfile, rmtree
from uuid import uuid4

from deltalake import DeltaTable, Field, PostCommitHookProperties, Schema

from lineview.core.errors import Fault, StoreError
from lineview.store.files import make_folder, put, sync, sync_folder

#: Given with every commit: the library's summaries of a log appear before they are on the disk.
NO_CHECKPOINT = PostCommitHookProperties(create_checkpoint=False, cleanup_expired_logs=False)
#: So many entries make a summary of the log worth its while.
_SUMMED_UP_EVERY = 25
#: Taking files away writes two entries, and one may wait for the disk before that.
_UNSYNCED_AT_MOST = 3
_LAST_SUMMARY = "_last_checkpoint"


class TableLog:
    """The log of one table.

    Parameters
    ----------
    table : pathlib.Path
        The table's folder.
    """

    def __init__(self, table: Path) -> None:
        self._table = table
        self._folder = table / "_delta_log"
        self._synced: set[str] = set()

    def sync(self) -> None:
        """Bring all entries and their names to the disk; each once, since none ever changes.

        Those that are summed up are there: a summary is made of entries on the disk alone.
        """
        summed_up = self._summed_up()
        for entry in _entries(self._folder):
            if _version(entry) > summed_up and entry not in self._synced:
                sync(self._folder / entry)
                self._synced.add(entry)
        sync_folder(self._folder)

    def sum_up(self) -> None:
        """Sum the log up to its newest entry when that is due: it is then read from there."""
        version = _version(_entries(self._folder)[-1])
        before = self._summed_up()
        if version - max(before, 0) < _SUMMED_UP_EVERY:
            return
        made = _beside(self._table)
        try:
            log = made / "_delta_log"
            log.mkdir(parents=True)
            later = [entry for entry in _entries(self._folder) if _version(entry) > before]
            for name in [*later, *_summaries(self._folder, before)]:
                copyfile(self._folder / name, log / name)
            DeltaTable(str(made)).create_checkpoint()
            for name in _summaries(log, version):
                put(self._folder / name, lambda part, made=log / name: copyfile(made, part))  # type: ignore[misc]  # bound now
        finally:
            rmtree(made, ignore_errors=True)
        for summary in self._folder.glob("*.checkpoint*.parquet"):
            if _version(summary.name) < before:  # the one before stays for those that are reading it
                summary.unlink(missing_ok=True)

    def _summed_up(self) -> int:
        """The newest entry that a summary holds; -1 where there is no summary."""
        try:
            return int(json.loads((self._folder / _LAST_SUMMARY).read_bytes())["version"])
        except (FileNotFoundError, ValueError, KeyError):
            return -1


def make_table(folder: Path, fields: Sequence[Field], partition_by: Sequence[str]) -> None:
    """Make a table where there is none: it appears whole and on the disk, or not at all."""
    if DeltaTable.is_deltatable(str(folder)):
        return
    make_folder(folder)
    made = _beside(folder)
    try:
        DeltaTable.create(str(made), Schema(list(fields)), partition_by=list(partition_by))
        TableLog(made).sync()
        (made / "_delta_log").rename(folder / "_delta_log")
    except OSError:
        if not DeltaTable.is_deltatable(str(folder)):  # else another process has just made it
            raise
    finally:
        rmtree(made, ignore_errors=True)
    sync_folder(folder)


def mend_log(table: Path, done: Collection[str]) -> None:
    """Take away what a power cut left of the newest entries of a table's log."""
    log = table / "_delta_log"
    entries = _entries(log)
    if not entries:
        if done:
            raise StoreError(lost_entries(table, "is missing"))
        return
    newest = entries[-_UNSYNCED_AT_MOST:]
    torn = next((place for place, entry in enumerate(newest) if not _is_whole(log / entry)), None)
    if torn is None:
        return
    version = _version(newest[torn]) - 1
    before = DeltaTable(str(table), version=version) if version >= 0 else None
    if any(before is None or before.transaction_version(app_id) is None for app_id in done):
        raise StoreError(lost_entries(table, f"is damaged ({newest[torn]})"))
    for entry in reversed(newest[torn:]):
        (log / entry).unlink()
    sync_folder(log)


def lost_entries(table: Path, how: str) -> Fault:
    """Say that a table's log does not list what was taken in; `how` it fails to."""
    return Fault(
        f"the log of the table of {table.name} {how}, and readings that were taken in are listed in it",
        str(table / "_delta_log"),
        "every entry as it was written",
        "Put the store's folder back from a copy, or give the journal of this store; nothing was changed",
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
