"""Good pieces of each product since some moments, such as stock counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import polars as pl

from lineview.measures.counted import steps_by_kind
from lineview.measures.product_spans import ProductSpan, product_spans
from lineview.measures.unseen_counts import PlannedTime
from lineview.measures.wrap_pieces import good_and_unseen
from lineview.plant import Machine


def made_since(
    machines: Sequence[Machine],
    readings: Mapping[str, pl.DataFrame],
    batches: pl.DataFrame,
    moments: Sequence[datetime],
    now: datetime,
    planned: PlannedTime,
) -> dict[datetime, dict[str, float]]:
    """Sum the good pieces from each moment up to now.

    Parameters
    ----------
    machines : sequence of Machine
        Cut-and-wrap machines.
    readings : mapping
        READINGS by machine.
    batches : polars.DataFrame
        BATCHES.
    moments : sequence of datetime
        Since when [UTC].
    now : datetime
        Up to when [UTC].
    planned : PlannedTime
        When the works meant to run.

    Returns
    -------
    dict
        From moment to good pieces by product as the batch sheet names it; where no reading tells, what the
        pace around says.
    """
    wanted = sorted({m for m in moments if m < now})
    out: dict[datetime, dict[str, float]] = {moment: {} for moment in moments}
    if not wanted:
        return out
    for machine in machines:
        own = readings.get(machine.id)
        if own is None or own.is_empty():
            continue
        spans = _cut(product_spans(batches, machine.line, wanted[0], now), wanted)
        edges = [s.start for s in spans] + [spans[-1].end]
        counted = good_and_unseen(steps_by_kind(machine, own), planned, edges)
        if counted is None:
            continue
        good = counted[0]
        for moment in wanted:
            sums = out[moment]
            for span, pieces in zip(spans, good, strict=True):
                if span.start >= moment and pieces > 0:
                    sums[span.product] = sums.get(span.product, 0.0) + float(pieces)
    return out


def made_since_by_day(
    made: pl.DataFrame, moments: Sequence[datetime], zone: str
) -> dict[datetime, dict[str, float]]:
    """Sum the good pieces from each moment on out of sums by day, where the readings no longer reach back.

    Parameters
    ----------
    made : polars.DataFrame
        MADE.
    moments : sequence of datetime
        Since when [UTC].
    zone : str
        The plant's time zone.

    Returns
    -------
    dict
        From moment to good pieces by product; of the moment's own day, the share that comes after it.
    """
    out = {}
    for moment in moments:
        local = moment.astimezone(ZoneInfo(zone))
        rest = 1.0 - (local.hour + local.minute / 60.0) / 24.0
        share = pl.when(pl.col("date") == local.date()).then(rest).otherwise(1.0)
        own = made.filter(pl.col("date") >= local.date()).with_columns(good=pl.col("good") * share)
        sums = own.group_by("product").agg(pl.col("good").sum()).sort("product")
        out[moment] = dict(sums.iter_rows())
    return out


def _cut(spans: Sequence[ProductSpan], moments: Sequence[datetime]) -> list[ProductSpan]:
    """Cut stretches at the moments that lie within them."""
    out = []
    for span in spans:
        inside = [m for m in moments if span.start < m < span.end]
        out += [ProductSpan(span.product, a, b) for a, b in pairwise([span.start, *inside, span.end])]
    return out
