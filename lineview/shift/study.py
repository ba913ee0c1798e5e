"""What lies behind a shift's stops: trend, clusters, efficiency, changeovers, what comes next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
import polars as pl

from lineview.core.errors import Fault, MeasureError
from lineview.core.language import tr
from lineview.machine.calendar import calendar
from lineview.machine.changeovers import changeover_matrix
from lineview.machine.speed import speed_segments
from lineview.machine.state_codes import SET_ASIDE
from lineview.machine.stop_statistics import Cluster, StopTrend, run_clock, stop_clusters, stop_trend
from lineview.plant import Plant, Product
from lineview.shift.key_figures import Efficiency, outside_minutes, time_elements
from lineview.shift.measures import ShiftMeasures
from lineview.shift.projection import NextEvent, Pace, batch_end, reel_ends
from lineview.stats.tour import Floats, shortest_tour

#: Products of which an order is looked for.
MOST_PRODUCTS = 80
#: Longest time for one step of the search [s]; a day's list takes far less.
SOLVE_S = 5.0


@dataclass(frozen=True)
class FlavourOrder:
    """An order of products with the minutes its changeovers are expected to take.

    `clean_downs` counts the steps from a product with an allergen to one without it; each needs a validated
    clean-down, whatever its minutes. `above_percent` is 0 where no order costs less; else the minutes are
    at most so much above the least that is possible [%]; None where the clean-downs may not be the fewest.
    """

    products: tuple[str, ...]
    minutes: float
    clean_downs: int
    as_given_min: float
    as_given_clean_downs: int
    above_percent: float | None = 0.0


def expected_minutes(
    products: Sequence[Product], matrix: pl.DataFrame, *, usual_min: float
) -> dict[tuple[str, str], float]:
    """The expected changeover from each product to each other [min]."""
    medians = {(a, b): (m, n) for a, b, n, m in matrix.select("before", "after", "count", "median_min").iter_rows()}
    base = {p.id: p.base for p in products}
    by_base: dict[tuple[str, str], list[tuple[float, int]]] = {}
    for (a, b), median in medians.items():
        if a in base and b in base:
            by_base.setdefault((base[a], base[b]), []).append(median)
    out = {}
    for product in products:
        for other in products:
            base_medians = by_base.get((product.base, other.base))
            if (product.id, other.id) in medians:
                out[product.id, other.id] = medians[product.id, other.id][0]
            elif base_medians:
                out[product.id, other.id] = sum(m * n for m, n in base_medians) / sum(n for _, n in base_medians)
            else:
                out[product.id, other.id] = usual_min
    return out


def cheapest_order(
    products: Sequence[Product],
    minutes: Mapping[tuple[str, str], float],
    *,
    first: str | None = None,
    solve_s: float = SOLVE_S,
) -> FlavourOrder:
    """Find the order with the fewest clean-downs, and of those the least changeover minutes.

    The order is the shortest closed tour through all products and a place that every order begins and ends
    at; one clean-down outweighs all minutes, so that their number is brought down first.
    Source: dantzig-fulkerson-johnson-1954
    """
    ids = [p.id for p in products]
    if not 1 <= len(set(ids)) == len(ids) <= MOST_PRODUCTS or (first is not None and first not in ids):
        raise MeasureError(
            Fault(
                tr(
                    "{count} products with '{first}' first cannot be put in order",
                    count=len(ids),
                    first=first or ids[:1],
                ),
                "products",
                tr("1 to {most} products, each once, with the first among them", most=MOST_PRODUCTS),
            )
        )
    turn_min = np.array([[0.0 if a == b else minutes[a, b] for b in ids] for a in ids])
    down = np.array([[bool(set(a.allergens) - set(b.allergens)) for b in products] for a in products], float)
    path, above = _best(turn_min, down, None if first is None else ids.index(first), solve_s)
    as_given = list(range(len(ids)))
    if above != 0.0 and first in (None, ids[0]) and _along(turn_min, down, as_given) < _along(turn_min, down, path):
        path, above = as_given, None  # what was found in the time is worse than what stands
    return FlavourOrder(
        tuple(ids[k] for k in path),
        *_along(turn_min, down, path)[::-1],
        *_along(turn_min, down, as_given)[::-1],
        above_percent=above,
    )


def _best(turn_min: Floats, down: Floats, first: int | None, solve_s: float) -> tuple[list[int], float | None]:
    """The cheapest path, and by how much it may be above the least minutes [%]."""
    n = len(turn_min)
    if n == 1:
        return [0], 0.0
    outweighs = float(np.ceil(turn_min.max(axis=1).sum())) + 1.0
    cost = np.zeros((n + 1, n + 1))
    cost[:n, :n] = turn_min + outweighs * down
    if first is not None:
        cost[n, [k for k in range(n) if k != first]] = np.inf
    np.fill_diagonal(cost, np.inf)
    solution = shortest_tour(cost, solve_s=solve_s)
    place = solution.tour.index(n)
    path = [*solution.tour[place + 1 :], *solution.tour[:place]]
    if solution.exact:
        return path, 0.0
    downs, path_min = _along(turn_min, down, path)
    least = solution.bound - downs * outweighs
    return path, 100 * (path_min / least - 1) if least > 0 else None


def _along(turn_min: Floats, down: Floats, path: Sequence[int]) -> tuple[int, float]:
    """Give clean-downs and minutes along an order."""
    steps = list(pairwise(path))
    return round(sum(down[a, b] for a, b in steps)), float(sum(turn_min[a, b] for a, b in steps))


#: Where no changeover was seen yet, one is taken to last so long [min]: an assumption, shown as one.
USUAL_CHANGEOVER_MIN = 6.0
#: What stands for the flavours of a changeover that nobody marked.
UNKNOWN = "unknown"


@dataclass(frozen=True)
class ShiftStudy:
    """Behind the sums: trend and clusters of stops, efficiency, changeovers, next events, an order."""

    trend: StopTrend | None
    clusters: tuple[Cluster, ...]
    efficiency: Efficiency
    flavours: pl.DataFrame
    bases: pl.DataFrame
    order: FlavourOrder | None
    events: tuple[NextEvent, ...]
    legs: pl.DataFrame
    maintenance_pieces: float | None


def study_shift(
    plant: Plant,
    measures: ShiftMeasures,
    end: datetime,
    now: datetime,
    *,
    batches: pl.DataFrame,
    reels: pl.DataFrame,
    plan: pl.DataFrame,
) -> ShiftStudy:
    """Study a measured shift."""
    machine, account = measures.machine, measures.so_far
    clock = run_clock(measures.timeline)
    reel_changes = reels.filter(pl.col("machine") == machine.id)["at"].drop_nulls()
    nobody = pl.col("before", "after").fill_null(UNKNOWN)
    changes = measures.changeovers.with_columns(nobody)
    by_flavour = changeover_matrix(changes, lambda name: _of(plant, name, base=False))
    within = changes.filter(pl.col("start").is_between(*_reach(measures.timeline), closed="left"))
    flavours = changeover_matrix(within, lambda name: _of(plant, name, base=False))
    bases = changeover_matrix(within, lambda name: _of(plant, name, base=True))
    operating = account.planned_min - account.minutes["changeover"] - account.unseen_min
    good = None if account.has_open_rejects else time_elements(account).good
    return ShiftStudy(
        stop_trend(clock),
        stop_clusters(clock, reel_changes),
        Efficiency(good, account.nominal_per_min, operating, outside_minutes(measures.timeline)),
        flavours,
        bases,
        _order(plant, machine.line, plan, batches, by_flavour, now, end),
        _events(plant, measures, end, now, reels, batches),
        speed_segments(measures.steps.filter(pl.col("state").is_in(["running", "slow"]))),
        _in_maintenance(measures),
    )


def _reach(timeline: pl.DataFrame) -> tuple[pl.Expr, pl.Expr]:
    """Start and end of a timeline; changeovers that begin between them belong to the period."""
    start, end = timeline["start"], timeline["end"]
    return pl.lit(start.min(), start.dtype), pl.lit(end.max(), end.dtype)


def _in_maintenance(measures: ShiftMeasures) -> float | None:
    """The pieces counted while the machine's state said maintenance; None where it never did."""
    aside, timeline = measures.counts.aside, measures.timeline
    increments = aside.get("pieces", aside.get("good pieces"))
    if increments is None or not timeline.height or not measures.counts.spells.only(*SET_ASIDE).has_rows:
        return None
    inside = (pl.col("start") < timeline["end"].max()) & (pl.col("end") > timeline["start"].min())
    return float(increments.filter(inside)["n"].sum())


