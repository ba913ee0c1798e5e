"""Looking a store over, byte for byte, and making anew what can be made from the rest of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from shutil import rmtree
from typing import Any
from uuid import uuid4

from lineview.core.errors import Fault, StoreError
from lineview.core.frames import READINGS, WEIGHTS
from lineview.core.language import tr
from lineview.store.files import require_room, storage_errors, sum_of, unsealed
from lineview.store.journal import Journal
from lineview.store.listed import files_of, why_damaged
from lineview.store.manual_entries import ENTRIES, said_by_hand
from lineview.store.opening import JOURNAL, SEAL, is_sealed, is_settled, is_whole
from lineview.store.readings import PartedTable
from lineview.store.sidecars import FACTS, WORKS, Sidecars
from lineview.store.store import Store, writing
from lineview.store.table_log import damaged_entries, drop_log, has_sums
from lineview.store.tables import MEASURED
from lineview.store.writer import app_id

_KINDS = (*MEASURED, "refusals", "disputes")
#: Letters of a SHA-256.
_HEX = 64


@dataclass(frozen=True)
class Finding:
    """Something in a store that is not as it was written.

    Parameters
    ----------
    part : str
        "journal", "seal", "works", "file", "original", "sidecar", "plant", "log", "entries", "records" or "in use".
    what : str
        In words.
    where : str
        The file, relative to the store's folder.
    intake : int or None
        Whose file it is.
    """

    part: str
    what: str
    where: str
    intake: int | None = None

    @property
    def is_damage(self) -> bool:
        """Whether something is wrong; a journal that is in use is not."""
        return self.part != "in use"


def examine(folder: Path, url: str | None) -> list[Finding]:
    """Look at every file of a store; nothing is changed.

    Parameters
    ----------
    folder : pathlib.Path
        The store's.
    url : str or None
        The journal's address; None where it stands in the folder.

    Returns
    -------
    list of Finding
        None where everything is as it was written.

    Raises
    ------
    StoreError
        Where the disk or the database fails.
    """
    with storage_errors(tr("examine the store")):
        require_room(folder)
    _bring_up(folder, url)
    with storage_errors(tr("examine the store")), writing(folder):
        is_compared = url is not None or is_sealed(folder)
        # Read on while it was written, a journal has a log beside it and no seal yet; the next to write seals it.
        in_use = not is_compared and not is_settled(folder)
        words = tr("is in use now: its entries are looked at, its bytes only once nobody reads it")
        lags = Finding("in use", words, JOURNAL) if in_use else Finding("seal", tr("is not that of the journal"), SEAL)
        findings = [] if is_compared else [lags]
        journal = _sound_journal(folder, url)
        if journal is None:
            what = tr("cannot be read, or does not say what was written to it")
            if url is None and not (folder / JOURNAL).exists():
                what = tr("is missing; name one that stands elsewhere: --journal")
            return [Finding("journal", what, JOURNAL), *_of_originals(folder)]
        try:
            findings += _of_works(folder, journal)
            findings += [
                Finding("file", why, listed.path, listed.intake)
                for listed in files_of(journal, _KINDS)
                if (why := why_damaged(folder, listed)) is not None
            ]
            findings += [Finding("file", tr("is to be made again"), row.file, row.id) for row in journal.lost_intakes()]
            findings += _of_sidecars(folder, journal)
            findings += _of_logs(folder, journal)
        finally:
            journal.close()
        return [*findings, *_of_originals(folder), *_of_plants(folder), *_of_records(folder)]


def _bring_up(folder: Path, url: str | None) -> None:
    """Open a store of a former version, which lists its files and writes what else is compared here."""
    has_id = (folder / WORKS).exists() or next(Sidecars(folder).paths(), None) is not None
    if not has_id and (url is not None or (folder / JOURNAL).exists()):
        Store.open(folder, url).close()


def _sound_journal(folder: Path, url: str | None) -> Journal | None:
    """The journal, or None where it is not there or not sound."""
    if url is None and not (folder / JOURNAL).exists():
        return None
    try:
        journal = Journal(folder, url)
    except StoreError:
        return None
    try:
        if journal.works() is not None and is_whole(journal):
            return journal
    except StoreError:
        pass
    journal.close()
    return None


def _of_works(folder: Path, journal: Journal) -> list[Finding]:
    path = folder / WORKS
    text = path.read_bytes() if path.exists() else b""
    return [] if text == f"{journal.works()}\n".encode() else [Finding("works", tr("has another id"), WORKS)]


def _of_originals(folder: Path) -> list[Finding]:
    findings = []
    for path in sorted((folder / "originals").glob("??/*")):
        is_original = not path.name.startswith(".") and path.suffix != ".json"
        if is_original and sum_of(path)[1] != path.parent.name + path.name:
            findings.append(Finding("original", tr("has other bytes than were taken in"), _name(folder, path)))
    return findings


def _name(folder: Path, path: Path) -> str:
    return path.relative_to(folder).as_posix()


def _of_sidecars(folder: Path, journal: Journal) -> list[Finding]:
    findings, sidecars = [], Sidecars(folder)
    for row in journal.ended():
        path = sidecars.path(row.sha256)
        if not path.with_suffix("").exists():
            findings.append(Finding("original", tr("is missing"), _name(folder, path.with_suffix("")), row.id))
        entry = ((sidecars.of(row.sha256) or {}).get("intakes") or {}).get(str(row.id))
        if entry is None or {**entry, "plant": ""} != {**sidecars.expected(row, row.state), "plant": ""}:
            findings.append(Finding("sidecar", tr("does not say what the journal does"), _name(folder, path), row.id))
    with journal.reading() as connection:
        said_now = said_by_hand(connection)
    path = folder / ENTRIES
    if unsealed(path) != said_now and (any(said_now.values()) or path.exists()):
        findings.append(Finding("entries", tr("is not the copy of what was said by hand"), ENTRIES))
    return findings


def _of_plants(folder: Path) -> list[Finding]:
    plants = sorted((folder / "plants").glob("*.json"))
    damaged = [path for path in plants if sum_of(path)[1] != path.stem]
    return [Finding("plant", tr("is not as it was kept"), _name(folder, path)) for path in damaged]


def _of_logs(folder: Path, journal: Journal) -> list[Finding]:
    findings = []
    for kind, schema in (("readings", READINGS), ("weights", WEIGHTS)):
        damaged = damaged_entries(folder / kind)
        findings += [
            Finding("log", tr("of the table of {kind} is not as it was written", kind=kind), name) for name in damaged
        ]
        if not damaged:
            listed = PartedTable(folder / kind, schema).files()
            rows = set(listed.select("path", "machine", "intake", "first", "last").iter_rows())
            expected = {
                (file.path.partition("/")[2], file.machine, file.intake, file.first, file.last)
                for file in files_of(journal, [kind])
            }
            if not expected <= rows:
                findings.append(Finding("log", tr("does not list what the journal does"), kind))
    return findings


def _of_records(folder: Path) -> list[Finding]:
    table = folder / "records"
    if not table.exists():
        return []
    entries = damaged_entries(table) if has_sums(table) else []  # else kept at the next record that is written
    findings = [Finding("records", tr("is not as it was written"), f"records/_delta_log/{name}") for name in entries]
    damage = tr("is not as it was written")
    files = sorted(table.glob("machine=*/month=*/*.parquet"))
    # those of former versions have no sum in their names; the code's mark has them made anew
    summed = [(file, file.stem.rpartition("-")[2]) for file in files if len(file.stem.rpartition("-")[2]) == _HEX]
    damaged = [file for file, sha256 in summed if sum_of(file)[1] != sha256]
    return [*findings, *(Finding("records", damage, _name(folder, file)) for file in damaged)]


def mend(folder: Path, url: str | None, findings: list[Finding]) -> None:
    """Make anew what needs no export to be read: ids, logs, copies, and a journal that lists what is to be read.

    Parameters
    ----------
    folder : pathlib.Path
        The store's.
    url : str or None
        The journal's address.
    findings : list of Finding
        What `examine` found.

    Raises
    ------
    StoreError
        Where the disk or the database fails.
    """
    parts = {finding.part for finding in findings}
    with storage_errors(tr("mend the store")), writing(folder):
        if "journal" in parts:
            _remake_journal(folder, url)
        if "records" in parts:
            rmtree(folder / "records", ignore_errors=True)
        for finding in findings:
            if finding.part == "plant":  # exports read by it are read by today's where they have to be read again
                (folder / finding.where).unlink(missing_ok=True)
        journal = Journal(folder, url)
        try:
            (folder / WORKS).write_text(f"{journal.works()}\n", encoding="ascii")
            if "log" in parts or "journal" in parts:
                for kind, schema in (("readings", READINGS), ("weights", WEIGHTS)):
                    drop_log(folder / kind)
                    done = [app_id(row) for row in journal.done_with(kind)]
                    PartedTable(folder / kind, schema).relist(files_of(journal, [kind]), done)
            sidecars = Sidecars(folder)
            for row in journal.ended():
                sidecars.keep(row, row.state)
        finally:
            journal.close()


def _remake_journal(folder: Path, url: str | None) -> None:
    """Make a journal anew of what stands beside the originals; all that was in is to be read again."""
    rows, names = [], set()
    for path in Sidecars(folder).paths():
        body: dict[str, Any] | None = unsealed(path)
        for intake in (body or {}).get("intakes", {}).values():
            state = "undone" if intake["state"] == "undone" else "lost"
            rows.append({**{name: intake[name] for name in FACTS}, "state": state, "cleared": True})
            names.add(str((body or {})["works"]))
    if not rows:
        what = tr("nothing stands beside the exports that a journal could be made from")
        raise StoreError(Fault(what, str(folder), tr("what was taken in of each"), tr("Restore a backup")))
    name = names.pop() if len(names) == 1 else (folder / WORKS).read_text(encoding="ascii").strip()
    if url is None:
        (folder / SEAL).unlink(missing_ok=True)
        mark = uuid4().hex  # kept aside: what it says of users, and all that nothing else says, stays there
        for file_name in (JOURNAL, f"{JOURNAL}-wal", f"{JOURNAL}-shm"):
            if (folder / file_name).exists():
                (folder / file_name).rename(folder / file_name.replace("journal", f"damaged-{mark}", 1))
    by_hand = unsealed(folder / ENTRIES) or {}
    journal = Journal(folder, url)
    try:
        journal.fill(name, sorted(rows, key=lambda row: row["id"]), by_hand)
    finally:
        journal.close()
