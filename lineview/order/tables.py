"""The order's tables and series (order book, fan, deliveries), and the sheet that goes to the supplier."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import polars as pl

from lineview.core.frames import UTC_US
from lineview.core.language import mark, tr, tr_count
from lineview.core.units import in_units
from lineview.order.demand import Demand
from lineview.order.orders import OrderLine, line_fan
from lineview.order.policy import price_at
from lineview.order.reels_needed import ReelsNeeded
from lineview.order.supplier_orders import SheetRow, SupplierOrder
from lineview.plant import Plant, Web
from lineview.report import show
from lineview.report.answer import Answer, Span, Table, columns_of

FAN = {
    "web": pl.String(),
    "week": pl.Float64(),
    "at": UTC_US,
    "low90": pl.Float64(),
    "low50": pl.Float64(),
    "mid": pl.Float64(),
    "high50": pl.Float64(),
    "high90": pl.Float64(),
}
DELIVERIES = {"web": pl.String(), "at": UTC_US, "reels": pl.Float64(), "kind": pl.String()}


def order_table(lines: Sequence[OrderLine], plant: Plant) -> Table:
    """The order book, the most urgent first."""
    rows: list[dict[str, Any]] = []
    for line in lines:
        advice, supply, web = line.advice, line.supply, line.web
        due = line.order_by is not None and advice is not None
        reels = advice.reels if advice is not None and due else None
        price = None if reels is None else price_at(web, reels)
        rows.append(
            {
                "web": web.label,
                "supplier": web.supplier,
                "on_hand": None if supply is None else supply.on_hand,
                "on_order": None if supply is None else sum(r for _, r in supply.coming),
                "use": line.week_reels,
                "reorder": line.reorder_reels,
                "order": reels,
                "by": day_of(line.order_by, plant),
                "arrives": day_of(line.arrives, plant),
                "before_open": None if line.open_risk is None else round(100 * line.open_risk[0], 1),
                "chance": None if advice is None else round(100 * advice.chance, 1),
                "chance_week_later": None if advice is None else round(100 * advice.chance_week_later, 1),
                "money": None if price is None or reels is None else reels * price,
                "declared": web.food_contact_declared_on or None,
                "why": line.why_none,
            }
        )
    columns = columns_of(
        "web; supplier; on_hand: on hand [reels]; on_order: on order [reels]; use: use per week [reels]; "
        "reorder: reorder point [reels]; order [reels]; by; arrives: expected; "
        "before_open: risk before the open delivery [%]; chance: risk after ordering [%]; "
        "chance_week_later: risk if ordered a week later [%]; money: total [currency]; "
        "declared: food contact declared on; why: no advice because",
        currency=plant.currency,
    )
    filled_columns = [c for c in columns if c[0] not in ("declared", "why") or any(row[c[0]] for row in rows)]
    return Table("order", tr("What to order by when"), filled_columns, rows, to_hundredths=("money",))


def day_of(at: datetime | None, plant: Plant) -> date | None:
    """A moment's day; its hour has no meaning."""
    return None if at is None else at.astimezone(plant.tz).date()


def demand_table(demand: Demand, plant: Plant, weeks: int = 4) -> Table:
    """The good pieces of each product in the coming weeks, as a distribution."""
    rows: list[dict[str, Any]] = []
    for name, need in demand.by_product.items():
        product = plant.product(name)
        for k, start in enumerate(demand.weeks[:weeks]):
            week = need.week(k)
            rows.append(
                {
                    "product": name if product is None else product.flavour,
                    "week": start,
                    "pieces": float(week.mean(7.0)),
                    "low": float(week.quantile(7.0, 0.05)),
                    "high": float(week.quantile(7.0, 0.95)),
                }
            )
    columns = columns_of(
        "product; week: week from; pieces: good pieces expected [pieces]; low: 1 week in 20 below [pieces]; "
        "high: 1 week in 20 above [pieces]"
    )
    return Table("demand", tr("Good pieces in the coming weeks"), columns, rows)


