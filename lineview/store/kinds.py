"""The kinds of export that go to the journal, and what makes two of their rows speak of the same thing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from lineview import columns


@dataclass(frozen=True)
class Kind:
    """One kind of export kept in the journal.

    Parameters
    ----------
    name : str
        As in lineview.plant.ExportKind.
    table : str
        Name of its table in the journal.
    schema : dict
        Its columns, from lineview.columns.
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
        Kind("batches", "batches", columns.BATCHES, "line", "batch", "start", timedelta(days=7)),
        Kind("stops", "stop_log", columns.STOP_LOG, "machine", "", "start", timedelta(days=31)),
        Kind("reels", "reels", columns.REELS, "machine", "web", "at"),
        Kind("stock", "stock", columns.STOCK, "web", "part_reel_outer_mm", "at"),  # a row a part reel
        Kind("plan", "plan", columns.PLAN, "line", "product", "start", timedelta(days=400)),
    )
}

#: The kinds that go to Delta tables.
MEASURED = ("readings", "weights")
