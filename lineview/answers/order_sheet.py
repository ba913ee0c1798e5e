"""The order sheet that the buyer sends: each supplier's rows, freight and total, each with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lineview.answers.answer import Table
from lineview.answers.order_tables import day_of
from lineview.plant import Plant
from lineview.stock.supplier_orders import SheetRow, SupplierOrder


def sheet_table(orders: Sequence[SupplierOrder], plant: Plant) -> Table:
    """Give the order sheet: the rows of each supplier's order, its freight, then its total.

    Parameters
    ----------
    orders : sequence of SupplierOrder
        The earliest first.
    plant : Plant
        Its currency and zone.

    Returns
    -------
    Table
        A row that cannot be told has no figure and its reason, and so has the total then.
    """
    rows: list[dict[str, Any]] = []
    for order in orders:
        blank = dict.fromkeys(("reels", "price", "money", "pallets"))
        shared = {
            "supplier": order.supplier or "no supplier in plant.toml",
            "by": day_of(order.order_by, plant),
        }
        for row in order.rows:
            one = {"web": row.web.name or row.web.id, "reels": row.reels, "price": row.price}
            told = one | {"money": row.money, "pallets": row.pallets, "why": why_so_many(row, plant)}
            rows.append(shared | told)
        freight = {"web": "freight", "money": order.freight, "why": _freight_words(order)}
        rows.append(shared | blank | freight)
        total = {"reels": order.reels, "pallets": order.pallets, "why": _total_words(order)}
        if order.freight is None:
            rows.append(shared | blank | total | {"web": "total without freight", "money": order.money})
        else:
            rows.append(shared | blank | total | {"web": "total", "money": order.to_pay})
    columns = (
        ("supplier", "supplier", ""),
        ("by", "order by", ""),
        ("web", "web", ""),
        ("reels", "reels", "reels"),
        ("price", "a reel", plant.currency),
        ("money", "costs", plant.currency),
        ("pallets", "pallets", ""),
        ("why", "why so many", ""),
    )
    return Table("order sheet", "Order sheet by supplier", columns, rows)


def why_so_many(row: SheetRow, plant: Plant) -> str:
    """Say how a row's reels come about: what is wanted, minimum and multiple, full pallets, price break.

    Parameters
    ----------
    row : SheetRow
        Of a supplier's order.
    plant : Plant
        Its currency.
    """
    web, parts = row.web, [row.basis] if row.basis else []
    if row.rounded - row.wanted >= 1.0:
        least = f"the minimum of {web.minimum_reels}" if row.rounded == web.minimum_reels else ""
        step = f"a multiple of {web.multiple_reels}" if web.multiple_reels > 1 else ""
        parts.append(f"raised to {row.rounded}, {least or step or 'whole reels'}")
    if row.reels > row.rounded:
        filled = "fills the last pallet"
        if row.pallets is not None and abs(row.pallets - round(row.pallets)) < 1e-6:
            filled = f"fills {row.pallets:.0f} pallets"
        parts.append(f"{row.rounded} would do; {row.reels} {filled}")
    if row.break_from is not None and row.price is not None:
        parts.append(f"{row.price:g} {plant.currency} a reel from {row.break_from} reels on")
    if web.over_delivery_percent:
        most = f"up to {row.most_reels:g} reels may come and be charged"
        parts.append(most if row.most_money is None else f"{most}, {row.most_money:,.2f} {plant.currency}")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:]


def _freight_words(order: SupplierOrder) -> str:
    if order.freight is None:
        return "No freight_per_order in plant.toml"
    return "Once for the whole order" if len(order.rows) > 1 else ""


def _total_words(order: SupplierOrder) -> str:
    if order.money is None:
        missing = [row.web.name or row.web.id for row in order.rows if row.price is None]
        return f"No price in plant.toml for {', '.join(missing)}"
    return ""
