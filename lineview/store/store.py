"""The store: everything that was taken in, kept in one folder. No other module writes."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import IO, Self

import polars as pl

from lineview.core.errors import StoreError
from lineview.core.frames import READINGS, WEIGHTS
from lineview.intake.detect.sheets import Export, InPieces
from lineview.store.files import make_folder, storage_errors
from lineview.store.journal import Journal
from lineview.store.manual_entries import ManualEntries
from lineview.store.reader import StoreReader
from lineview.store.readings import PartedTable
from lineview.store.record_pieces import record_in_pieces
from lineview.store.table_log import lost_entries, mend_log
from lineview.store.writer import Receipt, Recorder, app_id

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
    """Hold the store for writing, against other processes and other threads."""
    with (folder / "writing.lock").open("ab") as file:
        try:
            _take(file, wait)
        except OSError:
            if wait:
                raise
            yield False
            return
        yield True


__all__ = ["Receipt", "Store"]


class Store(StoreReader):
    """Everything that was taken in: exports as they came, readings, the journal. Use `Store.open`.

    Notes
    -----
    Writers take turns through a lock file in the folder, processes and threads alike; readers never wait.
    """

    def __init__(self, folder: Path, journal_url: str | None) -> None:
        self._database = Journal(folder, journal_url)
        self._tables = {
            "readings": self._whole_table("readings", folder, READINGS),
            "weights": self._whole_table("weights", folder, WEIGHTS),
        }
        super().__init__(folder, self._database, self._tables)
        self._written = ManualEntries(self._database)
        self._recorder = Recorder(
            self._database,
            self._tables,
            self._originals,
            self._refusals,
            self._disputes,
            {"readings": self._readings, "weights": self._weights},
            self._told,
            self._conflicts,
        )

    def _whole_table(self, kind: str, folder: Path, schema: Mapping[str, pl.DataType]) -> PartedTable:
        """Open a table in which every intake that is in has its files listed."""
        done = self._database.done_with(kind)
        mend_log(folder / kind, [app_id(row) for row in done])
        table = PartedTable(folder / kind, schema)
        if not {row.id for row in done} <= set(table.files()["intake"]):
            raise StoreError(lost_entries(folder / kind, "lacks entries"))
        return table

    @classmethod
    def open(cls, folder: Path, journal_url: str | None = None) -> Self:
        """Open a store, make what is missing, and finish or take back what a crash has left.

        Parameters
        ----------
        folder : pathlib.Path
            Where everything is kept.
        journal_url : str, optional
            The journal's address for SQLAlchemy; by default an SQLite file in the folder.

        Returns
        -------
        Store
            Open; also a context manager.

        Raises
        ------
        StoreError
            Where the folder or the journal cannot be used.
        """
        with storage_errors(f"open the store in {folder}"):
            make_folder(folder)
            with writing(folder):
                store = cls(folder, journal_url)
            with writing(folder, wait=False) as held:
                if held:  # else another writer is at work, and recovers by itself
                    store._recorder.recover()
        return store

    def close(self) -> None:
        """Let the journal go."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def snapshot(self) -> Iterator[StoreReader]:
        """Hold the store still for reading: all that is read in the context is of one moment.

        Yields
        ------
        StoreReader
            Each intake is in it whole or not at all, also one that is taken in or undone meanwhile.

        Raises
        ------
        StoreError
            Where the disk or the database fails.
        """
        while True:
            with self._database.snapshot() as journal:
                done = journal.done()
                tables = {name: table.only(done) for name, table in self._tables.items()}
                # rows leave a table only after the journal says "undone", so all of these were still there
                if set(done) <= set(self._database.done()):
                    yield StoreReader(self._folder, journal, tables)
                    return

    def held(self) -> AbstractContextManager[bool]:
        """A context in which nobody else writes to the store, or False in it where somebody does now."""
        return writing(self._folder, wait=False)

    def record(self, export: Export) -> Receipt:
        """Take an export in, whole or not at all; the same file again changes nothing."""
        with storage_errors(f"take in {export.path.name}"), writing(self._folder):
            self._recorder.recover()
            (outcome,) = self._recorder.record([export])
        if isinstance(outcome, StoreError):
            raise outcome
        return outcome

    def record_in_pieces(self, export: InPieces) -> Receipt:
        """Take a big export in while it is read, whole or not at all; the same file again changes nothing.

        Parameters
        ----------
        export : InPieces
            As intake opened it.

        Returns
        -------
        Receipt
            What became of its rows.

        Raises
        ------
        StoreError
            Where the disk or the database fails, or the file's rows do not add up.
        NotInPieces
            Where the file has to be read whole; nothing of it is in then.
        """
        with storage_errors(f"take in {export.path.name}"), writing(self._folder):
            self._recorder.recover()
            return record_in_pieces(self._recorder, export)

    def record_all(self, exports: Sequence[Export]) -> list[Receipt | StoreError]:
        """Take exports in together, each whole or not at all; one that fails does not stop the others.

        Parameters
        ----------
        exports : sequence of Export
            As intake read them.

        Returns
        -------
        list of Receipt or StoreError
            What became of each, in order.
        """
        try:
            with storage_errors("take in several exports"), writing(self._folder):
                self._recorder.recover()
                return self._recorder.record(exports)
        except StoreError:  # which of them it was is known only when each is taken by itself
            return [self._recorded(export) for export in exports]

    def _recorded(self, export: Export) -> Receipt | StoreError:
        try:
            return self.record(export)
        except StoreError as error:
            return error

    def undo(self, intake: int) -> Receipt:
        """Take an intake back wholly; the export's bytes stay kept.

        Parameters
        ----------
        intake : int
            Its id.

        Returns
        -------
        Receipt
            Of what was undone.

        Raises
        ------
        StoreError
            Where there is no such intake, or it was undone before.
        """
        with storage_errors(f"undo intake {intake}"), writing(self._folder):
            self._recorder.recover()
            given = self._recorder.undo(intake)
            for table in self._tables.values():
                table.tidy_up()
            return given

    def add_adjustment(self, machine: str, at: datetime, what: str, note: str = "") -> None:
        """Keep what somebody did to a machine."""
        with storage_errors("keep the adjustment"):
            self._written.add_adjustment(machine, at, what, note)

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        """Keep why a machine stood; said again for the same start, the later saying holds."""
        with storage_errors("keep the reason"):
            self._written.set_stop_reason(machine, start, end, reason)

    def set_stop_reasons(self, machine: str, stops: Sequence[tuple[datetime, datetime]], reason: str) -> int:
        """Keep one reason for several stops, all of them or none; give the mark that undoes it."""
        with storage_errors("keep the reasons"):
            return self._written.set_stop_reasons(machine, stops, reason)

    def undo_stop_reasons(self, mark: int) -> int:
        """Give stops back the reasons they had before those set together; give how many there were."""
        with storage_errors("undo the reasons"):
            return self._written.undo_stop_reasons(mark)
