"""One Delta table, partitioned by machine and month; every file of it belongs to one intake."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
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
from lineview.store.files import sum_of, sync_folder, write_file
from lineview.store.frames import micros, moment
from lineview.store.listed import ListedFile
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
_FILE_COLUMNS = {
    "rows": pl.Int64(),
    "path": pl.String(),
    "machine": pl.String(),
    "intake": pl.Int64(),
    "first": pl.Int64(),
    "last": pl.Int64(),
}


#: A file that was written, as the table's log is to list it and as the journal is.
WrittenFile = tuple[AddAction, ListedFile]


@dataclass(frozen=True)
class Piece:
    """What one file is to hold: the rows of one machine in one month, each frame sorted by moment."""

    machine: str
    month: str
    rows: Sequence[pl.DataFrame]


@dataclass(frozen=True)
class IntakePieces:
    """What an intake adds: its pieces, a file each, and the name by which its transaction is known again."""

    intake: int
    app_id: str
    pieces: Sequence[Piece]


class TableRows:
    """The rows of a Delta table, read from its files."""

    def __init__(self, schema: Mapping[str, pl.DataType]) -> None:
        self._schema = dict(schema)
        self._written = {name: dtype for name, dtype in schema.items() if name != "machine"}

    def scan(
        self, paths: Sequence[Path], machine: str, first: int, last: int, *, coded: bool = False
    ) -> pl.LazyFrame | None:
        """The rows of some files of a machine from one moment to another, both included [µs since 1970]."""
        if not paths:
            return None
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
            glob=False,  # a folder may have brackets in its name
            hive_partitioning=False,
            schema=self._written,
            missing_columns="insert",
            cast_options=_CODES_ARE_TEXT,
        )

    def _coded(self, paths: Sequence[Path]) -> pl.LazyFrame:
        """The files' rows with codes for few distinct texts; files of former versions hold the texts."""
        types = _as_codes(self._written)
        return pl.concat(
            [_with_types(pl.scan_parquet(path, glob=False, hive_partitioning=False), types) for path in paths]
        )


def _with_types(rows: pl.LazyFrame, types: Mapping[str, pl.DataType]) -> pl.LazyFrame:
    """A file's rows in these columns; null in one that the file lacks."""
    there = rows.collect_schema()
    lacking = [pl.lit(None, dtype).alias(name) for name, dtype in types.items() if name not in there]
    return rows.with_columns(lacking).select(list(types)).cast(pl.Schema(types))


