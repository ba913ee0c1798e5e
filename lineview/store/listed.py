"""The files that an intake wrote: listed in the journal with their SHA-256, and checked before they are read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from sqlalchemy import Select, select

from lineview.core.errors import Fault, StoreError
from lineview.core.language import tr
from lineview.core.names import readable
from lineview.store.files import sum_of
from lineview.store.journal import JournalReader
from lineview.store.tables import files, intakes

#: So many damaged files are named at once.
_MOST_NAMES = 10


@dataclass(frozen=True)
class ListedFile:
    """A file that an intake wrote.

    `intake`: whose it is; `kind`: "readings", "weights", "refusals" or "disputes"; `path`: relative to the
    store's folder; `machine`: of readings and weights; else ""; `first`, `last`: moments of its first and last
    row [µs since 1970]; 0 of refusals and disputes; `rows`: how many it has; `size_bytes`: its length; `sha256`:
    of its bytes.
    """

    intake: int
    kind: str
    path: str
    machine: str
    first: int
    last: int
    rows: int
    size_bytes: int
    sha256: str

    @property
    def row(self) -> dict[str, Any]:
        """As a row of the journal."""
        return asdict(self)


_FIELDS = tuple(ListedFile.__dataclass_fields__)
_SELECTED = select(*(files.c[name] for name in _FIELDS)).join(intakes, intakes.c.id == files.c.intake)


def _fetch(journal: JournalReader, query: Select[Any]) -> list[ListedFile]:
    with journal.reading() as connection:
        return [ListedFile(*row) for row in connection.execute(query)]


def files_between(journal: JournalReader, kind: str, machine: str, first: int, last: int) -> list[ListedFile]:
    """The files of a machine with rows from one moment to another, of intakes that are in, by their first row."""
    columns = files.c
    query = _SELECTED.where(intakes.c.state == "done", columns.kind == kind, columns.machine == machine)
    return _fetch(
        journal, query.where(columns.last >= first, columns.first <= last).order_by(columns.first, columns.id)
    )


def files_of(journal: JournalReader, kinds: Sequence[str], only: Iterable[int] | None = None) -> list[ListedFile]:
    """The files of some kinds, of all intakes that are in or of those among them."""
    query = _SELECTED.where(intakes.c.state == "done", files.c.kind.in_(kinds)).order_by(files.c.intake, files.c.id)
    listed = _fetch(journal, query)
    if only is None:
        return listed
    intake_ids = set(only)
    return [file for file in listed if file.intake in intake_ids]


def why_damaged(folder: Path, listed: ListedFile) -> str | None:
    """How a file differs from what was written, or None."""
    path = folder / listed.path
    try:
        if path.stat().st_size != listed.size_bytes:
            return tr("has {size:,} bytes instead of {listed:,}", size=path.stat().st_size, listed=listed.size_bytes)
        return None if sum_of(path)[1] == listed.sha256 else tr("has other bytes than were written")
    except FileNotFoundError:
        return tr("is missing")
    except OSError as error:
        return tr("cannot be read ({reason})", reason=error.strerror)


class FileCheck:
    """Checks files before they are read, each once in the life of a process, and again where it was written to."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._sound: dict[str, tuple[int, int]] = {}
        self._lock = Lock()

    def paths(self, listed: Sequence[ListedFile]) -> list[Path]:
        """The files' paths, all found as they were written; else an error names those that are not."""
        faults = []
        for file in listed:
            state = self._state(file)
            if state is not None and self._sound.get(file.sha256) == state:
                continue
            why = why_damaged(self.folder, file)
            if why is not None or state is None:
                faults.append(damaged(file.path, why or tr("is missing")))
                continue
            with self._lock:
                self._sound[file.sha256] = state
        if faults:
            raise StoreError(faults[:_MOST_NAMES])
        return [self.folder / file.path for file in listed]

    def _state(self, listed: ListedFile) -> tuple[int, int] | None:
        """A mark of the file, the same as long as nobody writes to it."""
        try:
            stat = (self.folder / listed.path).stat()
        except OSError:
            return None
        return stat.st_mtime_ns, stat.st_size


def damaged(path: str, why: str) -> Fault:
    """Say that a file of the store is not as it was written."""
    do = tr("Nothing is answered from it. Make it anew from the exports: lineview doctor --repair")
    return Fault(tr("a file of the store {why}", why=why), readable(path), tr("the bytes as they were written"), do)