def reels_table(needed: Sequence[tuple[ReelsNeeded, str]]) -> Table:
    """The reels of each web for a number of pieces, fixed and proportional waste apart."""
    rows = [
        {"web": reels.web, "basis": basis, "pieces": reels.pieces, "net": reels.net_m}
        | {"proportional": reels.proportional_m, "fixed": reels.fixed_m, "gross": reels.gross_m, "reel": reels.reel_m}
        | {"reels": reels.reels, "order": reels.order, "working": reels.working}
        for reels, basis in needed
    ]
    columns = columns_of(
        "web; basis: for; pieces: good pieces [pieces]; net [m]; proportional: waste in proportion [m]; "
        "fixed: fixed waste [m]; gross: total [m]; reel: reel length [m]; reels: whole reels [reels]; "
        "order: raised to minimum and multiple [reels]; working"
    )
    return Table("reels for pieces", tr("Reels for a number of pieces"), columns, rows)


def fan_series(lines: Sequence[OrderLine], now: datetime) -> pl.DataFrame:
    """The reels on hand of each counted web over the coming weeks, as a fan."""
    frames = [
        pl.DataFrame({**line_fan(line, line.supply, now)}, schema_overrides={"at": UTC_US}).with_columns(
            web=pl.lit(line.web.label)
        )
        for line in lines
        if line.supply is not None
    ]
    if not frames:
        return pl.DataFrame(schema=FAN)
    return pl.concat(frames).select([pl.col(name).cast(kind) for name, kind in FAN.items()])


def delivery_series(lines: Sequence[OrderLine]) -> pl.DataFrame:
    """The open deliveries, the advised ones and the days to order by."""
    rows: list[tuple[str, datetime | None, float, str]] = []
    for line in lines:
        name = line.web.label
        if line.on_hand is not None:
            rows += [(name, d.at, d.reels, "on order") for d in line.on_hand.deliveries if d.at is not None]
        if line.advice is not None and line.order_by is not None:
            rows.append((name, line.order_by, float(line.advice.reels), "order by"))
            rows.append((name, line.arrives, float(line.advice.reels), "advised"))
    return pl.DataFrame(rows, schema=DELIVERIES, orient="row")


def sheet_table(orders: Sequence[SupplierOrder], plant: Plant) -> Table:
    """The order sheet: the rows of each supplier's order, its freight, then its total."""
    rows: list[dict[str, Any]] = []
    for order in orders:
        blank = dict.fromkeys(("reels", "price", "money", "pallets"))
        common = {"supplier": order.supplier or mark("no supplier in plant.toml"), "by": day_of(order.order_by, plant)}
        for row in order.rows:
            reels = {"web": row.web.label, "reels": row.reels, "price": row.price}
            row_of_web = reels | {"money": row.money, "pallets": row.pallets, "why": why_so_many(row, plant)}
            rows.append(common | row_of_web)
        freight = {"web": mark("freight"), "money": order.freight, "why": _freight_words(order)}
        rows.append(common | blank | freight)
        total = {"reels": order.reels, "pallets": order.pallets, "why": _total_words(order)}
        if order.freight is None:
            rows.append(common | blank | total | {"web": mark("total without freight"), "money": order.money})
        else:
            rows.append(common | blank | total | {"web": mark("total"), "money": order.to_pay})
    columns = columns_of(
        "supplier; by: order by; web; reels [reels]; price: price per reel [currency]; "
        "money: total [currency]; pallets; why: reason for the quantity",
        currency=plant.currency,
    )
    return Table("order sheet", tr("Order sheet by supplier"), columns, rows, to_hundredths=("price", "money"))


def why_so_many(row: SheetRow, plant: Plant) -> str:
    """Say how a row's reels come about: what is wanted, minimum and multiple, full pallets, price break."""
    web, parts = row.web, [row.basis] if row.basis else []
    if row.rounded - row.exact_reels >= 1.0:
        least = tr("the minimum of {reels}", reels=web.minimum_reels) if row.rounded == web.minimum_reels else ""
        step = tr("a multiple of {reels}", reels=web.multiple_reels) if web.multiple_reels > 1 else ""
        parts.append(tr("raised to {reels}, {reason}", reels=row.rounded, reason=least or step or tr("whole reels")))
    if row.reels > row.rounded:
        effect = tr("fills the last pallet")
        if row.pallets is not None and abs(row.pallets - round(row.pallets)) < 1e-6:
            effect = tr("fills {pallets:.0f} pallets", pallets=row.pallets)
        parts.append(
            tr("{enough} would be enough; {reels} {filled}", enough=row.rounded, reels=row.reels, filled=effect)
        )
    if row.break_from is not None and row.price is not None:
        text = mark("{price:,.2f} {currency} a reel from {reels} reels on")
        parts.append(tr(text, price=row.price, currency=plant.currency, reels=row.break_from))
    if web.over_delivery_percent:
        most = tr("up to {reels:g} reels may come and be charged", reels=row.most_reels)
        parts.append(most if row.most_money is None else f"{most}, {show.number(row.most_money, 2)} {plant.currency}")
    return show.capital("; ".join(parts))