class PartedTable(TableRows):
    """A Delta table that is only ever added to, or rid of whole intakes.

    `folder`: where the table is; made where it is missing; `schema`: one of lineview.core.frames; the month is
    added.

    Files are written by polars and committed with their statistics in one transaction: several times as fast and
    as frugal as handing the rows over. The list of files is read again only when the table has changed.
    """

    def __init__(self, folder: Path, schema: Mapping[str, pl.DataType]) -> None:
        super().__init__(schema)
        self._folder = folder
        self._files = empty(_FILE_COLUMNS)
        fields = {**self._schema, "month": pl.String()}
        make_table(folder, [Field(name, _DELTA_TYPES[dtype]) for name, dtype in fields.items()], _PARTITION)
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
            return empty(_FILE_COLUMNS)
        return actions.select(
            rows="num_records",
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

    def add(self, several: Sequence[IntakePieces]) -> list[ListedFile]:
        """Add the rows of intakes in one atomic commit, and give the files they are in."""
        files = [pair for intake in several for pair in self.write(intake)]
        self.commit(files, [intake.app_id for intake in several])
        return [listed for _, listed in files]

    def write(self, intake: IntakePieces) -> list[WrittenFile]:
        """Write an intake's files, which the table does not list yet; to be given to `commit`."""
        return [self._write(piece, intake.intake) for piece in intake.pieces]

    def commit(self, files: Sequence[WrittenFile], app_ids: Sequence[str]) -> None:
        """Add files that were written before in one atomic commit."""
        self._commit([action for action, _ in files], app_ids)

    def replace(self, intake: int, files: Sequence[WrittenFile], app_id: str) -> None:
        """Put files that were written before in the place of all others of an intake, in one atomic commit."""
        new = {action.path for action, _ in files}
        old = self.files().filter(pl.col("intake") == intake)["path"].to_list()
        removals = [RemoveAction(path, True, int(time() * 1000)) for path in old if path not in new]
        self._commit([*removals, *(action for action, _ in files)], [app_id])

    def listed(self, intake: int) -> list[ListedFile]:
        """The files of an intake by the table's log, with what they hold now."""
        mine = self.files().filter(pl.col("intake") == intake)
        return [self._listed_file(*row) for row in mine.select(list(_FILE_COLUMNS)).iter_rows()]

    def _listed_file(self, rows: int, path: str, machine: str, intake: int, first: int, last: int) -> ListedFile:
        size, sha256 = sum_of(self._folder / path)
        kind = self._folder.name
        return ListedFile(intake, kind, f"{kind}/{path}", machine, first, last, rows, size, sha256)

    def drop_unlisted(self, intake: int) -> None:
        """Delete files of an intake that was never done and whose files no commit lists."""
        listed = set(self.files().filter(pl.col("intake") == intake)["path"])
        for file in self._folder.glob(f"machine=*/month=*/intake-{intake:09d}-*.parquet"):
            if file.relative_to(self._folder).as_posix() not in listed:
                file.unlink(missing_ok=True)

    def relist(self, listed: Sequence[ListedFile], app_ids: Sequence[str]) -> None:
        """List files that were written before in a log that is new, in one atomic commit."""
        actions = []
        for file in listed:
            machine, month = (part.partition("=")[2] for part in file.path.split("/")[1:3])
            action = AddAction(
                path=file.path.partition("/")[2],
                size=file.size_bytes,
                partition_values={"machine": unquote(machine), "month": month},
                modification_time=int(time() * 1000),
                data_change=True,
                stats=_statistics(file.rows, (moment(file.first), moment(file.last)), file.intake),
            )
            actions.append(action)
        if actions:
            self._commit(actions, app_ids)

    def place(self, listed: ListedFile) -> Path:
        """Where a file of the table stands."""
        return self._folder.parent / listed.path

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

    def _write(self, piece: Piece, intake: int) -> WrittenFile:
        folder = f"machine={quote(piece.machine)}/month={piece.month}"
        name = f"{folder}/intake-{intake:09d}-{uuid4().hex}.parquet"
        # a file that lacks a column has nothing in it, and a channel of numbers has no texts
        empty_ = [
            name
            for name in _OFTEN_EMPTY
            if name in self._written and all(part[name].null_count() == part.height for part in piece.rows)
        ]
        types = {name: dtype for name, dtype in _as_codes(self._written).items() if name not in empty_}
        coded = [frame.lazy().select(list(types)).cast(pl.Schema(types)) for frame in piece.rows]
        rows = pl.concat(coded).with_columns(intake=pl.lit(intake, pl.Int64))

        def write(path: Path) -> None:
            rows.sink_parquet(path, compression="lz4", statistics=False, row_group_size=_ROW_GROUP)

        write_file(self._folder / name, write)
        first, last = (micros(moment) for moment in _ends(piece))
        count = sum(frame.height for frame in piece.rows)
        listed = self._listed_file(count, name, piece.machine, intake, first, last)
        action = AddAction(
            path=name,
            size=listed.size_bytes,
            partition_values={"machine": piece.machine, "month": piece.month},
            modification_time=int(time() * 1000),
            data_change=True,
            stats=_statistics(count, _ends(piece), intake),
        )
        return action, listed


class OwnFiles:
    """The files of an intake that is being written, and what they say, before any table lists them."""

    def __init__(self, table: PartedTable) -> None:
        self._table = table
        self.written: list[WrittenFile] = []

    def write(self, intake: IntakePieces) -> None:
        """Write further files of the intake."""
        self.written += self._table.write(intake)

    def rows(self, machine: str, channel: str, first: int, last: int) -> pl.DataFrame | None:
        """What was written of a channel from one moment to another [µs since 1970]; None for nothing."""
        mine = [
            file for _, file in self.written if file.machine == machine and file.last >= first and file.first <= last
        ]
        mine.sort(key=lambda file: file.first)
        frame = self._table.scan([self._table.place(file) for file in mine], machine, first, last)
        return None if frame is None else frame.filter(pl.col("channel") == channel).collect()


def _ends(piece: Piece) -> tuple[datetime, datetime]:
    """The first and last moment of a file's rows."""
    first = min(frame["at"][0] for frame in piece.rows)
    return first, max(frame["at"][-1] for frame in piece.rows)


def _as_codes(schema: Mapping[str, pl.DataType]) -> dict[str, pl.DataType]:
    return {name: pl.Categorical() if name in _CODED else dtype for name, dtype in schema.items()}


def _statistics(rows: int, ends: tuple[datetime, datetime], intake: int) -> str:
    first, last = ends
    statistics = {
        "numRecords": rows,
        "minValues": {"at": _iso(first), "intake": intake},
        "maxValues": {"at": _iso(last), "intake": intake},
        "nullCount": {"at": 0, "intake": 0},
    }
    return json.dumps(statistics)


def _iso(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
