"""One Delta table, partitioned by machine and month; every file of it belongs to one intake."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock
from time import time
from typing import Any
from urllib.parse import quote, unquote
from uuid import uuid4

import polars as pl
from deltalake import CommitProperties, DeltaTable, Field
from deltalake.schema import PrimitiveType
from deltalake.transaction import AddAction, RemoveAction, Transaction

from lineview.core.frames import UTC_US, empty
from lineview.store.files import put, sync_folder
from lineview.store.frames import micros
from lineview.store.table_log import NO_CHECKPOINT, TableLog, make_table

_PARTITION = ["machine", "month"]
_ROW_GROUP = 65_536
#: Columns of few distinct texts, written as codes: a third less work than text, and text again when read.
_CODED = ("channel", "quality")
_OFTEN_EMPTY = ("text",)
_CODES_ARE_TEXT = pl.ScanCastOptions(categorical_to_string="allow")
_DELTA_TYPES = {
    pl.String(): PrimitiveType("string"),
    pl.Int64(): PrimitiveType("long"),
    pl.Float64(): PrimitiveType("double"),
    pl.Boolean(): PrimitiveType("boolean"),
    UTC_US: PrimitiveType("timestamp"),
}
_FILES = {"path": pl.String(), "machine": pl.String(), "intake": pl.Int64(), "first": pl.Int64(), "last": pl.Int64()}


@dataclass(frozen=True)
class Piece:
    """What one file is to hold: the rows of one machine in one month, each frame sorted by moment."""

    machine: str
    month: str
    rows: Sequence[pl.DataFrame]


@dataclass(frozen=True)
class Written:
    """What an intake adds: its pieces, a file each, and the name by which its transaction is known again."""

    intake: int
    app_id: str
    pieces: Sequence[Piece]


class TableFiles:
    """The files of a Delta table at one moment.

    Parameters
    ----------
    folder : pathlib.Path
        Where the table is.
    schema : dict
        One of lineview.core.frames.
    listed : polars.DataFrame
        path, machine, intake, first and last moment [µs since 1970] of each file.
    """

    def __init__(self, folder: Path, schema: Mapping[str, pl.DataType], listed: pl.DataFrame) -> None:
        self._folder = folder
        self._schema = dict(schema)
        self._written = {name: dtype for name, dtype in schema.items() if name != "machine"}
        self._files = listed

    def files(self) -> pl.DataFrame:
        """The files: path, machine, intake, first and last moment [µs since 1970]."""
        return self._files

    def only(self, intakes: Sequence[int]) -> TableFiles:
        """The files there are now of these intakes, held still."""
        listed = self.files()
        return TableFiles(self._folder, self._schema, listed.filter(pl.col("intake").is_in(list(intakes))))

    def scan(
        self, files: pl.DataFrame, machine: str, first: int, last: int, hidden: Iterable[int], *, coded: bool = False
    ) -> pl.LazyFrame | None:
        """The rows of a machine from one moment to another, both included [µs since 1970]."""
        wanted = files.filter(
            pl.col("machine") == machine,
            pl.col("last") >= first,
            pl.col("first") <= last,
            ~pl.col("intake").is_in(list(hidden)),
        )
        if wanted.is_empty():
            return None
        paths = [self._folder / path for path in wanted.sort("first", maintain_order=True)["path"]]
        start, end = (pl.lit(moment, pl.Int64).cast(UTC_US) for moment in (first, last))
        rows = self._coded(paths) if coded else self._plain(paths)
        return (
            rows.filter(pl.col("at").is_between(start, end))
            .with_columns(machine=pl.lit(machine))
            .select(list(self._schema))
        )

    def _plain(self, paths: Sequence[Path]) -> pl.LazyFrame:
        return pl.scan_parquet(
            list(paths),
            hive_partitioning=False,
            schema=self._written,
            missing_columns="insert",
            cast_options=_CODES_ARE_TEXT,
        )

    def _coded(self, paths: Sequence[Path]) -> pl.LazyFrame:
        """The files' rows with codes for few distinct texts; files of former versions hold the texts."""
        types = _as_codes(self._written)
        return pl.concat([_with_types(pl.scan_parquet(path, hive_partitioning=False), types) for path in paths])


