"""The order as a supplier gets it: what to deliver by when, and nothing of the works' own figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import polars as pl

from lineview.core.units import in_units
from lineview.order.tables import day_of
from lineview.plant import Plant, Web
from lineview.report import show
from lineview.report.answer import Answer, Span, Table, columns_of

CAUTION = (
    "Wrap that touches food has to be approved for it: please send the declaration of compliance of each web with "
    "the delivery."
)


def suppliers_due(answer: Answer, plant: Plant) -> list[str]:
    """The suppliers of what is to be ordered, by urgency.

    Parameters
    ----------
    answer : Answer
        Of the order.
    plant : Plant
        Its webs name their suppliers; webs without one are sent to nobody.
    """
    return list(dict.fromkeys(web.supplier for web, _ in _ordered(answer, plant)))


def supplier_sheet(answer: Answer, supplier: str, plant: Plant) -> Answer:
    """The part of an order that one supplier may see.

    Parameters
    ----------
    answer : Answer
        Of the order.
    supplier : str
        Of `suppliers_due`.
    plant : Plant
        What describes each web to its supplier.

    Returns
    -------
    Answer
        Of the supplier's first order: webs, their description, reels, the day they are wanted on, and the price
        that was agreed. It has no stock, use, risk, reason, freight, working, picture or other supplier.
    """
    rows = [(web, row) for web, row in _ordered(answer, plant) if web.supplier == supplier]
    first = min((row["by"] for _, row in rows), default=None)
    wanted = _wanted(answer, plant)
    shown = [
        {
            "web": row["web"],
            "about": _description(web, plant),
            "reels": row["reels"],
            "wanted": wanted.get(row["web"]),
            "price": row["price"],
            "money": row["money"],
        }
        for web, row in rows
        if row["by"] == first
    ]
    columns = columns_of(
        "web; about: description; reels [reels]; wanted: wanted on; price: price per reel [currency]; "
        "money: total [currency]",
        currency=plant.currency,
    )
    kept = [column for column in columns if any(row[column[0]] is not None for row in shown)]
    reels = show.counted(sum(row["reels"] for row in shown), "reel")
    words = f"Order to {supplier}: {reels} in {show.counted(len(shown), 'web')}."
    day = show.a_day(answer.scope.now.astimezone(plant.tz).date(), plant, year=True)
    return Answer(
        question="order",
        scope=replace(answer.scope, line="", machine="", label=f"to {supplier}, {day}"),
        sentence=(Span(words),),
        soft="Please confirm quantities, prices and the day of delivery.",
        tables=(Table("supplier order", "To deliver", kept, shown, charged=("price", "money")),),
        cautions=(CAUTION,),
    )


def _ordered(answer: Answer, plant: Plant) -> list[tuple[Web, Mapping[str, Any]]]:
    """The rows of the order sheet that order a web of a named supplier; freight and totals are not among them."""
    webs = {web.name or web.id: web for web in plant.webs if web.supplier}
    sheet = next((table for table in answer.tables if table.name == "order sheet"), None)
    rows = () if sheet is None else sheet.rows
    return [(webs[row["web"]], row) for row in rows if row["web"] in webs and row["reels"]]


def _wanted(answer: Answer, plant: Plant) -> dict[str, date | None]:
    """By web the day on which what is advised would come."""
    deliveries = answer.series.get("deliveries", pl.DataFrame())
    if not deliveries.height:
        return {}
    advised = deliveries.filter((pl.col("kind") == "advised") & pl.col("at").is_not_null())
    return {row["web"]: day_of(row["at"], plant) for row in advised.iter_rows(named=True)}


def _description(web: Web, plant: Plant) -> str:
    """Width, weight by area and reel, as far as plant.toml says them."""
    parts = []
    sizes = (("", web.width_mm, " wide"), ("reel ", web.reel_outer_mm, " outer"), ("core ", web.reel_core_mm, ""))
    for before, size_mm, after in sizes:
        if size_mm:
            size, unit = in_units(size_mm, "mm", plant.units)
            parts.append(f"{before}{show.number(size)} {unit}{after}")
    if web.grammage_g_m2:
        parts.append(f"{web.grammage_g_m2:g} g/m²")
    if web.reel_length_m:
        length, unit = in_units(web.reel_length_m, "m", plant.units)
        parts.append(f"{show.number(length)} {unit} a reel")
    return ", ".join([web.kind, *parts])
