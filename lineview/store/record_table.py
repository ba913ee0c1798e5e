"""Records: one Delta table by machine and month, in which a month's file is replaced whole; and weeks, a file each."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from shutil import rmtree
from threading import Lock
from time import time
from typing import Any
from urllib.parse import quote, unquote
from uuid import uuid4

import polars as pl
from deltalake import DeltaTable, Field
from deltalake.exceptions import DeltaError
from deltalake.schema import ArrayType, PrimitiveType
from deltalake.transaction import AddAction, RemoveAction

from lineview.core.frames import UTC_US
from lineview.core.record_frames import RECORDS
from lineview.store.files import write_file
from lineview.store.table_log import TableLog, make_table

_PARTITION = ("machine", "month")
_PRIMITIVES: dict[pl.DataType, str] = {
    pl.String(): "string",
    pl.Int64(): "long",
    pl.Float64(): "double",
    pl.Boolean(): "boolean",
    pl.Date(): "date",
    UTC_US: "timestamp",
}
#: What the library and the system raise of a table that was damaged.
_UNREADABLE = (DeltaError, OSError)
#: The bytes that what was read of files may hold, kept for the next question: a season of one sizer takes 20 MB.
KEPT_BYTES = 32_000_000
_FILES = {"path": pl.String(), "machine": pl.String(), "month": pl.String()}


def _delta_type(dtype: pl.DataType) -> PrimitiveType | ArrayType:
    if isinstance(dtype, pl.List):
        return ArrayType(PrimitiveType(_PRIMITIVES[dtype.inner]), contains_null=True)  # type: ignore[index]  # polars types the inner type loosely
    return PrimitiveType(_PRIMITIVES[dtype])


class RecordTable:
    """Records kept beside the readings they were worked out from.

    Parameters
    ----------
    folder : pathlib.Path
        Where the table is; made where it is missing.

    Notes
    -----
    Records can be made again from the readings: what is found broken is taken as not there, and `lost` counts
    it, so that whoever read meanwhile knows to make it anew.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = Lock()
        self._sound: dict[str, tuple[int, int]] = {}
        self._kept: dict[tuple[str, ...], tuple[pl.DataFrame, int]] = {}
        self._broken: set[str] = set()
        self.losses = 0  # how often something kept was found broken
        try:
            self._open()
        except _UNREADABLE:
            self._renew()

    def _open(self) -> None:
        fields = [Field(name, _delta_type(dtype)) for name, dtype in RECORDS.items()]
        make_table(self._folder, fields, _PARTITION)
        self._table = DeltaTable(str(self._folder))
        self._log = TableLog(self._folder)
        self._listed = -1
        self._looked_at = -1
        self._files = pl.DataFrame(schema=_FILES)

    def _renew(self) -> None:
        """Begin anew in the place of a table that cannot be read."""
        aside = self._folder.with_name(f".{self._folder.name}.{uuid4().hex}.part")
        if self._folder.exists():
            self._folder.rename(aside)
            rmtree(aside, ignore_errors=True)
        self._open()
        self.losses += 1

    def files(self) -> pl.DataFrame:
        """The table's files now, those found broken left out: path, machine, month."""
        with self._lock:
            # a month has one file: where a log that lost an entry lists two, neither is to be trusted
            is_alone = pl.len().over("machine", "month") == 1
            return self._list().filter(is_alone, ~pl.col("path").is_in(list(self._broken)))

    def _list(self) -> pl.DataFrame:
        try:
            return self._listing()
        except _UNREADABLE:
            self._renew()
            return self._listing()

    def _listing(self) -> pl.DataFrame:
        # A commit adds a file to the log: as long as its folder is as it was, there is nothing new to read.
        changed = (self._folder / "_delta_log").stat().st_mtime_ns
        if changed == self._looked_at:
            return self._files
        self._looked_at = changed
        self._table.update_incremental()
        if self._table.version() != self._listed:
            actions = pl.DataFrame(self._table.get_add_actions(flatten=True))
            self._listed = self._table.version()
            self._files = (
                pl.DataFrame(schema=_FILES)
                if actions.is_empty()
                else actions.select(
                    path=pl.col("path").map_elements(unquote, pl.String),
                    machine=pl.col("partition.machine").cast(pl.String),
                    month=pl.col("partition.month").cast(pl.String),
                )
            )
        return self._files

    def version(self) -> int:
        """The table's version, which changes with every record that is replaced."""
        with self._lock:
            self._list()
            return self._listed

    def read(self, machine: str, months: Sequence[str], columns: Sequence[str]) -> pl.DataFrame:
        """Records of a machine.

        Parameters
        ----------
        machine : str
            Its id.
        months : sequence of str
            Months of the windows' starts [UTC], "2026-06".
        columns : sequence of str
            Of RECORDS, `machine` and `month` aside.

        Returns
        -------
        polars.DataFrame
            By time.
        """
        files = self.files().filter((pl.col("machine") == machine) & pl.col("month").is_in(list(months)))
        if files.is_empty():
            return pl.DataFrame(schema={name: RECORDS[name] for name in columns})
        names = list(dict.fromkeys(["start", *columns]))
        read = [pl.DataFrame(schema={name: RECORDS[name] for name in names})]
        for path in files.sort("month")["path"]:
            rows = self._rows(path, names)
            if rows is None:
                self._broken.add(path)
                self.losses += 1
            else:
                read.append(rows)
        rows = pl.concat(read).select(names)
        return (rows if rows["start"].is_sorted() else rows.sort("start")).select(list(columns))

    def _rows(self, path: str, columns: Sequence[str]) -> pl.DataFrame | None:
        """Columns of a file; None where it is not as it was written."""
        file = self._folder / path
        try:
            there = file.stat().st_size, file.stat().st_mtime_ns
            if self._sound.get(path) != there:
                if sha256(file.read_bytes()).hexdigest() != file.stem.rpartition("-")[2]:
                    return None
                self._sound[path] = there
            with self._lock:
                entry = self._kept.pop((path, *columns), None)
            if entry is None:
                rows = pl.read_parquet(file, columns=list(columns), glob=False, hive_partitioning=False)
                entry = rows, int(rows.estimated_size())
        except (OSError, pl.exceptions.PolarsError):
            return None
        with self._lock:
            self._kept[path, *columns] = entry
            over = sum(size for _, size in self._kept.values()) - KEPT_BYTES
            while over > 0:  # what was asked for longest ago goes first
                over -= self._kept.pop(next(iter(self._kept)))[1]
        return entry[0]

    def months(self, machine: str) -> list[str]:
        """The months of which there are records of a machine."""
        return sorted(self.files().filter(pl.col("machine") == machine)["month"].to_list())

    def replace(self, months: Mapping[tuple[str, str], pl.DataFrame]) -> None:
        """Put records in the place of all that are kept of the same machines and months, in one commit.

        Parameters
        ----------
        months : mapping
            From machine and month to its RECORDS; none leaves nothing of it.
        """
        with self._lock:
            try:
                self._commit(months)
            except _UNREADABLE:
                if self._can_be_opened():
                    raise
                self._renew()
                self._commit(months)

    def _commit(self, months: Mapping[tuple[str, str], pl.DataFrame]) -> None:
        listed = self._list()
        actions: list[Any] = []
        now = int(time() * 1000)
        for (machine, month), records in months.items():
            old = listed.filter((pl.col("machine") == machine) & (pl.col("month") == month))
            actions += [RemoveAction(path, True, now) for path in old["path"].to_list()]
            if records.height:
                actions.append(self._write(machine, month, records))
        if actions:
            self._table.create_write_transaction(actions, "append", self._table.schema(), list(_PARTITION))
            self._log.sync()

    def _can_be_opened(self) -> bool:
        try:
            DeltaTable(str(self._folder))
        except _UNREADABLE:
            return False
        return True

    def _write(self, machine: str, month: str, records: pl.DataFrame) -> AddAction:
        """Write a month's file, whose name holds the SHA-256 of its bytes."""
        rows, body = records.sort("start").drop("machine", "month"), BytesIO()
        rows.write_parquet(body, compression="zstd", compression_level=1, row_group_size=64)
        mark = f"{uuid4().hex}-{sha256(body.getbuffer()).hexdigest()}"
        name = f"machine={quote(machine)}/month={month}/{mark}.parquet"
        write_file(self._folder / name, lambda part: part.write_bytes(body.getbuffer()))
        return AddAction(
            path=name,
            size=(self._folder / name).stat().st_size,
            partition_values={"machine": machine, "month": month},
            modification_time=int(time() * 1000),
            data_change=True,
            stats=json.dumps({"numRecords": rows.height}),
        )

    def tidy_up(self) -> None:
        """Delete files that no version of the last seven days needs, and shorten the table's log."""
        with self._lock:
            self._table.update_incremental()
            self._table.vacuum(dry_run=False)
            self._table.create_checkpoint()
            self._log.sync()