def _with_types(rows: pl.LazyFrame, types: Mapping[str, pl.DataType]) -> pl.LazyFrame:
    """A file's rows in these columns; null in one that the file lacks."""
    there = rows.collect_schema()
    lacking = [pl.lit(None, dtype).alias(name) for name, dtype in types.items() if name not in there]
    return rows.with_columns(lacking).select(list(types)).cast(pl.Schema(types))


class PartedTable(TableFiles):
    """A Delta table that is only ever added to, or rid of whole intakes.

    Parameters
    ----------
    folder : pathlib.Path
        Where the table is; made where it is missing.
    schema : dict
        One of lineview.core.frames; the month is added.

    Notes
    -----
    Files are written by polars and committed with their statistics in one transaction: several times as fast
    and as frugal as handing the rows over. The list of files is read again only when the table has changed.
    """

    def __init__(self, folder: Path, schema: Mapping[str, pl.DataType]) -> None:
        super().__init__(folder, schema, empty(_FILES))
        told = {**self._schema, "month": pl.String()}
        make_table(folder, [Field(name, _DELTA_TYPES[dtype]) for name, dtype in told.items()], _PARTITION)
        self._log = TableLog(folder)
        self._table = DeltaTable(str(folder))
        self._lock = Lock()
        self._read_table = DeltaTable(str(folder))  # of its own, so that no reader waits for a writer
        self._reading = Lock()
        self._listed = -1

    def files(self) -> pl.DataFrame:
        """The table's files now: path, machine, intake, first and last moment [µs since 1970]."""
        with self._reading:
            self._read_table.update_incremental()
            version = self._read_table.version()
            if version != self._listed:
                self._files = self._list()
                self._listed = version
            return self._files

    def _list(self) -> pl.DataFrame:
        actions = pl.DataFrame(self._read_table.get_add_actions(flatten=True))
        if actions.is_empty():
            return empty(_FILES)
        return actions.select(
            path=pl.col("path").map_elements(unquote, pl.String),  # the table's log holds addresses
            machine=pl.col("partition.machine").cast(pl.String),
            intake="min.intake",
            first=pl.col("min.at").dt.cast_time_unit("us").cast(pl.Int64),
            last=pl.col("max.at").dt.cast_time_unit("us").cast(pl.Int64),
        )

    def holds(self, app_id: str) -> bool:
        """Whether a transaction of this application id was committed."""
        with self._lock:
            self._table.update_incremental()
            return self._table.transaction_version(app_id) is not None

    def add(self, several: Sequence[Written]) -> None:
        """Add the rows of intakes in one atomic commit."""
        actions = [action for one in several for action in self.write(one)]
        self._commit(actions, [one.app_id for one in several])

    def write(self, one: Written) -> list[AddAction]:
        """Write an intake's files, which the table does not list yet; to be given to `commit`."""
        return [self._write(piece, one.intake) for piece in one.pieces]

    def commit(self, actions: Sequence[AddAction], app_ids: Sequence[str]) -> None:
        """Add files that were written before in one atomic commit."""
        self._commit(list(actions), app_ids)

    def drop_unlisted(self, intake: int) -> None:
        """Delete files of an intake that was never done and whose files no commit lists."""
        listed = set(self.files().filter(pl.col("intake") == intake)["path"])
        for file in self._folder.glob(f"machine=*/month=*/intake-{intake:09d}-*.parquet"):
            if file.relative_to(self._folder).as_posix() not in listed:
                file.unlink(missing_ok=True)

    def remove(self, intake: int, app_id: str) -> None:
        """Remove an intake's rows, if there are any, in one atomic commit."""
        paths = self.files().filter(pl.col("intake") == intake)["path"].to_list()
        if paths:
            now = int(time() * 1000)
            self._commit([RemoveAction(path, True, now) for path in paths], [app_id])

    def tidy_up(self) -> None:
        """Delete the files that no version of the last seven days needs."""
        with self._lock:
            self._table.update_incremental()
            self._table.vacuum(dry_run=False, post_commithook_properties=NO_CHECKPOINT)
            self._log.sync()

    def sync(self) -> None:
        """Bring every commit to the disk; a process that was killed may have left that undone."""
        with self._lock:
            self._log.sync()

    def _commit(self, actions: list[Any], app_ids: Sequence[str]) -> None:
        with self._lock:
            self._sync_folders([action.path for action in actions if isinstance(action, AddAction)])
            self._table.update_incremental()
            self._table.create_write_transaction(
                actions,
                "append",
                self._table.schema(),
                list(_PARTITION),
                commit_properties=CommitProperties(app_transactions=[Transaction(app_id, 1) for app_id in app_ids]),
                post_commithook_properties=NO_CHECKPOINT,
            )
            self._log.sync()
            self._log.sum_up()

    def _sync_folders(self, paths: Sequence[str]) -> None:
        """Bring the names of files to the disk, and of the folders above them, whoever made those."""
        folders = {folder for path in paths for folder in (self._folder / path).parents}
        for folder in sorted(folder for folder in folders if folder.is_relative_to(self._folder)):
            sync_folder(folder)

    def _write(self, piece: Piece, intake: int) -> AddAction:
        folder = f"machine={quote(piece.machine)}/month={piece.month}"
        name = f"{folder}/intake-{intake:09d}-{uuid4().hex}.parquet"
        # a file that lacks a column has nothing in it, and a channel of numbers has no texts
        empty_ = [
            name
            for name in _OFTEN_EMPTY
            if name in self._written and all(one[name].null_count() == one.height for one in piece.rows)
        ]
        types = {name: dtype for name, dtype in _as_codes(self._written).items() if name not in empty_}
        coded = [frame.lazy().select(list(types)).cast(pl.Schema(types)) for frame in piece.rows]
        rows = pl.concat(coded).with_columns(intake=pl.lit(intake, pl.Int64))

        def write(path: Path) -> None:
            rows.sink_parquet(path, compression="lz4", statistics=False, row_group_size=_ROW_GROUP)

        put(self._folder / name, write)
        return AddAction(
            path=name,
            size=(self._folder / name).stat().st_size,
            partition_values={"machine": piece.machine, "month": piece.month},
            modification_time=int(time() * 1000),
            data_change=True,
            stats=_statistics(piece, intake),
        )