def _of(plant: Plant, name: str, *, base: bool) -> str:
    if name == UNKNOWN:
        return name
    product = plant.product(name)
    if product is None:
        return "" if base else name
    return product.base if base else product.id


def _order(
    plant: Plant,
    line: str,
    plan: pl.DataFrame,
    batches: pl.DataFrame,
    flavours: pl.DataFrame,
    now: datetime,
    end: datetime,
) -> FlavourOrder | None:
    """The cheapest order of the products still planned, from the one that runs now on."""
    rows = plan.filter((pl.col("line") == line) & (pl.col("start") < end) & (pl.col("end").fill_null(end) > now)).sort(
        "start"
    )
    ran = batches.filter((pl.col("line") == line) & (pl.col("start") <= now)).sort("start")
    runs = plant.product(ran["product"].to_list()[-1] or "") if ran.height else None
    by_id: dict[str, Product] = {runs.id: runs} if runs is not None else {}
    for name in rows["product"].to_list():
        product = plant.product(name or "")
        if product is not None:
            by_id.setdefault(product.id, product)
    if not 3 <= len(by_id) <= MOST_PRODUCTS:
        return None
    products = list(by_id.values())
    minutes = expected_minutes(products, flavours, usual_min=USUAL_CHANGEOVER_MIN)
    return cheapest_order(products, minutes, first=runs.id if runs is not None else None)


def _events(
    plant: Plant, measures: ShiftMeasures, end: datetime, now: datetime, reels: pl.DataFrame, batches: pl.DataFrame
) -> tuple[NextEvent, ...]:
    account = measures.so_far
    seen_min = account.planned_min - account.unseen_min
    if measures.left_min <= 1e-6 or account.run_min <= 0 or seen_min <= 0:
        return ()
    pieces = account.state_pieces["running"] + account.state_pieces["slow"]
    stretches_ahead = calendar(plant.shifts, plant.zone, now, end)
    stretches_ahead = stretches_ahead if stretches_ahead.height else calendar((), plant.zone, now, end)
    to_come = stretches_ahead.filter(pl.col("part") == "planned").select("start", "end").rows()
    pace = Pace(pieces / seen_min, pieces / account.run_min, measures.rest_of_shift, to_come)
    events = reel_ends(plant, measures.counts, reels, now, pace)
    return tuple(events + batch_end(plant, measures.counts, batches, now, pace))
