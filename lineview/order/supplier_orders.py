"""A whole order to one supplier, planned together: one freight, pallets filled."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from lineview.order.orders import OrderLine
from lineview.order.policy import price_at
from lineview.plant import WEEK, Web

#: What is due within so many days of a supplier's first line goes with it.
TOGETHER_DAYS = 7.0
_NEVER = datetime.max.replace(tzinfo=UTC)
#: A last pallet filled at least this far is filled up.
PALLET_SHARE = 0.5


@dataclass(frozen=True)
class SheetRow:
    """One line of an order sheet; `money` is None where there is no price.

    `exact_reels` are the reels that the advice asks for before rounding, for the reason `basis`; `rounded` those
    after minimum and multiple; `reels` may be more, to fill a pallet.
    """

    web: Web
    reels: int
    price: float | None
    money: float | None
    pallets: float | None
    exact_reels: float
    basis: str
    rounded: int

    @property
    def most_reels(self) -> int:
        """Reels that may come at the most, where a delivery may be over."""
        return math.floor(self.reels * (1.0 + self.web.over_delivery_percent / 100.0) + 1e-9)

    @property
    def most_money(self) -> float | None:
        """What so many reels cost; None where there is no price."""
        return None if self.price is None else self.price * self.most_reels

    @property
    def break_from(self) -> int | None:
        """The number of reels from which the price paid holds; None where it is the plain price."""
        starts = [s.from_reels for s in self.web.price_breaks if self.reels >= s.from_reels]
        return max(starts) if starts else None


@dataclass(frozen=True)
class SupplierOrder:
    """An order to one supplier: by when, its rows, and the totals that are known."""

    supplier: str
    order_by: datetime
    rows: tuple[SheetRow, ...]

    @property
    def reels(self) -> int:
        """Reels in the order."""
        return sum(row.reels for row in self.rows)

    @property
    def money(self) -> float | None:
        """What it costs without freight; None where a price is missing."""
        amounts = [row.money for row in self.rows]
        return None if any(m is None for m in amounts) else sum(m for m in amounts if m is not None)

    @property
    def freight(self) -> float | None:
        """One freight for the whole order, the dearest that its webs name; None where none does."""
        declared = [row.web.freight_per_order for row in self.rows if row.web.freight_per_order is not None]
        return max(declared) if declared else None

    @property
    def to_pay(self) -> float | None:
        """Reels and freight together; None where either is not known."""
        return None if self.money is None or self.freight is None else self.money + self.freight

    @property
    def pallets(self) -> float | None:
        """Pallets; None where some web's reels a pallet are not known."""
        counts = [row.pallets for row in self.rows]
        return None if any(p is None for p in counts) else sum(p for p in counts if p is not None)


def supplier_orders(lines: Sequence[OrderLine], *, together_days: float = TOGETHER_DAYS) -> list[SupplierOrder]:
    """Put the due lines of each supplier together, up to the day of the last supplier's first order.

    Takes `together_days` [days].
    """
    due = sorted((x for x in lines if x.order_by is not None and x.advice is not None), key=_by)
    suppliers = {line.web.supplier: [x for x in due if x.web.supplier == line.web.supplier] for line in due}
    until = max((_by(of_supplier[0]).date() for of_supplier in suppliers.values()), default=_NEVER.date())
    out = []
    for supplier, of_supplier in suppliers.items():
        remaining = of_supplier
        while remaining and _by(remaining[0]).date() <= until:
            first = _by(remaining[0])
            now = [line for line in remaining if _by(line) <= first + timedelta(days=together_days)]
            remaining = remaining[len(now) :]
            rows = [_row(line, line.advice.reels) for line in now if line.advice]
            out.append(SupplierOrder(supplier, first, tuple(_fill_pallet(rows))))
    return sorted(out, key=lambda order: (order.order_by, order.supplier))


def _by(line: OrderLine) -> datetime:
    return line.order_by or _NEVER


def _row(line: OrderLine, reels: int) -> SheetRow:
    row = SheetRow(line.web, reels, None, None, None, line.wanted_reels, line.quantity_basis, reels)
    return _of(row, reels)


def _of(row: SheetRow, reels: int) -> SheetRow:
    """A row with so many reels, at the price that so many have."""
    price = price_at(row.web, reels)
    return replace(
        row,
        reels=reels,
        price=price,
        money=None if price is None else price * reels,
        pallets=None if row.web.reels_per_pallet is None else reels / row.web.reels_per_pallet,
    )


def _fill_pallet(rows: list[SheetRow]) -> list[SheetRow]:
    """Fill the last pallet with the most urgent web, in its multiples, where it is half full already."""
    first, total = rows[0].web, sum(row.pallets or 0.0 for row in rows)
    if first.reels_per_pallet is None or any(row.pallets is None for row in rows):
        return rows
    last_pallet = total - int(total + 1e-9)
    if last_pallet < PALLET_SHARE:
        return rows
    more = int((1.0 - last_pallet) * first.reels_per_pallet + 1e-9) // first.multiple_reels * first.multiple_reels
    return [_of(rows[0], rows[0].reels + more), *rows[1:]]


def working_day(at: datetime, now: datetime, days: Collection[str], zone: ZoneInfo) -> datetime:
    """The last moment, at or before another, that is on a day on which the works is there."""
    for back in range(7):
        day = at - timedelta(days=back)
        if not days or day <= now or WEEK[day.astimezone(zone).weekday()] in days:
            return max(day, min(at, now))
    return at


def on_working_days(
    lines: Sequence[OrderLine], now: datetime, days: Collection[str], zone: ZoneInfo
) -> list[OrderLine]:
    """Move order days to days on which orders are placed: earlier, never later."""
    early_lines = []
    for line in lines:
        if line.order_by is None:
            early_lines.append(line)
            continue
        by = working_day(line.order_by, now, days, zone)
        early_lines.append(replace(line, order_by=by, arrives=by + timedelta(days=line.web.lead_time_days or 0.0)))
    return early_lines


def as_sent(lines: Sequence[OrderLine], orders: Sequence[SupplierOrder]) -> list[OrderLine]:
    """Give lines with the reels of the orders that are sent, in which last pallets are filled."""
    reels_of_web = {row.web.id: row.reels for order in orders for row in order.rows}
    return [
        replace(line, advice=replace(line.advice, reels=reels_of_web[line.web.id]))
        if line.advice is not None and line.web.id in reels_of_web
        else line
        for line in lines
    ]
