"""Reading what the store keeps: readings and weighings from Delta, the other kinds from the journal."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import pairwise

import numpy as np
import polars as pl
from sqlalchemy import select

from lineview.columns import UTC_US, empty
from lineview.store.delta import TableFiles
from lineview.store.extents import spans
from lineview.store.frames import fetch
from lineview.store.journal import JournalReader
from lineview.store.kinds import Kind
from lineview.store.settle import one_a_moment, told_once
from lineview.store.tables import extents, intakes, of_kind

#: What is told of a channel at a moment.
_TOLD = ("at", "value", "text", "quality")


class Measured:
    """The rows of one Delta table, those of intakes that are not done left out.

    Parameters
    ----------
    kind : str
        "readings" or "weights".
    table : TableFiles
        Where the rows are.
    journal : JournalReader
        Says which intakes are done.
    schema : dict
        Of lineview.columns.
    """

    def __init__(
        self, kind: str, table: TableFiles, journal: JournalReader, schema: dict[str, pl.DataType]
    ) -> None:
        self._kind = kind
        self._table = table
        self._journal = journal
        self._schema = schema

    def rows(
        self, machine: str, first: int, last: int, channels: Sequence[str] | None = None
    ) -> pl.DataFrame:
        """Give all rows, repeats and disputed ones included, both ends included [µs since 1970].

        Returns
        -------
        polars.DataFrame
            Sorted by channel, if there is one, and moment.
        """
        lazy = self._scan(machine, first, last, channels)
        if lazy is None:
            return empty(self._schema)
        order = [name for name in ("channel", "at") if name in self._schema]
        return lazy.collect().sort(order, maintain_order=True)

    def by_channel(self, machine: str, first: int, last: int) -> dict[str, pl.DataFrame]:
        """Give the readings of each channel, both ends included [µs since 1970].

        Returns
        -------
        dict
            By channel its at, value, text and quality (as codes) by time, each moment once.
        """
        lazy = self._scan(machine, first, last, None, coded=True)
        if lazy is None:
            return {}
        parts = _parted(lazy.select("channel", *_TOLD).collect())
        odd = [name for name, part in parts.items() if _repeats(part)]
        if odd:
            # Only what is told of one moment more than once needs its intake and row.
            rows = lazy.filter(pl.col("channel").is_in(odd)).drop("machine").collect()
            settled = {
                name: one_a_moment(part)
                for name, part in _parted(rows.sort("at", maintain_order=True)).items()
            }
            parts |= {name: part.select(_TOLD) for name, part in settled.items()}
        return parts

    def _scan(
        self,
        machine: str,
        first: int,
        last: int,
        channels: Sequence[str] | None,
        *,
        coded: bool = False,
    ) -> pl.LazyFrame | None:
        files = self._table.files()  # before the hidden intakes: an intake is seen whole or not at all
        lazy = self._table.scan(files, machine, first, last, self._journal.hidden(), coded=coded)
        if lazy is None or first > last or channels is None:
            return None if first > last else lazy
        return lazy.filter(pl.col("channel").is_in(list(channels)))

    def extents(self, machines: Collection[str], first: int, last: int) -> pl.DataFrame:
        """Give machine, channel, first and last moment of the intakes that are of a time [µs since 1970]."""
        return spans(self._journal, self._kind, machines, between=(first, last))

    def between(
        self, machine: str, first: int, last: int, channels: Sequence[str] | None = None
    ) -> pl.DataFrame | None:
        """Give what an export is compared with, in no particular order; None where there is nothing.

        Of channels only channel, moment, value and text: an export may overlap millions.
        """
        lazy = self._scan(machine, first, last, channels)
        if lazy is None:
            return None
        return (lazy if channels is None else lazy.select("channel", "at", "value", "text")).collect()


def _parted(rows: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Rows by channel, each by time."""
    code = rows["channel"].to_physical().to_numpy()
    if not (code[1:] >= code[:-1]).all():
        order = np.argsort(code, kind="stable")
        rows, code = rows[order], code[order]
    turns = np.flatnonzero(code[1:] != code[:-1]) + 1
    found = {}
    for begin, end in pairwise([0, *turns.tolist(), len(code)]):
        part = rows.slice(begin, end - begin)
        if part.height:
            name = str(part["channel"][0])
            found[name] = part if part["at"].is_sorted() else part.sort("at", maintain_order=True)
    return found


def _repeats(part: pl.DataFrame) -> bool:
    """Whether two rows, by time, are of one moment."""
    at_us = part["at"].dt.epoch("us").to_numpy()
    return bool((at_us[1:] == at_us[:-1]).any())


class Told:
    """The rows of the journal's own kinds, those of intakes that are not done left out.

    Parameters
    ----------
    journal : JournalReader
        Where the rows are.
    """

    def __init__(self, journal: JournalReader) -> None:
        self._journal = journal

    def rows(
        self, kind: Kind, first: int | None = None, last: int | None = None, owner: str | None = None
    ) -> pl.DataFrame:
        """Give all rows of a kind, contradicting ones included, whose moment is from first to last.

        Returns
        -------
        polars.DataFrame
            With the kind's columns, sorted by owner, moment, intake and row.
        """
        table = of_kind[kind.name].c
        query = (
            select(*(table[name] for name in kind.schema))
            .join(intakes, intakes.c.id == table.intake)
            .where(intakes.c.state == "done")
            .order_by(table[kind.owner], table[kind.at], table.intake, table.row)
        )
        if first is not None:
            query = query.where(table[kind.at] >= first)
        if last is not None:
            query = query.where(table[kind.at] <= last)
        if owner is not None:
            query = query.where(table[kind.owner] == owner)
        with self._journal.reading() as connection:
            return fetch(connection, query, kind.schema)

    def once(
        self, kind: Kind, first: int | None = None, last: int | None = None, owner: str | None = None
    ) -> pl.DataFrame:
        """Give one row a thing, disputed things left out, sorted by moment."""
        rows = self.rows(kind, first, last, owner)
        return told_once(rows, kind.keys, kind.values).sort(kind.at, maintain_order=True)

    def like(self, kind: Kind, tidy: pl.DataFrame) -> pl.DataFrame:
        """Give the rows that may speak of the same things as these."""
        at = tidy[kind.at].cast(pl.Int64)
        low, high = at.min(), at.max()
        if not isinstance(low, int) or not isinstance(high, int):
            return empty(kind.schema)
        return self.rows(kind, low, high)

    def lasting(self, kind: Kind, owner: str, first: int, end: int) -> pl.DataFrame:
        """Give what lasts at some moment from first up to, not including, end.

        Notes
        -----
        Where no end is written, a thing lasts until the owner's next begins, and the last one begun before
        the period counts as lasting if it began within the kind's look-back.
        """
        back = int(kind.look_back.total_seconds() * 1_000_000)
        rows = self.once(kind, first - back, end - 1, owner)
        started = pl.col(kind.at)
        until = pl.col("end").fill_null(started.shift(-1))
        moment = pl.lit(first, pl.Int64).cast(UTC_US)
        return rows.filter(until.is_null() | (until > moment) | (started >= moment))

    def measured_kinds(self, intake: int) -> list[str]:
        """Give the Delta tables that an intake writes to."""
        query = select(extents.c.kind).where(extents.c.intake == intake).distinct()
        with self._journal.reading() as connection:
            return list(connection.execute(query).scalars())
