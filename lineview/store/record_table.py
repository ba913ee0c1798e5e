"""The table of records: one Delta table by machine and month, in which a month's file is replaced whole."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from threading import Lock
from time import time
from typing import Any
from urllib.parse import quote, unquote
from uuid import uuid4

import polars as pl
from deltalake import DeltaTable, Field, Schema
from deltalake.schema import ArrayType, PrimitiveType
from deltalake.transaction import AddAction, RemoveAction

from lineview.core.frames import UTC_US
from lineview.core.record_frames import RECORDS
from lineview.store.files import put

_PARTITION = ("machine", "month")
_PRIMITIVES: dict[pl.DataType, str] = {
    pl.String(): "string",
    pl.Int64(): "long",
    pl.Float64(): "double",
    pl.Boolean(): "boolean",
    pl.Date(): "date",
    UTC_US: "timestamp",
}
_FILES = {"path": pl.String(), "machine": pl.String(), "month": pl.String()}


def _delta_type(dtype: pl.DataType) -> PrimitiveType | ArrayType:
    if isinstance(dtype, pl.List):
        return ArrayType(PrimitiveType(_PRIMITIVES[dtype.inner]), contains_null=True)  # type: ignore[index]
    return PrimitiveType(_PRIMITIVES[dtype])


class RecordTable:
    """Records kept beside the readings they were worked out from.

    Parameters
    ----------
    folder : pathlib.Path
        Where the table is; made where it is missing.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        if not DeltaTable.is_deltatable(str(folder)):
            folder.mkdir(parents=True, exist_ok=True)
            fields = [Field(name, _delta_type(dtype)) for name, dtype in RECORDS.items()]
            DeltaTable.create(str(folder), Schema(fields), mode="ignore", partition_by=list(_PARTITION))
        self._table = DeltaTable(str(folder))
        self._lock = Lock()
        self._listed = -1
        self._looked_at = -1
        self._files = pl.DataFrame(schema=_FILES)

    def files(self) -> pl.DataFrame:
        """The table's files now: path, machine, month."""
        with self._lock:
            return self._list()

    def _list(self) -> pl.DataFrame:
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
        paths = [self._folder / path for path in files.sort("month")["path"]]
        wanted = list(dict.fromkeys(["start", *columns]))
        read = pl.concat([pl.read_parquet(path, columns=wanted, hive_partitioning=False) for path in paths])
        return read.sort("start").select(list(columns))

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
            listed = self._list()
            actions: list[Any] = []
            now = int(time() * 1000)
            for (machine, month), records in months.items():
                old = listed.filter((pl.col("machine") == machine) & (pl.col("month") == month))
                actions += [RemoveAction(path, True, now) for path in old["path"].to_list()]
                if records.height:
                    actions.append(self._write(machine, month, records))
            if not actions:
                return
            self._table.create_write_transaction(actions, "append", self._table.schema(), list(_PARTITION))

    def _write(self, machine: str, month: str, records: pl.DataFrame) -> AddAction:
        name = f"machine={quote(machine)}/month={month}/{uuid4().hex}.parquet"
        rows = records.sort("start").drop("machine", "month")

        def write(path: Path) -> None:
            rows.write_parquet(path, compression="zstd", compression_level=1, row_group_size=64)

        put(self._folder / name, write)
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