class WeekFiles:
    """What lines' weeks came to, a file each, with what they were worked out from.

    Parameters
    ----------
    folder : pathlib.Path
        Where they are; made where it is missing.
    writing : callable
        Gives a context in which nobody else writes to the store, or False in it where somebody does.

    Notes
    -----
    All of it can be worked out again: a file that is broken, or that the disk does not take, is as one that is not
    there.
    """

    def __init__(self, folder: Path, writing: Callable[[], AbstractContextManager[bool]]) -> None:
        self._folder, self._writing = folder, writing

    def read(self, name: str, state: str) -> tuple[str, bytes] | None:
        """What is kept under a name, worked out in this state: its mark and its bytes."""
        with suppress(OSError, ValueError):
            digest, _, rest = self._path(name).read_bytes().partition(b"\n")
            if sha256(rest).hexdigest().encode() == digest:
                head, _, body = rest.partition(b"\n")
                there, mark = json.loads(head)
                return (mark, body) if there == state else None
        return None

    def keep(self, name: str, state: str, mark: str, body: bytes) -> None:
        """Put bytes in the place of what is kept under a name; nothing while somebody else writes to the store."""
        rest = b"\n".join((json.dumps([state, mark]).encode(), body))
        whole = b"\n".join((sha256(rest).hexdigest().encode(), rest))
        with suppress(OSError), self._writing() as may_write:
            if may_write:
                write_file(self._path(name), lambda part: part.write_bytes(whole))

    def clear(self) -> None:
        """Drop all of them."""
        rmtree(self._folder, ignore_errors=True)

    def _path(self, name: str) -> Path:
        return self._folder / f"{sha256(name.encode()).hexdigest()[:32]}.week"
