"""The edge that fetches for the order question: the whole history of use, summed by day as it is read."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import polars as pl

from lineview.answers.answer import Evidence, Scope
from lineview.answers.order import FOLLOWED, RECENT, order_moment
from lineview.columns import ADJUSTMENTS, BATCHES, PLAN, REELS, STOP_LOG, WEIGHTS, empty
from lineview.measures.made_by_day import MADE, made_by_day
from lineview.measures.wrap_pieces import WRAP_COUNTERS
from lineview.plant import Machine, Plant
from lineview.stock.works_orders import latest_counts
from lineview.store.reader import StoreReader

#: How far back use is looked at.
HISTORY = timedelta(days=731)
#: Stretch whose readings are in memory at one time.
AT_ONCE = timedelta(days=91)
#: How far ahead a plan is read, and how long before a time its first reel may have been mounted.
PLANNED, MOUNTED = timedelta(days=731), timedelta(hours=12)


def order_evidence(store: StoreReader, plant: Plant, scope: Scope) -> Evidence:
    """Fetch for the order: all use before the buyer's today by day, and the recent weeks' readings.

    Parameters
    ----------
    store : StoreReader
        Open.
    plant : Plant
        The plant description.
    scope : Scope
        Its end is the buyer's today.

    Returns
    -------
    Evidence
        Of every cut-and-wrap machine, for stock is common to the works.
    """
    machines = [m for m in plant.machines if m.kind == "cut-and-wrap machine"]
    lines = sorted({m.line for m in machines})
    now = order_moment(scope)
    start = fetched_from(store, plant, scope)
    batches = _stacked([store.batches(line, now - HISTORY, now) for line in lines], BATCHES)
    return Evidence(
        readings={m.id: _readings(store, m, start, now) for m in machines},
        weights=empty(WEIGHTS),
        batches=batches,
        stop_log=empty(STOP_LOG),
        reels=_stacked([store.reels(m.id, start - MOUNTED, now) for m in machines], REELS),
        stock=store.stock(),
        plan=_stacked([store.plan(line, now, now + PLANNED) for line in lines], PLAN),
        adjustments=empty(ADJUSTMENTS),
        made=made_history(store, plant, machines, batches, now),
    )


def fetched_from(store: StoreReader, plant: Plant, scope: Scope) -> datetime:
    """Give from when on every reading is fetched: the recent weeks, or since the oldest of the last counts.

    Parameters
    ----------
    store : StoreReader
        Open.
    plant : Plant
        The plant description.
    scope : Scope
        Its end is the buyer's today.
    """
    now = order_moment(scope)
    counts = latest_counts(plant, store.stock()).by_web.values()
    counted = [max(count.counted_at, now - FOLLOWED) for count in counts]
    return min([now - RECENT, *counted])


def made_history(
    store: StoreReader, plant: Plant, machines: Sequence[Machine], batches: pl.DataFrame, now: datetime
) -> pl.DataFrame:
    """Sum the good pieces of up to two years before a moment by day and product.

    Parameters
    ----------
    store : StoreReader
        Open.
    plant : Plant
        The plant description.
    machines : sequence of Machine
        Cut-and-wrap machines.
    batches : polars.DataFrame
        BATCHES of the time.
    now : datetime
        Up to when [UTC].

    Returns
    -------
    polars.DataFrame
        MADE. Only a quarter of a year of readings is in memory at a time.
    """
    frames = [pl.DataFrame(schema=MADE)]
    for machine in machines:
        span = store.span(machine.id)
        channels = [c.id for c in machine.counters if c.counts in WRAP_COUNTERS]
        if span is None or not channels:
            continue
        edges = _edges(max(span.start, now - HISTORY), min(span.end + timedelta(seconds=1), now), plant)
        for start, end in pairwise(edges):
            readings = _readings(store, machine, start, end, channels)
            own = batches.filter(pl.col("start") < end)
            frames.append(
                made_by_day([machine], {machine.id: readings}, own, plant.shifts, plant.zone, (start, end))
            )
    return pl.concat(frames).sort("line", "date", "product")


def _edges(start: datetime, end: datetime, plant: Plant) -> list[datetime]:
    """Cut a time at midnights of the plant, so that no day stands in two parts."""
    edges = [start]
    while (following := edges[-1] + AT_ONCE) < end:
        midnight = following.astimezone(plant.tz).replace(hour=0, minute=0, second=0, microsecond=0)
        edges.append(midnight.astimezone(UTC))
    return [*edges, end] if end > start else []


def _readings(
    store: StoreReader,
    machine: Machine,
    start: datetime,
    end: datetime,
    channels: Sequence[str] | None = None,
) -> pl.DataFrame:
    """Fetch a machine's readings of a time and the one reading of each channel either side of it."""
    parts = [
        store.last_before(machine.id, start, channels),
        store.readings(machine.id, start, end, channels),
        store.first_after(machine.id, end, channels),
    ]
    return pl.concat(parts)


def _stacked(frames: list[pl.DataFrame], schema: dict[str, pl.DataType]) -> pl.DataFrame:
    return pl.concat(frames) if frames else empty(schema)
