"""What people tell the store by hand: adjustments and reasons of stops."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
from sqlalchemy import Connection, Table, insert, select

from lineview.core.errors import AskError, Fault
from lineview.core.frames import ADJUSTMENTS, UTC_US
from lineview.store.files import locked, put, sealed, unsealed
from lineview.store.frames import fetch, micros
from lineview.store.journal import Journal, JournalReader
from lineview.store.tables import adjustments, notes, stop_reasons

#: The tables that are filled by hand, and the file with a copy of them.
BY_HAND, ENTRIES = (adjustments, stop_reasons, notes), "entries.json"

STOP_REASONS = {"machine": pl.String(), "start": UTC_US, "end": UTC_US, "reason": pl.String()}


class PeopleReader:
    """What stands in the journal's tables that are filled by hand.

    Parameters
    ----------
    journal : JournalReader
        Open.
    """

    def __init__(self, journal: JournalReader) -> None:
        self._journal = journal

    def adjustments(self, machine: str, first: int, end: int) -> pl.DataFrame:
        """Give ADJUSTMENTS from first up to, not including, end, sorted by moment."""
        told = adjustments.c
        query = (
            select(*(told[name] for name in ADJUSTMENTS))
            .where(told.machine == machine, told.at >= first, told.at < end)
            .order_by(told.at, told.id)
        )
        with self._journal.reading() as connection:
            return fetch(connection, query, ADJUSTMENTS)

    def stop_reasons(self, machine: str, first: int, end: int) -> pl.DataFrame:
        """Give machine, start, end and reason of stops that reach into the time, sorted by start."""
        told = stop_reasons.c
        query = (
            select(*(told[name] for name in STOP_REASONS))
            .where(told.machine == machine, told.start < end, told.end > first)
            .order_by(told.start, told.id)
        )
        with self._journal.reading() as connection:
            found = fetch(connection, query, STOP_REASONS)
        return found.unique("start", keep="last", maintain_order=True)


class ManualEntries(PeopleReader):
    """The journal's tables that are filled by hand.

    Parameters
    ----------
    journal : Journal
        Open.
    folder : pathlib.Path
        The store's; a copy of what is said stands in it.
    """

    def __init__(self, journal: Journal, folder: Path) -> None:
        super().__init__(journal)
        self._writable = journal
        self._folder = folder

    def add_adjustment(self, machine: str, at: datetime, what: str, note: str = "") -> None:
        """Keep what somebody did to a machine."""
        self._add(adjustments, {"machine": machine, "at": micros(at), "what": _said(what, "what"), "note": note})

    def set_stop_reason(self, machine: str, start: datetime, end: datetime, reason: str) -> None:
        """Keep why a machine stood; said again for the same start, the later saying holds."""
        if not start < end:
            raise AskError(Fault("the stop ends before it starts", "end", f"a moment after {start}"))
        row = {
            "machine": machine,
            "start": micros(start),
            "end": micros(end),
            "reason": _said(reason, "reason"),
            "set_at": micros(datetime.now(UTC)),
        }
        self._add(stop_reasons, row)

    def _add(self, table: Table, row: dict[str, object]) -> None:
        """Keep a row, in the journal and in the copy beside it, or in neither."""
        with locked(self._folder / ".entries.lock"), self._writable.writing() as connection:
            connection.execute(insert(table), row)
            self._copy(said_by_hand(connection))

    def settle(self) -> None:
        """Bring the copy to what the journal says, where somebody was stopped between the two."""
        with self._writable.reading() as connection:
            said = said_by_hand(connection)
        if unsealed(self._folder / ENTRIES) != said and (any(said.values()) or (self._folder / ENTRIES).exists()):
            self._copy(said)

    def _copy(self, said: dict[str, list[dict[str, object]]]) -> None:
        text = sealed(said)
        put(self._folder / ENTRIES, lambda part: part.write_text(text, encoding="utf-8"))


def said_by_hand(connection: Connection) -> dict[str, list[dict[str, object]]]:
    """All rows of the tables that are filled by hand, by the table's name."""
    return {
        table.name: [dict(row._mapping) for row in connection.execute(select(table).order_by(table.c.id))]
        for table in BY_HAND
    }


def _said(text: str, where: str) -> str:
    if not text.strip():
        raise AskError(Fault("nothing was entered", where, "some words"))
    return text.strip()