def _freight_words(order: SupplierOrder) -> str:
    if order.freight is None:
        return tr("No freight_per_order in plant.toml")
    return tr("Once for the whole order") if len(order.rows) > 1 else ""


def _total_words(order: SupplierOrder) -> str:
    if order.money is None:
        missing = [row.web.label for row in order.rows if row.price is None]
        return tr("No price in plant.toml for {webs}", webs=", ".join(missing))
    return ""


CAUTION = mark(
    "Wrap that touches food has to be approved for it: please send the declaration of "
    "compliance of each web with the delivery."
)


def suppliers_due(answer: Answer, plant: Plant) -> list[str]:
    """The suppliers of what is to be ordered, by urgency.

    Parameters
    ----------
    answer : Answer
        Of the order.
    plant : Plant
        Its webs name their suppliers; webs without one are left out.
    """
    return list(dict.fromkeys(web.supplier for web, _ in _orders_to_suppliers(answer, plant)))


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
    rows = [(web, row) for web, row in _orders_to_suppliers(answer, plant) if web.supplier == supplier]
    first = min((row["by"] for _, row in rows), default=None)
    arrival_days = _arrival_days(answer, plant)
    order_rows = [
        {
            "web": row["web"],
            "about": _description(web, plant),
            "reels": row["reels"],
            "wanted": arrival_days.get(row["web"]),
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
    filled_columns = [column for column in columns if any(row[column[0]] is not None for row in order_rows)]
    reels = sum(row["reels"] for row in order_rows)
    webs = tr_count("{count} web", "{count:,} webs", len(order_rows))
    words = tr_count(
        "Order to {supplier}: {count} reel in {webs}.",
        "Order to {supplier}: {count:,} reels in {webs}.",
        reels,
        supplier=supplier,
        webs=webs,
    )
    day = show.a_day(answer.scope.now.astimezone(plant.tz).date(), plant, year=True)
    return Answer(
        question="order",
        scope=replace(answer.scope, line="", machine="", label=tr("to {supplier}, {day}", supplier=supplier, day=day)),
        sentence=(Span(words),),
        soft=tr("Please confirm quantities, prices and the day of delivery."),
        tables=(Table("supplier order", tr("To deliver"), filled_columns, order_rows, ("price", "money")),),
        cautions=(tr(CAUTION),),
    )


def _orders_to_suppliers(answer: Answer, plant: Plant) -> list[tuple[Web, Mapping[str, Any]]]:
    """The rows of the order sheet that order a web of a named supplier; freight and totals are not among them."""
    webs = {web.label: web for web in plant.webs if web.supplier}
    sheet = next((table for table in answer.tables if table.name == "order sheet"), None)
    rows = () if sheet is None else sheet.rows
    return [(webs[row["web"]], row) for row in rows if row["web"] in webs and row["reels"]]


def _arrival_days(answer: Answer, plant: Plant) -> dict[str, date | None]:
    """By web the day on which what is advised would come."""
    deliveries = answer.series.get("deliveries", pl.DataFrame())
    if not deliveries.height:
        return {}
    arrivals = deliveries.filter((pl.col("kind") == "advised") & pl.col("at").is_not_null())
    return {row["web"]: day_of(row["at"], plant) for row in arrivals.iter_rows(named=True)}


def _description(web: Web, plant: Plant) -> str:
    """Width, grammage and reel, as far as plant.toml has them."""
    parts = []
    sizes = (
        (mark("{size} wide"), web.width_mm),
        (mark("reel {size} outer"), web.reel_outer_mm),
        (mark("core {size}"), web.reel_core_mm),
    )
    for words, size_mm in sizes:
        if size_mm:
            size, unit = in_units(size_mm, "mm", plant.units)
            parts.append(tr(words, size=f"{show.number(size)} {unit}"))
    if web.grammage_g_m2:
        parts.append(tr("{grammage:g} g/m²", grammage=web.grammage_g_m2))
    if web.reel_length_m:
        length, unit = in_units(web.reel_length_m, "m", plant.units)
        parts.append(tr("{length} {unit} a reel", length=show.number(length), unit=unit))
    return ", ".join([tr(web.kind), *parts])
