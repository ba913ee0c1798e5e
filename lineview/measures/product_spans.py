"""Which product a line was on, from the batch sheet: stretches without gap that fill the period."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl


@dataclass(frozen=True)
class ProductSpan:
    """A stretch of a line's time on one product; "" where no batch tells which.

    `counted` is False where some counter's increment is not known: such time is in no sum.
    """

    product: str
    start: datetime
    end: datetime
    counted: bool = True


def product_spans(batches: pl.DataFrame, line: str, start: datetime, end: datetime) -> list[ProductSpan]:
    """Cut a period into stretches of one product each.

    Parameters
    ----------
    batches : polars.DataFrame
        BATCHES.
    line : str
        Id of the line.
    start, end : datetime
        The period [UTC].

    Returns
    -------
    list of ProductSpan
        In order, without gap. A batch lasts until the next one starts, for what is still on the table is
        wrapped after the sheet's own end; time before the first batch has product "".
    """
    own = (
        batches.filter((pl.col("line") == line) & (pl.col("start") < end) & pl.col("start").is_not_null())
        .sort("start")
        .select("start", "product")
    )
    spans: list[ProductSpan] = []
    at, product = start, ""
    for batch_start, name in own.iter_rows():
        if batch_start > at and name != product:
            spans.append(ProductSpan(product, at, batch_start))
            at = batch_start
        product = name or ""
    spans.append(ProductSpan(product, at, end))
    return [span for span in spans if span.end > span.start]


def leave_out(
    spans: Sequence[ProductSpan], stretches: Iterable[tuple[datetime, datetime]]
) -> list[ProductSpan]:
    """Mark the time of some stretches as not counted.

    Parameters
    ----------
    spans : sequence of ProductSpan
        In order, without gap.
    stretches : iterable of (datetime, datetime)
        What to leave out [UTC]; they may overlap.

    Returns
    -------
    list of ProductSpan
        The same time in more pieces.
    """
    out: list[ProductSpan] = []
    ordered = sorted(stretches)
    for span in spans:
        at = span.start
        for start, end in ordered:
            if end <= at or start >= span.end:
                continue
            if start > at:
                out.append(ProductSpan(span.product, at, start))
            stop = min(end, span.end)
            out.append(ProductSpan(span.product, max(at, start), stop, counted=False))
            at = stop
        if at < span.end:
            out.append(ProductSpan(span.product, at, span.end))
    return out
