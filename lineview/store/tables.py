"""The tables of the journal; migrations/ makes them. Moments are whole microseconds since 1970 [UTC]."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import polars as pl
from sqlalchemy import BigInteger, Boolean, Column, Float, ForeignKey, Index, Integer, MetaData, String, Table, text
from sqlalchemy.types import TypeEngine

from lineview.core import frames as columns
from lineview.core.frames import UTC_US


@dataclass(frozen=True)
class RecordType:
    """One kind of export kept in the journal.

    Parameters
    ----------
    name : str
        As in lineview.plant.ExportKind.
    table : str
        Name of its table in the journal.
    schema : dict
        Its columns, from lineview.core.frames.
    owner : str
        The column that says whose it is: line, machine or web.
    label : str
        The column that tells apart what one owner has at one moment; "" where there is none.
    at : str
        The column of its moment.
    look_back : datetime.timedelta
        How long before a period something may have begun that still lasts in it.
    """

    name: str
    table: str
    schema: dict[str, pl.DataType]
    owner: str
    label: str
    at: str
    look_back: timedelta = timedelta(0)

    @property
    def keys(self) -> list[str]:
        """The columns that say which thing a row speaks of."""
        return [name for name in (self.owner, self.label, self.at) if name]

    @property
    def values(self) -> list[str]:
        """The columns that say something of it."""
        return [name for name in self.schema if name not in (*self.keys, "intake", "row")]


KINDS = {
    kind.name: kind
    for kind in (
        RecordType("batches", "batches", columns.BATCHES, "line", "batch", "start", timedelta(days=7)),
        RecordType("stops", "stop_log", columns.STOP_LOG, "machine", "", "start", timedelta(days=31)),
        RecordType("reels", "reels", columns.REELS, "machine", "web", "at"),
        RecordType("stock", "stock", columns.STOCK, "web", "part_reel_outer_mm", "at"),  # a row a part reel
        RecordType("plan", "plan", columns.PLAN, "line", "product", "start", timedelta(days=400)),
    )
}

#: The kinds that go to Delta tables.
MEASURED = ("readings", "weights")


metadata = MetaData()

#: SQLite numbers rows by itself only where the key is a plain INTEGER.
_Key = BigInteger().with_variant(Integer(), "sqlite")

#: `state` is begun, done, undone or failed; only done ones are ever given. `cleared` once what an undone or
#: failed one had written is gone.
intakes = Table(
    "intakes",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("file", String, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("attempt", Integer, nullable=False),
    Column("size_bytes", BigInteger, nullable=False),
    Column("taken_at", BigInteger, nullable=False),
    Column("layouts", String, nullable=False),
    Column("rows", BigInteger, nullable=False),
    Column("kept", BigInteger, nullable=False),
    Column("duplicate", BigInteger, nullable=False),
    Column("refused", BigInteger, nullable=False),
    Column("uncertain", BigInteger, nullable=False),
    Column("state", String(8), nullable=False),
    Column("cleared", Boolean, nullable=False),
    # ids are never given twice, so what a broken-off intake left can never be taken for another's
    sqlite_autoincrement=True,
)
_DONE = text("state = 'done'")
_done_once = Index("intakes_done_once", intakes.c.sha256, unique=True, sqlite_where=_DONE)


def complete_for(dialect: str) -> None:
    """Add what only one dialect has: to name it beforehand would import the dialect where it is not used."""
    if dialect == "postgresql":
        _done_once.dialect_options[dialect]["where"] = _DONE


def _intake_id() -> Column[int]:
    return Column("intake", _Key, ForeignKey("intakes.id"), nullable=False, index=True)


#: From when to when an intake has readings of a channel (kind "readings") or weighings (kind "weights").
extents = Table(
    "extents",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    _intake_id(),
    Column("kind", String(8), nullable=False),
    Column("machine", String, nullable=False),
    Column("channel", String, nullable=False),
    Column("first", BigInteger, nullable=False),
    Column("last", BigInteger, nullable=False),
    Column("readings", BigInteger, nullable=False),
    Index("extents_of", "machine", "kind", "channel"),
)


def _type(dtype: pl.DataType) -> TypeEngine[Any]:
    kinds: dict[pl.DataType, TypeEngine[Any]] = {
        pl.String(): String(),
        pl.Int64(): BigInteger(),
        pl.Float64(): Float(53),
        pl.Boolean(): Boolean(),
        UTC_US: BigInteger(),
    }
    return kinds[dtype]


def _table(kind: RecordType) -> Table:
    told = [Column(name, _type(dtype)) for name, dtype in kind.schema.items() if name != "intake"]
    return Table(
        kind.table,
        metadata,
        Column("id", _Key, primary_key=True, autoincrement=True),
        _intake_id(),
        *told,
        Index(f"{kind.table}_of", kind.owner, kind.at),
    )


#: One table for each kind of lineview.store.tables.KINDS, by the kind's name.
of_kind = {name: _table(kind) for name, kind in KINDS.items()}

adjustments = Table(
    "adjustments",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("machine", String, nullable=False, index=True),
    Column("at", BigInteger, nullable=False),
    Column("what", String, nullable=False),
    Column("note", String, nullable=False),
)

stop_reasons = Table(
    "stop_reasons",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("machine", String, nullable=False, index=True),
    Column("start", BigInteger, nullable=False),
    Column("end", BigInteger, nullable=False),
    Column("reason", String, nullable=False),
    Column("set_at", BigInteger, nullable=False),
)

notes = Table(
    "notes",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("at", BigInteger, nullable=False, index=True),
    Column("machine", String, nullable=False),
    Column("text", String, nullable=False),
)
