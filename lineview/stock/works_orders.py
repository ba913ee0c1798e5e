"""The order lines of all webs of the works, the most urgent first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from lineview.measures.reel_length import full_reel_m
from lineview.plant import Plant, Web
from lineview.stock.demand import Demand
from lineview.stock.on_hand import OnHand, on_hand
from lineview.stock.order_lines import RISK, OrderLine, order_line

_FAR = timedelta(days=36_500)


@dataclass(frozen=True)
class Counts:
    """The latest stock count of every web that has one, by web id."""

    by_web: Mapping[str, OnHand]


def latest_counts(plant: Plant, stock: pl.DataFrame) -> Counts:
    """Read the latest count of every web.

    Parameters
    ----------
    plant : Plant
        For the webs and how people call them.
    stock : polars.DataFrame
        STOCK.

    Returns
    -------
    Counts
        A web may be called by its id, its name, or its kind where it is the only one of it.
    """
    found = {}
    for web in plant.webs:
        counted = on_hand(web, stock, names_of(plant, web), plant.zone)
        if counted is not None:
            found[web.id] = counted
    return Counts(found)


def names_of(plant: Plant, web: Web) -> list[str]:
    """Give the names that a log may use for a web.

    Parameters
    ----------
    plant : Plant
        The works.
    web : Web
        Of the plant description.
    """
    alone = sum(other.kind == web.kind for other in plant.webs) == 1
    return [name for name in (web.id, web.name, web.kind if alone else "") if name]


def order_lines(
    plant: Plant,
    demand: Demand,
    counts: Counts,
    used_since_m: Mapping[str, float],
    now: datetime,
    *,
    risk: float = RISK,
) -> list[OrderLine]:
    """Advise on every web that has a need.

    Parameters
    ----------
    plant : Plant
        For the webs.
    demand : Demand
        What the coming weeks need.
    counts : Counts
        Latest stock counts.
    used_since_m : mapping
        Metres used since its count, by web id [m].
    now : datetime
        Latest moment known [UTC].
    risk : float
        Chance of running out before a delivery that is accepted.

    Returns
    -------
    list of OrderLine
        The earliest order first; webs without a day last.
    """
    lines = []
    for web in plant.webs:
        reel_m, need = full_reel_m(web), demand.by_web.get(web.id)
        if reel_m is None or need is None:
            continue
        lines.append(
            order_line(
                web,
                need,
                demand.basis[web.id],
                reel_m,
                counts.by_web.get(web.id),
                used_since_m.get(web.id, 0.0),
                now,
                risk=risk,
            )
        )
    return sorted(lines, key=lambda line: (line.order_by or now + _FAR, -line.week_reels))
