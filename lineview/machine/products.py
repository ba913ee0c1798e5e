"""Which product a line was on, from the batch sheet: stretches without gap that fill the period."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from lineview.machine.counters import Counted, Floats, Ints
from lineview.machine.pieces import MachineCounts, micros
from lineview.plant import Counts, WebKind


@dataclass(frozen=True)
class ProductSpan:
    """A stretch of a line's time on one product; "" where no batch says which.

    `is_counted` is False where some counter's increment is not known: such time is in no sum.
    """

    product: str
    start: datetime
    end: datetime
    is_counted: bool = True


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
    begun = batches.filter((pl.col("line") == line) & (pl.col("start") < end) & pl.col("start").is_not_null())
    line_batches = begun.sort("start").select("start", "product")
    spans: list[ProductSpan] = []
    at, product = start, ""
    for batch_start, name in line_batches.iter_rows():
        if batch_start > at and name != product:
            spans.append(ProductSpan(product, at, batch_start))
            at = batch_start
        product = name or ""
    spans.append(ProductSpan(product, at, end))
    return [span for span in spans if span.end > span.start]


def leave_out(spans: Sequence[ProductSpan], stretches: Iterable[tuple[datetime, datetime]]) -> list[ProductSpan]:
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
    in_order = sorted(stretches)
    for span in spans:
        at = span.start
        for start, end in in_order:
            if end <= at or start >= span.end:
                continue
            if start > at:
                out.append(ProductSpan(span.product, at, start))
            stop = min(end, span.end)
            out.append(ProductSpan(span.product, max(at, start), stop, is_counted=False))
            at = stop
        if at < span.end:
            out.append(ProductSpan(span.product, at, span.end))
    return out


WEBS: tuple[WebKind, ...] = ("film", "wax paper")
#: What must be known for a stretch to count in the use of web.
WRAP_COUNTERS: tuple[Counts, ...] = ("pieces", "good pieces", "rejects", "blank wraps")


@dataclass(frozen=True)
class WrapPieces:
    """What was wrapped on one product, summed over its stretches.

    `good`, `wrapped` (rejects included), `rejects` and `blanks` are wraps; `fed_m` the metres fed of each
    kind of web [m]. None where nothing counts them.
    """

    product: str
    good: float
    wrapped: float
    rejects: float | None
    blanks: float | None
    fed_m: Mapping[str, float]


def wrap_pieces(counts: MachineCounts, spans: Sequence[ProductSpan]) -> list[WrapPieces]:
    """Sum a machine's counters by product.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine, over the time of the spans.
    spans : sequence of ProductSpan
        Stretches on one product each, in order and without gap; those not counted are left out.

    Returns
    -------
    list of WrapPieces
        One a product, in order of first appearance; empty where no counter counts pieces.
    """
    at = read_moments(counts, [span.start for span in spans] + [spans[-1].end])
    pieces = counts.pieces(at[:-1], at[1:])
    if pieces.good is None or pieces.total is None:
        return []
    fed = {kind: counts.count(kind, at[:-1], at[1:]) for kind in WEBS if counts.has_read(kind)}
    names = list(dict.fromkeys(span.product for span in spans))
    rows = []
    for name in names:
        rows_of_name = np.array([span.is_counted and span.product == name for span in spans])
        rows.append(
            WrapPieces(
                product=name,
                good=_sum(pieces.good, rows_of_name) or 0.0,
                wrapped=_sum(pieces.total, rows_of_name) or 0.0,
                rejects=_sum(pieces.rejects, rows_of_name),
                blanks=_sum(pieces.blanks, rows_of_name) if counts.has_read("blank wraps") else None,
                fed_m={kind: _sum(counts_of, rows_of_name) or 0.0 for kind, counts_of in fed.items()},
            )
        )
    return [row for row in rows if row.wrapped > 0 or any(row.fed_m.values())]


def read_moments(counts: MachineCounts, moments: Sequence[datetime] | Ints) -> Ints:
    """Draw moments in to the time in which the machine's piece counter was read.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    moments : sequence of datetime, or array of int
        In order [UTC]; numbers are [µs since 1970].

    Returns
    -------
    array of int
        Microseconds since 1970.
    """
    at = micros(moments)
    read = [c for kind, c in counts.counters.items() if kind in ("pieces", "good pieces") and len(c.end_us)]
    if not read:
        return at
    return np.clip(at, min(int(c.start_us[0]) for c in read), max(int(c.end_us[-1]) for c in read))


def good_by_product(
    batches: pl.DataFrame, counts: MachineCounts, ids: Mapping[str, str], start: datetime, end: datetime
) -> dict[str, float]:
    """Good pieces of a period by product.

    Parameters
    ----------
    batches : polars.DataFrame
        BATCHES of the machine's line.
    counts : MachineCounts
        Of the cut-and-wrap machine.
    ids : mapping of str to str
        Product by the name that the batch sheet writes.
    start, end : datetime
        The period [UTC].

    Returns
    -------
    dict
        Pieces by product; under "" those that no batch, or one of an unknown product, accounts for. Empty
        where no counter counts pieces.
    """
    spans = product_spans(batches, counts.machine.line, start, end)
    if not spans:
        return {}
    at = read_moments(counts, [s.start for s in spans] + [spans[-1].end])
    good = counts.pieces(at[:-1], at[1:]).good
    if good is None:
        return {}
    good_of: dict[str, float] = {}
    for span, pieces in zip(spans, np.nan_to_num(good.value).tolist(), strict=True):
        name = ids.get(span.product, "")
        good_of[name] = good_of.get(name, 0.0) + pieces
    return {name: pieces for name, pieces in good_of.items() if pieces > 0}


def _sum(counts_of: Counted | None, rows: np.ndarray) -> float | None:
    return None if counts_of is None else float(np.nansum(counts_of.value[rows]))


def wraps_between(counts: MachineCounts, moments: Sequence[datetime] | Ints) -> Floats | None:
    """Wraps (pieces made and counted blanks) between successive moments [UTC]; None where not counted.

    Parameters
    ----------
    counts : MachineCounts
        Of the cut-and-wrap machine.
    moments : sequence of datetime, or array of int
        In order; numbers are [µs since 1970].
    """
    at = read_moments(counts, moments)
    pieces = counts.pieces(at[:-1], at[1:])
    if pieces.total is None:
        return None
    wraps = np.nan_to_num(pieces.total.value)
    return wraps if pieces.blanks is None else wraps + np.nan_to_num(pieces.blanks.value)


def fed_between(counts: MachineCounts, kind: WebKind, moments: Sequence[datetime] | Ints) -> Floats:
    """Metres of a web [m] fed between successive moments [UTC].

    Parameters
    ----------
    counts : MachineCounts
        Of the cut-and-wrap machine.
    kind : str
        "film" or "wax paper".
    moments : sequence of datetime, or array of int
        In order; numbers are [µs since 1970].
    """
    at = read_moments(counts, moments)
    fed = counts.count(kind, at[:-1], at[1:])
    return np.zeros(len(at) - 1) if fed is None else np.nan_to_num(fed.value)
