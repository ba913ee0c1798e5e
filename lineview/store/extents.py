"""From when to when each intake has readings of a channel: what need not be looked for is not."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import polars as pl
from sqlalchemy import func, select

from lineview.store.frames import fetch
from lineview.store.journal import JournalReader
from lineview.store.kinds import Kind
from lineview.store.tables import extents, intakes, of_kind

#: Length of a stretch by which events are compared [µs].
QUARTER_US = 900_000_000

_SCHEMA = {"machine": pl.String(), "channel": pl.String(), "first": pl.Int64(), "last": pl.Int64()}


def spans(
    journal: JournalReader,
    kind: str,
    machines: str | Collection[str] | None = None,
    channels: Sequence[str] | None = None,
    between: tuple[int, int] | None = None,
) -> pl.DataFrame:
    """Give machine, channel, first and last moment [µs since 1970], one row an intake and channel.

    Parameters
    ----------
    journal : JournalReader
        Open.
    kind : str
        "readings" or "weights".
    machines : str or collection of str, optional
        Only of this machine, or these.
    channels : sequence of str, optional
        Only of these channels.
    between : tuple of (int, int), optional
        Only those that have a moment from the first to the last [µs since 1970].
    """
    told = extents.c
    query = (
        select(told.machine, told.channel, told.first, told.last)
        .join(intakes, intakes.c.id == told.intake)
        .where(intakes.c.state == "done", told.kind == kind)
    )
    if machines is not None:
        wanted = [machines] if isinstance(machines, str) else sorted(machines)
        query = query.where(told.machine.in_(wanted))
    if channels is not None:
        query = query.where(told.channel.in_(channels))
    if between is not None:
        query = query.where(told.last >= between[0], told.first <= between[1])
    with journal.reading() as connection:
        return fetch(connection, query, _SCHEMA)


def intake_extents(journal: JournalReader, machine: str) -> pl.DataFrame:
    """Give intake, first and last moment [µs since 1970] of each intake's readings of a machine."""
    ends = func.min(extents.c.first), func.max(extents.c.last)
    query = (
        select(extents.c.intake, ends[0].label("first"), ends[1].label("last"))
        .join(intakes, intakes.c.id == extents.c.intake)
        .where(intakes.c.state == "done", extents.c.kind == "readings", extents.c.machine == machine)
        .group_by(extents.c.intake)
        .order_by(extents.c.intake)
    )
    with journal.reading() as connection:
        return fetch(connection, query, {"intake": pl.Int64(), "first": pl.Int64(), "last": pl.Int64()})


def event_stretches(journal: JournalReader, kind: Kind, owner: str) -> pl.DataFrame:
    """Rows of a kind, and the sum of their ids, by quarter of an hour; those of undone intakes left out."""
    table = of_kind[kind.name].c
    stretch = func.floor(table[kind.at] / float(QUARTER_US)).label("stretch")
    query = (
        select(stretch, func.count().label("rows"), func.sum(table.id).label("total"))
        .join(intakes, intakes.c.id == table.intake)
        .where(intakes.c.state == "done", table[kind.owner] == owner, table[kind.at].is_not(None))
        .group_by(stretch)
        .order_by(stretch)
    )
    with journal.reading() as connection:
        rows = [(int(row[0]), int(row[1]), int(row[2])) for row in connection.execute(query)]
    return pl.DataFrame(
        rows, schema={"stretch": pl.Int64(), "rows": pl.Int64(), "total": pl.Int64()}, orient="row"
    )
