"""Changeovers: standing between two batches of different products."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from lineview.columns import UTC_US, empty
from lineview.measures.rate import Ints
from lineview.measures.states import STANDING, Clock
from lineview.plant import Machine

#: A changeover: from the last piece of one product to the first of the next.
CHANGEOVERS: dict[str, pl.DataType] = {
    "start": UTC_US,
    "end": UTC_US,
    "before": pl.String(),
    "after": pl.String(),
}

#: Moments at which the product changed, as somebody or some machine wrote them down.
CHANGES: dict[str, pl.DataType] = {"at": UTC_US, "before": pl.String(), "after": pl.String()}

#: Batch sheets are written by hand: a batch's start may be off by so much [min].
OFF_MIN = 3.0


def product_changes(machine: Machine, said: pl.DataFrame, batches: pl.DataFrame) -> pl.DataFrame:
    """Give the moments at which the machine's line went from one product to another.

    Parameters
    ----------
    machine : Machine
        Its gauges say which channel holds the product or the batch.
    said : polars.DataFrame
        MARKS of the machine.
    batches : polars.DataFrame
        BATCHES; those of other lines are passed over.

    Returns
    -------
    polars.DataFrame
        CHANGES by time. The machine's own product channel is preferred, then its batch channel read
        against the batch sheet, then the batch sheet alone.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from lineview.columns import BATCHES, empty
    >>> from lineview.machine.pieces import MARKS
    >>> hours = [datetime(2026, 6, 9, hour, tzinfo=UTC) for hour in (6, 7)]
    >>> sheet = pl.DataFrame({"line": "1", "batch": ["a", "b"], "product": ["mint", "lime"], "start": hours})
    >>> sheet = pl.concat([empty(BATCHES), sheet.cast({"start": BATCHES["start"]})], how="diagonal")
    >>> wrapper = Machine(id="w", kind="cut-and-wrap machine", line="1")
    >>> product_changes(wrapper, empty(MARKS), sheet).row(0)[1:]
    ('mint', 'lime')
    """
    own = batches.filter((pl.col("line") == machine.line) & pl.col("start").is_not_null())
    for measures in ("product", "batch"):
        marks = said.filter(pl.col("gauge") == measures).sort("at").select("at", name="text")
        if measures == "batch":
            sheet = own.drop_nulls(["batch", "product"]).unique("batch", keep="first", maintain_order=True)
            marks = marks.join(
                sheet.select(name="batch", product="product"), on="name", how="left", maintain_order="left"
            ).select("at", name="product")
        if marks["name"].drop_nulls().len():
            return _turns(marks)
    return _turns(own.sort("start").select(at="start", name="product"))


def marked(machine: Machine, said: pl.DataFrame, batches: pl.DataFrame) -> bool:
    """Tell whether anything marks the products of a machine's line.

    Parameters
    ----------
    machine, said, batches
        As in product_changes.

    Returns
    -------
    bool
        Whether the batch sheet or a product channel names a product at all, if only one.
    """
    sheet = batches.filter((pl.col("line") == machine.line) & pl.col("start").is_not_null())
    if sheet["product"].drop_nulls().len():
        return True
    return said.filter(pl.col("gauge") == "product").height > 0


def _turns(marks: pl.DataFrame) -> pl.DataFrame:
    if marks.height < 2:
        return empty(CHANGES)
    named = marks.drop_nulls("name").with_columns(pl.col("name").str.strip_chars())
    same = pl.col("name").str.to_lowercase()
    return (
        named.with_columns(before=pl.col("name").shift(1))
        .filter(same != same.shift(1))
        .select("at", "before", after="name")
        .cast(dict(CHANGES))  # type: ignore[arg-type]  # polars' stub wants its own mapping type
    )


def find_changeovers(seen: Clock, changes: pl.DataFrame, *, off_min: float = OFF_MIN) -> pl.DataFrame:
    """Find the standing stretch that belongs to each change of product.

    Parameters
    ----------
    seen : Clock
        The machine's clock.
    changes : polars.DataFrame
        CHANGES.
    off_min : float
        By how much the moments may be off [min].

    Returns
    -------
    polars.DataFrame
        CHANGEOVERS by time: for each change the stretch of standing that it lies in, else the one within
        `off_min` of it that ends nearest to it, if any.

    Notes
    -----
    A mark is the first piece of the new product, so a longer stop or a break close by is not the changeover.
    A change without standing near it took no time, or was not told by the sheet. Where a jog of a few pieces
    parts a stop from the changeover, and comes earlier than the mark by more than the mark may be off, those
    were the last pieces of the old product, and the changeover begins after them.
    Source: derived-tape
    """
    stands = seen.code == STANDING
    begins, ends = seen.edge[:-1][stands], seen.edge[1:][stands]
    off_us = round(off_min * 6e7)
    at_us = changes["at"].dt.epoch("us").to_numpy()
    first = np.searchsorted(ends, at_us - off_us)
    last = np.searchsorted(begins, at_us + off_us, side="right")
    found: dict[int, int] = {}
    for change, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        if b > a:
            at = at_us[change]
            inside = (begins[a:b] <= at) & (at <= ends[a:b])
            off = np.where(inside, 0, np.abs(ends[a:b] - at))
            found.setdefault(a + int(np.argmin(off)), change)
    stretches, rows = sorted(found), [found[k] for k in sorted(found)]
    starts = _after_jogs(seen, begins[stretches], np.minimum(at_us[rows] - off_us, ends[stretches]))
    return pl.DataFrame(
        {
            "start": pl.Series(starts, dtype=pl.Int64),
            "end": pl.Series(ends[stretches], dtype=pl.Int64),
            "before": changes["before"].gather(rows),
            "after": changes["after"].gather(rows),
        }
    ).with_columns(pl.col("start", "end").cast(pl.Datetime("us")).dt.replace_time_zone("UTC"))


def _after_jogs(seen: Clock, begins: Ints, latest: Ints) -> Ints:
    """Move the starts of standing stretches behind the last pieces made in them before the latest moment."""
    rises = np.flatnonzero(np.diff(seen.pieces) > 0)
    # Where in its interval a jog ran cannot be told: the middle.
    jogs = (seen.at[rises] + seen.at[rises + 1]) // 2
    place = np.searchsorted(jogs, latest, side="right") - 1
    last = np.where(place >= 0, jogs[np.maximum(place, 0)] if len(jogs) else begins, begins)
    return np.maximum(last, begins)


def cut_clock(seen: Clock, moments: pl.Series) -> Clock:
    """Cut the standing stretches of a clock at moments that lie within them.

    Parameters
    ----------
    seen : Clock
        The machine's clock.
    moments : polars.Series
        Such as the starts of changeovers.

    Returns
    -------
    Clock
        With the same states at every moment.
    """
    at = np.unique(moments.dt.epoch("us").to_numpy()) if len(moments) else np.empty(0, dtype=np.int64)
    if not len(at) or not len(seen.code):
        return seen
    place = np.searchsorted(seen.edge, at, side="right") - 1
    inside = (place >= 0) & (place < len(seen.code))
    inside &= seen.code[np.clip(place, 0, len(seen.code) - 1)] == STANDING
    edge = np.union1d(seen.edge, at[inside])
    code = seen.code[np.searchsorted(seen.edge, edge[:-1], side="right") - 1]
    return replace(seen, edge=edge, code=code)
