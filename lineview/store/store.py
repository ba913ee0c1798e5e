"""The store: everything that was taken in, kept in one folder. No other module writes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import polars as pl

from lineview.core.errors import Fault, StoreError
from lineview.core.frames import READINGS, WEIGHTS
from lineview.core.language import tr
from lineview.intake.exports import Export, InPieces
from lineview.store.accounts import Accounts
from lineview.store.files import clear_leftovers, locked, make_folder, storage_errors, sum_of
from lineview.store.journal import Journal
from lineview.store.listed import FileCheck
from lineview.store.manual_entries import ManualEntries
from lineview.store.opening import identify, open_journal, seal
from lineview.store.reader import StoreReader
from lineview.store.readings import PartedTable
from lineview.store.record_pieces import record_in_pieces
from lineview.store.sidecars import WORKS, Sidecars
from lineview.store.table_log import TableLog, check_path, kept_sums, lost_entries, mend_log
from lineview.store.writer import Receipt, Recorder, app_id


def writing(folder: Path, *, wait: bool = True) -> AbstractContextManager[bool]:
    """Hold the store for writing, against other processes and other threads.

    Parameters
    ----------
    folder : pathlib.Path
        The store's.
    wait : bool
        Whether to wait for whoever holds it.

    Returns
    -------
    context manager of bool
        Whether it is held: False only where somebody else holds it and it is not waited for.
    """
    return locked(folder / "writing.lock", wait=wait)


__all__ = ["Receipt", "Store"]


class Store(StoreReader):
    """Everything that was taken in: exports as they came, readings, the journal. Use `Store.open`.

    Notes
    -----
    Writers take turns through a lock file in the folder, processes and threads alike; readers never wait.
    """

    def __init__(self, folder: Path, journal: Journal, *, holds_store: bool) -> None:
        self._database = journal
        self._tables = {
            "readings": self._whole_table("readings", folder, READINGS, holds_store=holds_store),
            "weights": self._whole_table("weights", folder, WEIGHTS, holds_store=holds_store),
        }
        super().__init__(folder, self._database, FileCheck(folder))
        self._is_open_to_doubt = False
        self._written = ManualEntries(self._database, folder)
        self._sidecars = Sidecars(folder)
        self.accounts = Accounts(self._database, self._seal_if_free)
        self._recorder = Recorder(
            self._database,
            self._tables,
            self._originals,
            self._refusals,
            self._disputes,
            {"readings": self._readings, "weights": self._weights},
            self._journal_rows,
            self._conflicts,
            self._sidecars,
        )
        if holds_store:
            identify(folder, journal, self._sidecars, self._recorder.wrote)
            self._written.settle()
            self._recorder.recover()
            for kind in self._tables:
                if kept_sums(folder / kind) is None:  # a store of a former version
                    TableLog(folder / kind).sync()
            self._seal()
            clear_leftovers(folder)

    def _whole_table(
        self, kind: str, folder: Path, schema: Mapping[str, pl.DataType], *, holds_store: bool
    ) -> PartedTable:
        """Open a table in which every intake that is in has its files listed."""
        done = self._database.done_with(kind)
        if holds_store:
            mend_log(folder / kind, [app_id(row) for row in done])
        table = PartedTable(folder / kind, schema)
        if not {row.id for row in done} <= set(table.files()["intake"]):
            raise StoreError(
                lost_entries(folder / kind, tr("the log of the table of {table} lacks entries", table=kind))
            )
        return table

    def describe(self, plant: str) -> None:
        """Keep the plant description by which the next exports are read, so that they can be read so again.

        Parameters
        ----------
        plant : str
            As JSON.
        """
        with storage_errors(tr("keep the plant description")):
            self._sidecars.describe(plant)

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
        check_path(folder)
        with storage_errors(tr("open the store in {folder}", folder=folder)):
            make_folder(folder)
            with writing(folder, wait=not (folder / WORKS).exists()) as holds_store:
                # where another is at work, a store that was made before is only read, and mended by the other
                journal = open_journal(folder, journal_url, holds_store=holds_store)
                try:
                    return cls(folder, journal, holds_store=holds_store)
                except BaseException:
                    journal.close()
                    raise

    def close(self) -> None:
        """Let the journal go, sealed where readers were in the way until now."""
        if self._is_open_to_doubt:
            self._seal_if_free()
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
        with self._database.snapshot() as journal:
            # files outlast the intakes that they are of by days, so all that are listed now stay there
            yield StoreReader(self._folder, journal, self._check)

    @contextmanager
    def _changing(self, doing: str) -> Iterator[None]:
        """Hold the store for writing, with nothing left half done, and seal the journal afterwards."""
        with storage_errors(doing), writing(self._folder):
            self._recorder.recover()
            yield
            self._seal()

    def writing_alone(self) -> AbstractContextManager[bool]:
        """A context in which nobody else writes to the store, or False in it where somebody does now."""
        return writing(self._folder, wait=False)

    def record(self, export: Export) -> Receipt:
        """Take an export in, whole or not at all; the same file again changes nothing."""
        with self._changing(tr("take in {name}", name=export.path.name)):
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
        with self._changing(tr("take in {name}", name=export.path.name)):
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
            with self._changing(tr("take in several exports")):
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
        with self._changing(tr("undo intake {intake}", intake=intake)):
            undone = self._recorder.undo(intake)
            for table in self._tables.values():
                table.tidy_up()
            return undone

    def remake(self, intake: int, read: Callable[[Path, str, str | None], Export]) -> None:
        """Make all of an intake anew from its original.

        Parameters
        ----------
        intake : int
            Its id.
        read : callable
            Given the original, the name of the export, and the plant description by which it was read, as
            JSON, or None where that is lost; gives the export.

        Raises
        ------
        StoreError
            Where the original is not as it was taken in, or does not give the same rows.
        """
        with storage_errors(tr("make intake {intake} anew", intake=intake)), writing(self._folder):
            row = self._database.row(intake)
            if row is None:
                what = tr("there is no intake {intake}", intake=intake)
                raise StoreError(Fault(what, "intake", tr("an id of the list of intakes")))
            original = self._originals.path(row.sha256)
            if not original.exists() or sum_of(original)[1] != row.sha256:
                do = tr("Put the file, as it was taken in, in its place, then run lineview doctor --repair again")
                raise StoreError(
                    Fault(tr("the original is damaged"), str(original), tr("the bytes of {file}", file=row.file), do)
                )
            entry = (self._sidecars.of(row.sha256) or {}).get("intakes", {}).get(str(intake), {})
            description = self._sidecars.description(entry.get("plant", ""))
            self._recorder.remake(row, read(original, row.file, description))
            self._seal()

    def note_disputes(self, intakes: Sequence[int]) -> None:
        """Note the disputed moments of intakes that were made anew; of all, since they dispute each other.

        Parameters
        ----------
        intakes : sequence of int
            Their ids.
        """
        with storage_errors(tr("note what is disputed")), writing(self._folder):
            for intake in intakes:
                self._recorder.note_disputes(intake)
            self._seal()

    def lost_intakes(self) -> list[int]:
        """The intakes that are to be made anew, since the journal was."""
        return [row.id for row in self._database.lost_intakes()]

    def write(self, kind: str, machine: str, at: datetime, what: str, note: str = "", entry: str = "") -> bool:
        """Keep an adjustment or a note; give whether it was new, since an entry's name is kept once."""
        with storage_errors(tr("keep the {kind}", kind=tr(kind))):
            is_new = self._written.write(kind, machine, at, what, note, entry)
            self._seal_if_free()
            return is_new

    def change(self, kind: str, entry: str, at: datetime, what: str, note: str = "") -> None:
        """Give an entry another moment and other words."""
        with storage_errors(tr("change the {kind}", kind=tr(kind))):
            self._written.change(kind, entry, at, what, note)
            self._seal_if_free()

    def withdraw(self, kind: str, entry: str) -> None:
        """Let an entry hold no more."""
        with storage_errors(tr("remove the {kind}", kind=tr(kind))):
            self._written.withdraw(kind, entry)
            self._seal_if_free()

    def undo_change(self, kind: str, entry: str) -> None:
        """Bring back the form that an entry had before its last change."""
        with storage_errors(tr("undo the change of the {kind}", kind=tr(kind))):
            self._written.undo_change(kind, entry)
            self._seal_if_free()

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        """Keep why a machine stood; said again for the same start, the later saying holds."""
        with storage_errors(tr("keep the reason")):
            self._written.set_stop_reason(machine, start, end, reason)
            self._seal_if_free()

    def set_stop_reasons(self, machine: str, stops: Sequence[tuple[datetime, datetime]], reason: str) -> int:
        """Keep one reason for several stops, all of them or none; give the mark that undoes it."""
        with storage_errors(tr("keep the reasons")):
            mark = self._written.set_stop_reasons(machine, stops, reason)
            self._seal_if_free()
            return mark

    def undo_stop_reasons(self, mark: int) -> int:
        """Give stops back the reasons they had before those set together; give how many there were."""
        with storage_errors(tr("undo the reasons")):
            count = self._written.undo_stop_reasons(mark)
            self._seal_if_free()
            return count

    def set_trial(self, number: int | None, trial: Mapping[str, Any], read_as_of: datetime) -> int:
        """Keep a trial as it is from now on, if it is as it was read; a new one under a new number; give its number."""
        with storage_errors(tr("keep the trial")):
            number = self._written.set_trial(number, trial, read_as_of)
            self._seal_if_free()
            return number

    def undo_trial(self, number: int) -> bool:
        """Take back what was last said of a trial; give whether anything of it still stands."""
        with storage_errors(tr("undo the trial")):
            remains = self._written.undo_trial(number)
            self._seal_if_free()
            return remains

    def _seal_if_free(self) -> None:
        with self.writing_alone() as is_free:
            self._is_open_to_doubt = not is_free  # somebody else is at work and seals it, if not just before this write
            if is_free:
                self._seal()

    def _seal(self) -> None:
        """Seal the journal; where readers are in its way, once more when the store is closed."""
        self._is_open_to_doubt = not seal(self._folder, self._database)
