"""Between rows of the journal and frames; the journal's moments are microseconds, a frame's have a zone."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
from sqlalchemy import Connection, Select

from lineview.core.errors import AskError, Fault
from lineview.core.frames import UTC_US
from lineview.core.language import tr


def fetch(connection: Connection, select: Select[Any], schema: Mapping[str, pl.DataType]) -> pl.DataFrame:
    """Run a query whose columns are the schema's, in its order, and give a frame."""
    rows = [tuple(row) for row in connection.execute(select).fetchall()]  # row by row takes twice as long
    if not rows:
        return pl.DataFrame(schema=schema)
    raw = {name: pl.Int64() if dtype == UTC_US else dtype for name, dtype in schema.items()}
    return pl.DataFrame(rows, schema=raw, orient="row").cast(pl.Schema(schema))


def plain(frame: pl.DataFrame) -> list[dict[str, Any]]:
    """A frame's rows for the journal."""
    moments = [name for name, dtype in frame.schema.items() if dtype == UTC_US]
    return frame.with_columns(pl.col(moments).cast(pl.Int64)).to_dicts()


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def micros(moment: datetime) -> int:
    """A moment as microseconds since 1970 [UTC].

    Raises
    ------
    AskError
        Where the moment has no zone.

    Examples
    --------
    >>> micros(datetime(1970, 1, 1, 0, 0, 1, tzinfo=UTC))
    1000000
    """
    if moment.tzinfo is None:
        raise AskError(Fault(tr("the moment {moment} has no zone", moment=moment), "", tr("a moment with its zone")))
    return (moment - _EPOCH) // _MICROSECOND


def moment(micros: int) -> datetime:
    """Give microseconds since 1970 as a moment [UTC]."""
    return _EPOCH + micros * _MICROSECOND
