"""Good pieces of each product on each day of the works, from a machine's records."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.record_frames import COUNTERS
from lineview.machine.calendar import calendar
from lineview.machine.likeliest import LONG_S, PlannedTime, planned_time
from lineview.machine.pieces import MachineCounts
from lineview.machine.products import ProductSpan, product_spans, read_moments
from lineview.plant import Counts, Machine, Shift
from lineview.records.compose import spells_of
from lineview.records.seams import seams_of

#: One row a line, day and product; `good` are good pieces with their bounds, the
#: upper one inf where nothing bounds it, `unseen` those of them that no
#: reading shows and that are counted at the pace around; `planned_min` the planned minutes [min] of that day.
DAILY_OUTPUT: dict[str, pl.DataType] = {
    "line": pl.String(),
    "date": pl.Date(),
    "product": pl.String(),
    "good": pl.Float64(),
    "good_low": pl.Float64(),
    "good_high": pl.Float64(),
    "unseen": pl.Float64(),
    "planned_min": pl.Float64(),
}

_Sums = dict[tuple[date, str], np.ndarray]
_PIECE_COUNTERS: tuple[Counts, ...] = ("pieces", "good pieces", "rejects")


def daily_output(
    machine: Machine,
    records: pl.DataFrame,
    shifts: Sequence[Shift],
    zone: str,
    period: tuple[datetime, datetime],
    over: Callable[[datetime, datetime], tuple[MachineCounts, pl.DataFrame]],
    *,
    gap_s: float,
) -> pl.DataFrame:
    """Sum a machine's good pieces by day and product.

    Parameters
    ----------
    machine : Machine
        A cut-and-wrap machine.
    records : polars.DataFrame
        Its records in order of time, with COUNTERS, SPELLS and OUTPUT.
    shifts, zone
        Of the plant description.
    period : (datetime, datetime)
        From and to [UTC]; records outside it only show what was counted over its edges.
    over : callable
        Gives counts and batches of a stretch, for what the readings of two windows leave open between them.
    gap_s : float
        Longest interval between readings that still shows what happened in it [s].

    Returns
    -------
    polars.DataFrame
        DAILY_OUTPUT. A day with planned time but nothing made has a row with product "" and 0 pieces; days
        before the machine's first reading or after its last are left out, for nobody knows what was made.
    """
    tz = ZoneInfo(zone)
    inside = records.filter((pl.col("first_read") >= period[0]) & (pl.col("last_read") < period[1]))
    lists = ["day", "product", "good", "good_low", "good_high", "unseen"]
    sums: _Sums = {}
    for day, product, *parts in inside.select(lists).explode(lists).drop_nulls("day").iter_rows():
        sums[day, product] = sums.get((day, product), np.zeros(4)) + np.array(parts)
    planned = planned_time(calendar(shifts, zone, *period))
    for start, end, before, after, parts_ in _seams(machine, records, period, gap_s, planned):
        if parts_ is not None:
            _share(sums, start, end, (before, after), np.array(parts_), period, tz)
        else:
            _open(sums, over(start, end), start, end, period, tz)
    return _frame(machine.line, sums, inside, planned_minutes(shifts, zone, *period), tz)


def join_output(frames: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """Output of several machines: DAILY_OUTPUT by line, day and product."""
    return pl.concat([pl.DataFrame(schema=DAILY_OUTPUT), *frames]).sort("line", "date", "product")


def good_pieces(output: pl.DataFrame, line: str, first: date, last: date) -> Estimate:
    """Sum a line's good pieces of some days, both ends included.

    Parameters
    ----------
    output : polars.DataFrame
        DAILY_OUTPUT.
    line : str
        Id of the line.
    first, last : date
        Days of the works.

    Returns
    -------
    Estimate
        Without an upper end where one of the days has none.
    """
    rows = output.filter(pl.col("date").is_between(first, last) & (pl.col("line") == line))
    value, low, high = (float(rows[name].sum()) for name in ("good", "good_low", "good_high"))
    return Estimate(value, low, high if math.isfinite(high) else None, rows.height)


def planned_minutes(shifts: Sequence[Shift], zone: str, start: datetime, end: datetime) -> dict[date, float]:
    """Planned minutes [min] of each day that a shift starts on, breaks left out."""
    cal = calendar(shifts, zone, start, end)
    spent = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    days = (
        cal.filter(pl.col("part") == "planned")
        .group_by("date", maintain_order=True)
        .agg(minutes=spent.sum())
        .sort("date")
    )
    return dict(days.iter_rows())


def week_planned(shifts: Sequence[Shift], zone: str, starts: Sequence[datetime]) -> tuple[np.ndarray, np.ndarray]:
    """Planned minutes and planned days of each week of seven days from its start.

    Parameters
    ----------
    shifts : sequence of Shift
        Of the plant description.
    zone : str
        The plant's time zone.
    starts : sequence of datetime
        Starts of the weeks [UTC].
    """
    totals = [planned_minutes(shifts, zone, start, start + timedelta(days=7)) for start in starts]
    return np.array([sum(t.values()) for t in totals]), np.array([float(len(t)) for t in totals])


def _seams(
    machine: Machine, records: pl.DataFrame, period: tuple[datetime, datetime], gap_s: float, planned: PlannedTime
) -> list[tuple[datetime, datetime, str, str, tuple[float, float, float, float] | None]]:
    """What lies between each two windows with readings.

    Its ends, the products on either side, and its good pieces (value, low, high, unseen), or None where the
    readings leave them open.
    """
    states = spells_of(records)
    rows = records.with_row_index("place").explode(list(COUNTERS)).drop_nulls("counter")
    rows = rows.filter(pl.col("counter").is_in(list(_PIECE_COUNTERS)))
    counts_added: dict[tuple[int, bool], dict[str, tuple[float, bool]]] = {}
    ends: dict[tuple[int, bool], tuple[int, int, int, int]] = {}
    for (kind,), part in rows.group_by(["counter"], maintain_order=True):
        place = part["place"].to_numpy()
        seams = seams_of(next(c for c in machine.counters if c.counts == kind), part, gap_s, planned, states)
        at0, at1 = seams.steps.start_us, seams.steps.end_us
        value = np.where(seams.steps.low < seams.steps.high, np.nan, seams.steps.n)
        if seams.steps.turned is not None:
            # One that stands where it stood counted nothing (lineview.machine.likeliest).
            value = np.where(np.isnan(value) & (seams.steps.turned == 0.0), 0.0, value)
        for k, (before, after) in enumerate(zip(place[seams.before], place[seams.after], strict=True)):
            key = int(before), bool(before == after)
            of = counts_added.setdefault(key, {})
            added = of.get(str(kind), (0.0, True))[0] + float(value[k])  # a reset beside a window is several
            of[str(kind)] = (added, bool(np.isfinite(added)))
            if kind != "rejects":
                begin = min(int(at0[k]), ends.get(key, (int(at0[k]),))[0])
                ends[key] = (begin, int(at1[k]), int(before), int(after))
    first, last = records["first_product"].to_list(), records["last_product"].to_list()
    out = []
    for at_place, (a, b, before, after) in sorted(ends.items()):
        start, end = (datetime.fromtimestamp(us / 1e6, UTC) for us in (a, b))
        if end <= period[0] or start >= period[1]:
            continue
        good = _good(counts_added[at_place])
        long = b - a > LONG_S * 1e6 and bool(good)
        parts = None if good is None or long else (good, good, good, 0.0)
        out.append((start, end, last[before] or "", first[after] or "", parts))
    return out


def _good(added: Mapping[str, tuple[float, bool]]) -> float | None:
    """Good pieces of a seam from what its counters added; None where one of them is open."""
    if not all(is_known for _, is_known in added.values()):
        return None
    if "good pieces" in added:
        return added["good pieces"][0]
    pieces = added.get("pieces")
    return None if pieces is None else max(pieces[0] - added.get("rejects", (0.0, True))[0], 0.0)


def _share(
    sums: _Sums,
    start: datetime,
    end: datetime,
    products: tuple[str, str],
    parts: np.ndarray,
    period: tuple[datetime, datetime],
    tz: ZoneInfo,
) -> None:
    """Share a short interval out by time: half of it on either side of its middle, within the period."""
    middle = start + (end - start) / 2
    for a, b, product in ((start, middle, products[0]), (middle, end, products[1])):
        low, high = max(a, period[0]), min(b, period[1])
        if high > low and parts[0] > 0:
            key = (low.astimezone(tz).date(), product)
            sums[key] = sums.get(key, np.zeros(4)) + parts * ((high - low) / (end - start))


def _open(
    sums: _Sums,
    counts_and_batches: tuple[MachineCounts, pl.DataFrame],
    start: datetime,
    end: datetime,
    period: tuple[datetime, datetime],
    tz: ZoneInfo,
) -> None:
    """Add an interval whose count is open, or long, by the products and days of the batch sheet."""
    counts, batches = counts_and_batches
    start, end = max(start, period[0]), min(end, period[1])
    spans = _by_day(product_spans(batches, counts.machine.line, start, end), tz)
    if not spans:
        return
    at = read_moments(counts, [span.start for span in spans] + [spans[-1].end])
    good = counts.pieces(at[:-1], at[1:]).good
    if good is None:
        return
    for k, span in enumerate(spans):
        value = float(np.nan_to_num(good.value[k]))
        parts = np.array([value, float(good.low[k]), float(good.high[k]), value])
        key = (span.start.astimezone(tz).date(), span.product)
        sums[key] = sums.get(key, np.zeros(4)) + parts


def _by_day(spans: Sequence[ProductSpan], tz: ZoneInfo) -> list[ProductSpan]:
    """Cut stretches at the midnights of the plant's zone."""
    out = []
    for span in spans:
        at = span.start
        while at < span.end:
            day = at.astimezone(tz).date() + timedelta(days=1)
            midnight = datetime(day.year, day.month, day.day, tzinfo=tz).astimezone(UTC)
            stop = min(midnight, span.end)
            out.append(ProductSpan(span.product, at, stop))
            at = stop
    return out


def _frame(line: str, sums: _Sums, inside: pl.DataFrame, minutes: Mapping[date, float], tz: ZoneInfo) -> pl.DataFrame:
    """The sums as rows; a planned day of nothing, between the first and last record, has a row of its own."""
    read = inside.filter(pl.col("readings") > 0)
    if read.height:
        first, last = read["start"][0].astimezone(tz).date(), read["end"][-1].astimezone(tz).date()
        productive = {day for (day, _), parts in sums.items() if parts[0] > 0}
        for day in minutes:
            if first <= day <= last and day not in productive:
                sums.setdefault((day, ""), np.zeros(4))
    days_made = {day for (day, _), parts in sums.items() if parts[0] > 0}
    rows = [
        (line, day, product, *parts.tolist(), minutes.get(day, 0.0))
        for (day, product), parts in sums.items()
        if parts[0] > 0 or (minutes.get(day, 0.0) > 0 and day not in days_made)
    ]
    return pl.DataFrame(rows, schema=DAILY_OUTPUT, orient="row")
