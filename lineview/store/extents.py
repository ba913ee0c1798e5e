"""From when to when each intake has readings of a channel: what need not be looked for is not."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import polars as pl
from sqlalchemy import select

from lineview.store.frames import fetch
from lineview.store.journal import Journal
from lineview.store.tables import extents, intakes

_SCHEMA = {"machine": pl.String(), "channel": pl.String(), "first": pl.Int64(), "last": pl.Int64()}


def spans(
    journal: Journal,
    kind: str,
    machines: str | Collection[str] | None = None,
    channels: Sequence[str] | None = None,
    between: tuple[int, int] | None = None,
) -> pl.DataFrame:
    """Give machine, channel, first and last moment [µs since 1970], one row an intake and channel.

    Parameters
    ----------
    journal : Journal
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
