"""What people tell the store by hand: adjustments and reasons of stops."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import polars as pl
from sqlalchemy import insert, select

from lineview.core.errors import AskError, Fault
from lineview.core.frames import ADJUSTMENTS, UTC_US
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
        # A reason that was undone stands as an empty one after it.
        return found.unique("start", keep="last", maintain_order=True).filter(pl.col("reason") != "")


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
        row = {"machine": machine, "at": micros(at), "what": _said(what, "what"), "note": note}
        with self._writable.writing() as connection:
            connection.execute(insert(adjustments), row)

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
        with self._writable.writing() as connection:
            connection.execute(insert(stop_reasons), row)

    def set_stop_reasons(self, machine: str, stops: Sequence[tuple[datetime, datetime]], reason: str) -> int:
        """Keep one reason for several stops, all of them or none; give the mark that undoes it."""
        words, mark = _said(reason, "reason"), micros(datetime.now(UTC))
        rows = [
            {"machine": machine, "start": micros(start), "end": micros(end), "reason": words, "set_at": mark}
            for start, end in stops
        ]
        with self._writable.writing() as connection:
            connection.execute(insert(stop_reasons), rows)
        return mark

    def undo_stop_reasons(self, mark: int) -> int:
        """Give stops back the reason that they had before those set together; give how many there were."""
        told = stop_reasons.c
        with self._writable.writing() as connection:
            rows = connection.execute(select(stop_reasons).where(told.set_at == mark, told.reason != "")).all()
            now, back = micros(datetime.now(UTC)), []
            for row in rows:
                same = select(told.reason).where(told.machine == row.machine, told.start == row.start)
                if connection.execute(same.where(told.id > row.id).limit(1)).first() is not None:
                    continue  # somebody said something else since, or it was undone
                earlier = same.where(told.id < row.id).order_by(told.id.desc()).limit(1)
                before = connection.execute(earlier).scalar() or ""
                back.append(
                    {"machine": row.machine, "start": row.start, "end": row.end, "reason": before, "set_at": now}
                )
            if back:
                connection.execute(insert(stop_reasons), back)
        if not back:
            raise AskError(
                Fault(f"nothing set together under {mark} still stands", "undo", "the number shown when it was set")
            )
        return len(back)


def _said(text: str, where: str) -> str:
    if not text.strip():
        raise AskError(Fault("nothing was entered", where, "some words"))
    return text.strip()
