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
from lineview.measures.wrap_pieces import good_split
from lineview.plant import Machine, Shift

#: One row a line, day and product; `planned_min` are the planned minutes [min] of that day.
MADE: dict[str, pl.DataType] = {
    "line": pl.String(),
    "date": pl.Date(),
    "product": pl.String(),
    "good": pl.Float64(),
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
        MADE. A day with planned time but nothing made has a row with product "" and 0 pieces; days of which a
        machine has no reading at all are left out, for nobody knows what was made.
    """
    minutes = planned_minutes(shifts, zone, *period)
    rows: list[tuple[str, date, str, float, float]] = []
    for machine in machines:
        own = readings.get(machine.id)
        if own is None or own.is_empty():
            continue
        moments = own["at"].drop_nulls().sort().to_list()
        seen = (max(period[0], moments[0]), min(period[1], moments[-1]))
        if seen[1] <= seen[0]:
            continue
        rows += _machine_rows(machine, own, batches, ZoneInfo(zone), seen, minutes)
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
    cal = calendar(shifts, zone, start, end).filter(pl.col("part") == "planned")
    spent = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    days = cal.group_by("date").agg(minutes=spent.sum()).sort("date")
    return dict(days.iter_rows())


def _machine_rows(
    machine: Machine,
    readings: pl.DataFrame,
    batches: pl.DataFrame,
    tz: ZoneInfo,
    seen: tuple[datetime, datetime],
    minutes: Mapping[date, float],
) -> list[tuple[str, date, str, float, float]]:
    spans = _by_day(product_spans(batches, machine.line, *seen), tz)
    good = good_split(steps_by_kind(machine, readings), [s.start for s in spans] + [spans[-1].end])
    if good is None:
        return []
    sums: dict[tuple[date, str], float] = {}
    for span, pieces in zip(spans, good, strict=True):
        key = (span.start.astimezone(tz).date(), span.product)
        sums[key] = sums.get(key, 0.0) + float(pieces)
    days = {day for day, _ in sums}
    for day in minutes:
        if day in days and not any(d == day and p > 0 for (d, _), p in sums.items()):
            sums.setdefault((day, ""), 0.0)
    return [
        (machine.line, day, product, pieces, minutes.get(day, 0.0))
        for (day, product), pieces in sums.items()
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
