"""Good pieces of each product since some moments, such as stock counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import pairwise

import polars as pl

from lineview.measures.counted import steps_by_kind
from lineview.measures.product_spans import ProductSpan, product_spans
from lineview.measures.wrap_pieces import good_split
from lineview.plant import Machine


def made_since(
    machines: Sequence[Machine],
    readings: Mapping[str, pl.DataFrame],
    batches: pl.DataFrame,
    moments: Sequence[datetime],
    now: datetime,
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

    Returns
    -------
    dict
        From moment to good pieces by product as the batch sheet names it.
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
        good = good_split(steps_by_kind(machine, own), [s.start for s in spans] + [spans[-1].end])
        if good is None:
            continue
        for moment in wanted:
            sums = out[moment]
            for span, pieces in zip(spans, good, strict=True):
                if span.start >= moment and pieces > 0:
                    sums[span.product] = sums.get(span.product, 0.0) + float(pieces)
    return out


def _cut(spans: Sequence[ProductSpan], moments: Sequence[datetime]) -> list[ProductSpan]:
    """Cut stretches at the moments that lie within them."""
    out = []
    for span in spans:
        inside = [m for m in moments if span.start < m < span.end]
        out += [ProductSpan(span.product, a, b) for a, b in pairwise([span.start, *inside, span.end])]
    return out