class OwnFiles:
    """The files of an intake that is being written, and what they say, before any table lists them.

    Parameters
    ----------
    table : PartedTable
        Of readings.
    """

    def __init__(self, table: PartedTable) -> None:
        self._table = table
        self._files: list[tuple[str, str, int, int, int]] = []
        self.actions: list[AddAction] = []

    def write(self, one: Written) -> None:
        """Write further files of the intake."""
        for piece, action in zip(one.pieces, self._table.write(one), strict=True):
            self.actions.append(action)
            first, last = (micros(moment) for moment in _ends(piece))
            self._files.append((action.path, piece.machine, one.intake, first, last))

    def rows(self, machine: str, channel: str, first: int, last: int) -> pl.DataFrame | None:
        """What was written of a channel from one moment to another [µs since 1970]; None for nothing."""
        if not any(file[1] == machine and file[4] >= first and file[3] <= last for file in self._files):
            return None
        files = pl.DataFrame(self._files, schema=_FILES, orient="row")
        found = self._table.scan(files, machine, first, last, ())
        return None if found is None else found.filter(pl.col("channel") == channel).collect()


def _ends(piece: Piece) -> tuple[datetime, datetime]:
    """The first and last moment of a file's rows."""
    first = min(frame["at"][0] for frame in piece.rows)
    return first, max(frame["at"][-1] for frame in piece.rows)


def _as_codes(schema: Mapping[str, pl.DataType]) -> dict[str, pl.DataType]:
    return {name: pl.Categorical() if name in _CODED else dtype for name, dtype in schema.items()}


def _statistics(piece: Piece, intake: int) -> str:
    first, last = _ends(piece)
    told = {
        "numRecords": sum(frame.height for frame in piece.rows),
        "minValues": {"at": _iso(first), "intake": intake},
        "maxValues": {"at": _iso(last), "intake": intake},
        "nullCount": {"at": 0, "intake": 0},
    }
    return json.dumps(told)


def _iso(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
