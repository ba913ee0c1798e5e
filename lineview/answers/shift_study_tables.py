"""Tables of what lies behind a shift's stops: changeovers from flavour to flavour, and an order as advice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from lineview.answers.answer import Table
from lineview.measures.next_events import NextEvent
from lineview.measures.shift_study import ShiftStudy
from lineview.plant import Plant

_MATRIX = (
    ("before", "from", ""),
    ("after", "to", ""),
    ("count", "times", ""),
    ("median_min", "median", "min"),
    ("shortest_min", "shortest", "min"),
    ("longest_min", "longest", "min"),
)


def study_tables(study: ShiftStudy, plant: Plant) -> tuple[Table, ...]:
    """Give the tables behind a shift, those with rows only.

    Parameters
    ----------
    study : ShiftStudy
        Of the period.
    plant : Plant
        For the products' names.

    Returns
    -------
    tuple of Table
        Changeovers by flavour and by base, and the order that would cost least.
    """
    tables = [
        Table("changeovers", "Changeovers from flavour to flavour", _MATRIX, _named(study.flavours, plant)),
        Table(
            "bases",
            "Changeovers from base to base",
            _MATRIX,
            study.bases.filter((pl.col("before") != "") & (pl.col("after") != "")).rows(named=True),
        ),
        *_order(study, plant),
    ]
    return tuple(table for table in tables if table.rows)


def _flavour(plant: Plant, name: str) -> str:
    product = plant.product(name)
    return product.flavour if product else name


def _named(frame: pl.DataFrame, plant: Plant) -> list[dict[str, Any]]:
    return [
        row | {side: _flavour(plant, row[side]) for side in ("before", "after")}
        for row in frame.iter_rows(named=True)
    ]


def _order(study: ShiftStudy, plant: Plant) -> list[Table]:
    if study.order is None:
        return []
    rows = []
    for k, name in enumerate(study.order.products, start=1):
        product = plant.product(name)
        allergens = ", ".join(product.allergens) if product else ""
        rows.append({"place": k, "product": _flavour(plant, name), "allergens": allergens})
    columns = (("place", "", ""), ("product", "flavour", ""), ("allergens", "allergens", ""))
    saved = study.order.as_given_min - study.order.minutes
    title = f"Advice: this order of flavours would take {study.order.minutes:.0f} min of changeovers"
    if saved >= 0.5:
        title += f", {saved:.0f} less than as planned"
    if study.order.clean_downs:
        title += f", and needs {study.order.clean_downs} validated clean-down"
        title += "s" if study.order.clean_downs > 1 else ""
    above = study.order.above_percent
    if above is None:
        title += "; the best found in the time, perhaps not the least"
    elif above > 0:
        title += f"; the best found in the time, at most {max(above, 0.1):.1f} % above the least"
    return [Table("order", title, columns, rows)]


def event_rows(events: Sequence[NextEvent]) -> list[dict[str, Any]]:
    """Give the rows of what comes next.

    Parameters
    ----------
    events : sequence of NextEvent
        Reel and batch ends.

    Returns
    -------
    list of dict
        One an event, the soonest first, those that cannot be told last.
    """
    known = sorted((e for e in events if e.at is not None), key=lambda e: (e.at is None, e.at))
    rest = [e for e in events if e.at is None]
    return [
        {"event": e.event, "at": e.at, "earliest": e.earliest, "latest": e.latest, "why": e.why}
        for e in (*known, *rest)
    ]
