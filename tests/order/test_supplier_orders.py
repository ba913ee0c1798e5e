"""The order sheet: every web that is due by the day of the last supplier's first order is on it."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from lineview.order.orders import OrderLine
from lineview.order.policy import Advice
from lineview.order.supplier_orders import supplier_orders
from lineview.plant import Plant, Web
from lineview.report.answer import Table, columns_of
from lineview.report.tables import table_text

DAY = datetime(2026, 8, 7, 8, tzinfo=UTC)


def line(name: str, supplier: str, days: float | None) -> OrderLine:
    web = Web(
        id=name, kind="film", cut_length_mm=56, width_mm=76, reel_outer_mm=300, reel_core_mm=76, supplier=supplier
    )
    advice = None if days is None else Advice(days, 12, 0.01, 0.1, 0.0, 25.0, 3.0, 2.0)
    at = None if days is None else DAY + timedelta(days=days)
    nothing: Any = None
    return OrderLine(web, nothing, "plan", 2875.0, None, None, advice, "", at, None)


def test_a_later_order_to_a_supplier_of_an_earlier_one_is_on_the_sheet_too() -> None:
    lines = [line("peppermint", "A", 0), line("vanilla", "A", 40), line("wax", "B", 40), line("lime", "A", 61)]
    orders = supplier_orders([*lines, line("nothing", "B", None)])
    assert [(order.supplier, order.order_by, [row.web.id for row in order.rows]) for order in orders] == [
        ("A", DAY, ["peppermint"]),
        ("A", DAY + timedelta(days=40), ["vanilla"]),
        ("B", DAY + timedelta(days=40), ["wax"]),
    ]


def test_what_is_due_soon_after_goes_with_the_first() -> None:
    orders = supplier_orders([line("lime", "A", 3), line("peppermint", "A", 0), line("wax", "A", 9)], together_days=5)
    assert [[row.web.id for row in order.rows] for order in orders] == [["peppermint", "lime"]]


@pytest.mark.parametrize(
    ("price", "reels", "shown"),
    [(112.35, 672, ["112.35", "75,499.20"]), (8.9, 672, ["8.90", "5,980.80"]), (34.0, 40, ["34", "1,360"])],
)
def test_what_a_supplier_charges_is_written_to_the_cent(price: float, reels: int, shown: list[str]) -> None:
    columns = columns_of("web; price [EUR]; money: total [EUR]")
    rows = [{"web": "wax", "price": price, "money": price * reels}]
    table = Table("supplier order", "To deliver", columns, rows, to_hundredths=("price", "money"))
    assert table_text(table, Plant(shop="Invented")).rows[0][1:] == shown
