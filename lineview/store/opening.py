"""Opening the journal of a store: it must be of the same works, and as it was written."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from uuid import uuid4

from sqlalchemy.exc import DatabaseError

from lineview.core.errors import Fault, StoreError
from lineview.core.language import tr
from lineview.store.digests import is_sound
from lineview.store.files import Originals, write_file
from lineview.store.journal import Journal
from lineview.store.listed import ListedFile
from lineview.store.sidecars import WORKS, Sidecars, works_of

JOURNAL, SEAL = "journal.sqlite", "journal.seal"


def open_journal(folder: Path, url: str | None, *, holds_store: bool) -> Journal:
    """Open a store's journal, checked; `holds_store` says whether the caller holds the store for writing.

    StoreError where it cannot be opened, is of another works, or is not as it was written.
    """
    sealed = url is None and is_sealed(folder)
    if url is None and not (folder / JOURNAL).exists():  # none is left in the place of one that stands elsewhere
        works_of(folder, None, own_journal=True)
    journal = Journal(folder, url)
    try:
        works_of(folder, journal.works(), own_journal=url is None, former=_is_former(folder, journal))
        if url is None and not sealed and journal.works() is not None:
            if not is_whole(journal):
                raise StoreError(damaged_journal(folder))
            if holds_store:
                seal(folder, journal)
    except BaseException:
        journal.close()
        raise
    return journal


def _is_former(folder: Path, journal: Journal) -> bool:
    """Whether a journal has no works yet and says of the exports that stand here that they were taken in."""
    ended = [] if journal.works() is not None else journal.ended()
    originals = Originals(folder / "originals")
    return bool(ended) and all(originals.path(row.sha256).exists() for row in ended)


def damaged_journal(folder: Path) -> Fault:
    """Say that the journal is not as it was written."""
    do = tr("Nothing is answered from it. Make it anew from the exports: lineview doctor --repair")
    return Fault(tr("the journal is damaged"), str(folder / JOURNAL), tr("what was written to it"), do)


def identify(folder: Path, journal: Journal, sidecars: Sidecars, wrote: Callable[[int], list[ListedFile]]) -> None:
    """Give folder and journal the id of their works where they have none yet.

    Intakes of a former version get their files, of which `wrote` gives those of an intake, listed in the
    journal, and their sidecars written.
    """
    works_id, path = journal.works(), folder / WORKS
    if path.exists() and works_id is not None:
        return
    name = works_id or works_of(folder, None, own_journal=True, former=True) or uuid4().hex
    if not path.exists():
        write_file(path, lambda part: part.write_text(f"{name}\n", encoding="ascii"))
    if works_id is None:
        ended = journal.ended()
        for row in ended:
            sidecars.keep(row, row.state)
        journal.set_works(name, [listed.row for row in ended if row.state == "done" for listed in wrote(row.id)])


def is_sealed(folder: Path) -> bool:
    """Whether the journal's file is byte for byte as it was when it was sealed, with nothing beside it.

    To be asked before this process connects to it: closing the file gives up the locks by which SQLite knows that
    others are connected, and another process would then take away the log that is written here.
    """
    try:
        sealed_sum = (folder / SEAL).read_text(encoding="ascii")
        return is_settled(folder) and sealed_sum == _sum((folder / JOURNAL).read_bytes())
    except (OSError, ValueError):
        return False


def is_settled(folder: Path) -> bool:
    """Whether no log lies beside the journal's file, which then holds all that was written."""
    beside = folder / f"{JOURNAL}-wal"
    return not beside.exists() or beside.stat().st_size == 0


def _sum(body: bytes) -> str:
    return sha256(body).hexdigest() + "\n"


def is_whole(journal: Journal) -> bool:
    """Whether a journal is sound and says of intakes what was written, whatever its file's bytes are."""
    try:
        with journal.engine.connect() as connection:
            if journal.engine.dialect.name == "sqlite":
                connection.exec_driver_sql("BEGIN")  # all of one moment, whatever is written meanwhile
                faults = [row[0] for row in connection.exec_driver_sql("PRAGMA integrity_check(1)")]
                if faults != ["ok"]:
                    return False
            return is_sound(connection)
    except (DatabaseError, ValueError, TypeError, LookupError):
        return False


def seal(folder: Path, journal: Journal) -> bool:
    """Keep the sum of the journal's file and say so; where others read on for a second, the next to open looks closely.

    The caller holds the store for writing.
    """
    if journal.engine.dialect.name != "sqlite" or not (folder / JOURNAL).exists():
        return True
    is_kept = False
    try:
        with journal.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA busy_timeout=1000")
            try:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").all()
                connection.exec_driver_sql("BEGIN IMMEDIATE")  # nobody writes while the file is read
                if is_settled(folder):
                    part = folder / f".{SEAL}.{uuid4().hex}.part"
                    # read through the connection, not as a file: see is_sealed
                    body: bytes = connection.connection.driver_connection.serialize()  # type: ignore[union-attr]
                    part.write_text(_sum(body), encoding="ascii")
                    part.replace(folder / SEAL)
                    is_kept = True
            finally:
                connection.rollback()
                connection.exec_driver_sql("PRAGMA busy_timeout=30000")
    except (DatabaseError, OSError):
        return False
    return is_kept
