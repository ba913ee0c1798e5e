"""What people tell the store by hand: adjustments and reasons of stops."""

from __future__ import annotations

from datetime import UTC, datetime

import polars as pl
from sqlalchemy import insert, select

from lineview.core.errors import AskError, Fault
from lineview.core.frames import ADJUSTMENTS, UTC_US
from lineview.store.audit import write_entry
from lineview.store.frames import fetch, micros
from lineview.store.journal import Journal, JournalReader
from lineview.store.tables import adjustments, stop_reasons

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
    """

    def __init__(self, journal: Journal) -> None:
        super().__init__(journal)
        self._writable = journal

    def add_adjustment(self, machine: str, at: datetime, what: str, note: str = "") -> None:
        """Keep what somebody did to a machine."""
        row = {"machine": machine, "at": micros(at), "what": _said(what, "what"), "note": _short(note, "note")}
        with self._writable.writing() as connection:
            connection.execute(insert(adjustments), row)
            about = f"{machine}, {at:%Y-%m-%d %H:%M:%S}"
            write_entry(connection, "adjustment", about, None, {"what": row["what"], "note": row["note"]})

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
        same = (stop_reasons.c.machine == machine, stop_reasons.c.start == row["start"])
        earlier = select(stop_reasons.c.reason).where(*same).order_by(stop_reasons.c.id.desc()).limit(1)
        with self._writable.writing() as connection:
            before = connection.execute(earlier).scalar()
            connection.execute(insert(stop_reasons), row)
            about = f"{machine}, {start:%Y-%m-%d %H:%M:%S} to {end:%Y-%m-%d %H:%M:%S}"
            given = None if before is None else {"reason": before}
            write_entry(connection, "stop reason", about, given, {"reason": row["reason"]})


#: Characters of one entry; the forms of the board allow fewer.
MOST_CHARACTERS = 500


def _said(text: str, where: str) -> str:
    if not text.strip():
        raise AskError(Fault("nothing was entered", where, "some words"))
    return _short(text.strip(), where)


def _short(text: str, where: str) -> str:
    if len(text) > MOST_CHARACTERS:
        raise AskError(Fault(f"{len(text):,} characters", where, f"up to {MOST_CHARACTERS}"))
    if any(ord(sign) < 32 and sign not in "\t\n" for sign in text):
        raise AskError(Fault("a control character", where, "plain text"))
    return text
