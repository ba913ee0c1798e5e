"""The tables of the journal; migrations/ makes them. Moments are whole microseconds since 1970 [UTC]."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import polars as pl
from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    false,
    text,
)
from sqlalchemy.types import TypeEngine

from lineview.core import frames as columns
from lineview.core.frames import UTC_US


@dataclass(frozen=True)
class RecordType:
    """One kind of export kept in the journal.

    `name`: as in lineview.plant.ExportKind; `table`: name of its table in the journal; `schema`: its columns,
    from lineview.core.frames; `owner`: the column that says whose it is: line, machine or web; `label`: the
    column that separates what one owner has at one moment; "" where there is none; `at`: the column of its
    moment; `look_back`: how long before a period something may have begun that still lasts in it; `rolls`:
    whether exports of it are written anew, each a step later than the one before: where two speak of as many
    moments, the one that begins later is the newer and holds.
    """

    name: str
    table: str
    schema: dict[str, pl.DataType]
    owner: str
    label: str
    at: str
    look_back: timedelta = timedelta(0)
    rolls: bool = False

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
        RecordType("plan", "plan", columns.PLAN, "line", "product", "start", timedelta(days=400), rolls=True),
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
    value_columns = [Column(name, _type(dtype)) for name, dtype in kind.schema.items() if name != "intake"]
    return Table(
        kind.table,
        metadata,
        Column("id", _Key, primary_key=True, autoincrement=True),
        _intake_id(),
        *value_columns,
        Index(f"{kind.table}_of", kind.owner, kind.at),
    )


#: One table for each kind of lineview.store.tables.KINDS, by the kind's name.
of_kind = {name: _table(kind) for name, kind in KINDS.items()}

#: Which works the journal is of, and the digest of all that it says of intakes.
works = Table(
    "works", metadata, Column("id", String(32), primary_key=True), Column("digest", String(64), nullable=False)
)

#: The digest of all rows that came with an intake that is in.
digests = Table(
    "digests",
    metadata,
    Column("intake", _Key, ForeignKey("intakes.id"), primary_key=True, autoincrement=False),
    Column("digest", String(64), nullable=False),
)

#: Every file that an intake wrote, relative to the store's folder; readings and weights have a machine and moments.
files = Table(
    "files",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    _intake_id(),
    Column("kind", String(8), nullable=False),
    Column("path", String, nullable=False),
    Column("machine", String, nullable=False),
    Column("first", BigInteger, nullable=False),
    Column("last", BigInteger, nullable=False),
    Column("rows", BigInteger, nullable=False),
    Column("size_bytes", BigInteger, nullable=False),
    Column("sha256", String(64), nullable=False),
    Index("files_of", "kind", "machine"),
)


def _revision() -> list[Column[Any]]:
    """What makes a row one revision of an entry: the last of an entry holds, the others are its past."""
    return [
        Column("entry", String(64), nullable=False, server_default="", index=True),
        Column("who", String(80), nullable=False, server_default=""),
        Column("set_at", BigInteger, nullable=False, server_default="0"),
        Column("withdrawn", Boolean, nullable=False, server_default=false()),
    ]


adjustments = Table(
    "adjustments",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("machine", String, nullable=False, index=True),
    Column("at", BigInteger, nullable=False),
    Column("what", String, nullable=False),
    Column("note", String, nullable=False),
    *_revision(),
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
    Column("who", String(80), nullable=False, server_default=""),
)

notes = Table(
    "notes",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("at", BigInteger, nullable=False, index=True),
    Column("machine", String, nullable=False),
    Column("text", String, nullable=False),
    *_revision(),
)

#: Trials: each row is a trial as it stands from then on, or, where it `undoes`, takes the row before it back.
trials = Table(
    "trials",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("trial", BigInteger, nullable=False, index=True),
    Column("begins_at", BigInteger, nullable=False),
    Column("ends_at", BigInteger, nullable=True),
    *(Column(name, String, nullable=False) for name in ("what", "line", "machine", "beside", "measure")),
    Column("worth_percent", Float(53), nullable=False),
    Column("shifts", BigInteger, nullable=False),
    *(Column(name, String, nullable=False) for name in ("verdict", "decision")),
    Column("undoes", Boolean, nullable=False),
    Column("set_at", BigInteger, nullable=False),
    Column("who", String(80), nullable=False),
)

#: Who may use the board from another machine: rights by name, separated by commas, and the password's hash.
users = Table(
    "users",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("name", String(60), nullable=False, unique=True),
    Column("rights", String(80), nullable=False),
    Column("password", String(200), nullable=False),
    Column("added_at", BigInteger, nullable=False),
)

#: Browsers that are signed in: a person's (`user`), or a paired screen's, which has a name and no user.
sessions = Table(
    "sessions",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("mark", String(64), nullable=False, unique=True),
    Column("user", _Key, ForeignKey("users.id"), nullable=True, index=True),
    Column("screen", String(60), nullable=False),
    Column("begun_at", BigInteger, nullable=False),
    Column("ends_at", BigInteger, nullable=False),
)

#: One-time codes by which a screen is paired, as hashes.
pairings = Table(
    "pairings",
    metadata,
    Column("mark", String(64), primary_key=True),
    Column("screen", String(60), nullable=False),
    Column("ends_at", BigInteger, nullable=False),
)

#: Every write: who did what when, and what stood there before and after, as JSON.
audit = Table(
    "audit",
    metadata,
    Column("id", _Key, primary_key=True, autoincrement=True),
    Column("at", BigInteger, nullable=False, index=True),
    Column("who", String(80), nullable=False),
    Column("address", String(64), nullable=False),
    Column("action", String(40), nullable=False),
    Column("about", String, nullable=False),
    Column("before", String, nullable=False),
    Column("after", String, nullable=False),
)
