"""What lies behind a shift's stops: trend, clusters, efficiency, changeovers, what comes next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import polars as pl

from lineview.measures.changeover_matrix import changeover_matrix
from lineview.measures.clock import calendar
from lineview.measures.efficiency import Efficiency, outside_minutes
from lineview.measures.flavour_order import MOST_PRODUCTS, FlavourOrder, cheapest_order, expected_minutes
from lineview.measures.key_figures import time_elements
from lineview.measures.next_events import NextEvent, Pace, batch_end, reel_ends
from lineview.measures.pace import run_stop_cycles
from lineview.measures.run_clock import run_clock
from lineview.measures.shift_measures import ShiftMeasures
from lineview.measures.speed_legs import speed_legs
from lineview.measures.state_codes import SET_ASIDE
from lineview.measures.stop_clusters import Cluster, stop_clusters
from lineview.measures.stop_trend import StopTrend, stop_trend
from lineview.plant import Plant, Product

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
    measured: ShiftMeasures,
    end: datetime,
    now: datetime,
    *,
    batches: pl.DataFrame,
    reels: pl.DataFrame,
    plan: pl.DataFrame,
) -> ShiftStudy:
    """Study a measured shift.

    Parameters
    ----------
    plant : Plant
        Products, webs, shifts.
    measured : ShiftMeasures
        Of the period.
    end : datetime
        Of the period [UTC].
    now : datetime
        Latest moment known [UTC].
    batches, reels, plan : polars.DataFrame
        BATCHES, REELS, PLAN.

    Returns
    -------
    ShiftStudy
        Parts that cannot be told are None or empty.
    """
    machine, account = measured.machine, measured.so_far
    clock = run_clock(measured.tape)
    changed = reels.filter(pl.col("machine") == machine.id)["at"].drop_nulls()
    nobody = pl.col("before", "after").fill_null(UNKNOWN)
    changes = measured.changeovers.with_columns(nobody)
    seen = changeover_matrix(changes, lambda name: _of(plant, name, base=False))
    own = changes.filter(pl.col("start").is_between(*_reach(measured.tape), closed="left"))
    flavours = changeover_matrix(own, lambda name: _of(plant, name, base=False))
    bases = changeover_matrix(own, lambda name: _of(plant, name, base=True))
    operating = account.planned_min - account.minutes["changeover"] - account.unseen_min
    good = time_elements(account).good
    return ShiftStudy(
        stop_trend(clock),
        stop_clusters(clock, changed),
        Efficiency(good, account.nominal_per_min, operating, outside_minutes(measured.tape)),
        flavours,
        bases,
        _order(plant, machine.line, plan, batches, seen, now, end),
        _events(plant, measured, end, now, reels, batches),
        speed_legs(measured.steps.filter(pl.col("state").is_in(["running", "slow"]))),
        _in_maintenance(measured),
    )


def _reach(tape: pl.DataFrame) -> tuple[pl.Expr, pl.Expr]:
    """Give start and end of a tape; the changeovers that begin between them are the period's own."""
    return pl.lit(tape["start"].min(), tape.schema["start"]), pl.lit(tape["end"].max(), tape.schema["end"])


def _in_maintenance(measured: ShiftMeasures) -> float | None:
    """Give the pieces counted while the machine's state said maintenance; None where it never did."""
    aside, tape = measured.counts.aside, measured.tape
    taken = aside.get("pieces", aside.get("good pieces"))
    if taken is None or not tape.height or not measured.counts.spells.only(*SET_ASIDE).any:
        return None
    inside = (pl.col("start") < tape["end"].max()) & (pl.col("end") > tape["start"].min())
    return float(taken.filter(inside)["n"].sum())


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
    """Give the cheapest order of the products still planned, from the one that runs now on."""
    rows = plan.filter(
        (pl.col("line") == line) & (pl.col("start") < end) & (pl.col("end").fill_null(end) > now)
    ).sort("start")
    ran = batches.filter((pl.col("line") == line) & (pl.col("start") <= now)).sort("start")
    runs = plant.product(ran["product"].to_list()[-1] or "") if ran.height else None
    found: dict[str, Product] = {runs.id: runs} if runs is not None else {}
    for name in rows["product"].to_list():
        product = plant.product(name or "")
        if product is not None:
            found.setdefault(product.id, product)
    if not 3 <= len(found) <= MOST_PRODUCTS:
        return None
    products = list(found.values())
    minutes = expected_minutes(products, flavours, usual_min=USUAL_CHANGEOVER_MIN)
    return cheapest_order(products, minutes, first=runs.id if runs is not None else None)


def _events(
    plant: Plant,
    measured: ShiftMeasures,
    end: datetime,
    now: datetime,
    reels: pl.DataFrame,
    batches: pl.DataFrame,
) -> tuple[NextEvent, ...]:
    account = measured.so_far
    seen_min = account.planned_min - account.unseen_min
    if measured.left_min <= 1e-6 or account.run_min <= 0 or seen_min <= 0:
        return ()
    made = account.made["running"] + account.made["slow"]
    rest = calendar(plant.shifts, plant.zone, now, end)
    rest = rest if rest.height else calendar((), plant.zone, now, end)
    to_come = rest.filter(pl.col("part") == "planned").select("start", "end").rows()
    pace = Pace(made / seen_min, made / account.run_min, run_stop_cycles(measured.tape), to_come)
    events = reel_ends(plant, measured.counts, reels, now, pace)
    return tuple(events + batch_end(plant, measured.counts, batches, now, pace))
