"""From when to when each intake has readings of a channel: what need not be looked for is not."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl
from sqlalchemy import select

from lineview.store.frames import fetch
from lineview.store.journal import JournalReader
from lineview.store.tables import extents, intakes

_SCHEMA = {"machine": pl.String(), "channel": pl.String(), "first": pl.Int64(), "last": pl.Int64()}


def spans(
    journal: JournalReader, kind: str, machine: str | None = None, channels: Sequence[str] | None = None
) -> pl.DataFrame:
    """Give machine, channel, first and last moment [µs since 1970], one row an intake and channel.

    Parameters
    ----------
    journal : JournalReader
        Open.
    kind : str
        "readings" or "weights".
    machine : str, optional
        Only of this machine.
    channels : sequence of str, optional
        Only of these channels.
    """
    told = extents.c
    query = (
        select(told.machine, told.channel, told.first, told.last)
        .join(intakes, intakes.c.id == told.intake)
        .where(intakes.c.state == "done", told.kind == kind)
    )
    if machine is not None:
        query = query.where(told.machine == machine)
    if channels is not None:
        query = query.where(told.channel.in_(channels))
    with journal.reading() as connection:
        return fetch(connection, query, _SCHEMA)
