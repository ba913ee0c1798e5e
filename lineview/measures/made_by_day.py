"""Good pieces of each product on each day of the works, with the planned minutes of that day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from lineview.measures.clock import calendar
from lineview.measures.counted import steps_by_kind
from lineview.measures.product_spans import ProductSpan, product_spans
from lineview.measures.unseen_counts import planned_time
from lineview.measures.wrap_pieces import Floats, good_and_unseen
from lineview.plant import Machine, Shift

#: line, day, product, good pieces, unseen ones among them, planned minutes
_Row = tuple[str, date, str, float, float, float]

#: One row a line, day and product; `good` are good pieces, `unseen` those of them that no reading tells and
#: that are reckoned at the pace around; `planned_min` are the planned minutes [min] of that day.
MADE: dict[str, pl.DataType] = {
    "line": pl.String(),
    "date": pl.Date(),
    "product": pl.String(),
    "good": pl.Float64(),
    "unseen": pl.Float64(),
    "planned_min": pl.Float64(),
}


def made_by_day(
    machines: Sequence[Machine],
    readings: Mapping[str, pl.DataFrame],
    batches: pl.DataFrame,
    shifts: Sequence[Shift],
    zone: str,
    period: tuple[datetime, datetime],
) -> pl.DataFrame:
    """Sum the good pieces of cut-and-wrap machines by day and product.

    Parameters
    ----------
    machines : sequence of Machine
        Cut-and-wrap machines.
    readings : mapping
        READINGS by machine.
    batches : polars.DataFrame
        BATCHES; "" is the product where none tells.
    shifts, zone
        Of the plant description.
    period : (datetime, datetime)
        From, to [UTC].

    Returns
    -------
    polars.DataFrame
        MADE. A day with planned time but nothing made has a row with product "" and 0 pieces; days before a
        machine's first reading or after its last are left out, for nobody knows what was made.
    """
    cal = calendar(shifts, zone, *period)
    minutes, planned = _minutes_by_day(cal), planned_time(cal)
    rows: list[_Row] = []
    for machine in machines:
        own = readings.get(machine.id)
        if own is None or own.is_empty():
            continue
        first, last = own.select(pl.col("at").min().alias("first"), pl.col("at").max().alias("last")).row(0)
        seen = (max(period[0], first), min(period[1], last))
        if seen[1] <= seen[0]:
            continue
        spans = _by_day(product_spans(batches, machine.line, *seen), ZoneInfo(zone))
        edges = [s.start for s in spans] + [spans[-1].end]
        counted = good_and_unseen(steps_by_kind(machine, own), planned, edges)
        if counted is not None:
            rows += _machine_rows(machine.line, spans, counted, ZoneInfo(zone), minutes)
    return pl.DataFrame(rows, schema=MADE, orient="row").sort("line", "date", "product")


def planned_minutes(shifts: Sequence[Shift], zone: str, start: datetime, end: datetime) -> dict[date, float]:
    """Give the planned minutes [min] of each day that a shift starts on, breaks left out.

    Parameters
    ----------
    shifts : sequence of Shift
        Of the plant description.
    zone : str
        The plant's time zone.
    start : datetime
        From when [UTC].
    end : datetime
        Up to when [UTC].
    """
    return _minutes_by_day(calendar(shifts, zone, start, end))


def _minutes_by_day(cal: pl.DataFrame) -> dict[date, float]:
    spent = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    days = cal.filter(pl.col("part") == "planned").group_by("date").agg(minutes=spent.sum()).sort("date")
    return dict(days.iter_rows())


def _machine_rows(
    line: str,
    spans: Sequence[ProductSpan],
    counted: tuple[Floats, Floats],
    tz: ZoneInfo,
    minutes: Mapping[date, float],
) -> list[_Row]:
    """Sum a machine's pieces by day and product; a planned day of nothing has a row of its own."""
    sums: dict[tuple[date, str], tuple[float, float]] = {}
    for span, pieces, unseen in zip(spans, *counted, strict=True):
        key = (span.start.astimezone(tz).date(), span.product)
        good, of_it = sums.get(key, (0.0, 0.0))
        sums[key] = (good + float(pieces), of_it + float(unseen))
    days = {day for day, _ in sums}
    made = {day for (day, _), (pieces, _) in sums.items() if pieces > 0}
    for day in minutes:
        if day in days - made:
            sums.setdefault((day, ""), (0.0, 0.0))
    return [
        (line, day, product, pieces, unseen, minutes.get(day, 0.0))
        for (day, product), (pieces, unseen) in sums.items()
        if pieces > 0 or minutes.get(day, 0.0) > 0
    ]


def _by_day(spans: Sequence[ProductSpan], tz: ZoneInfo) -> list[ProductSpan]:
    """Cut stretches at the midnights of the plant's zone."""
    out = []
    for span in spans:
        edges = [span.start]
        day = span.start.astimezone(tz).date() + timedelta(days=1)
        while (midnight := datetime(day.year, day.month, day.day, tzinfo=tz)) < span.end:
            edges.append(midnight)
            day += timedelta(days=1)
        out += [ProductSpan(span.product, a, b) for a, b in pairwise([*edges, span.end])]
    return out


def week_planned(
    shifts: Sequence[Shift], zone: str, starts: Sequence[datetime]
) -> tuple[np.ndarray, np.ndarray]:
    """Give the planned minutes and the planned days of each week of seven days from its start.

    Parameters
    ----------
    shifts : sequence of Shift
        Of the plant description.
    zone : str
        The plant's time zone.
    starts : sequence of datetime
        Starts of the weeks [UTC].
    """
    week = timedelta(days=7)
    totals = [planned_minutes(shifts, zone, start, start + week) for start in starts]
    return np.array([sum(t.values()) for t in totals]), np.array([float(len(t)) for t in totals])
