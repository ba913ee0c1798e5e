"""Order days on which somebody orders, and orders as they are sent: on working days, pallets filled."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from lineview.plant import WEEK
from lineview.stock.order_lines import OrderLine
from lineview.stock.supplier_orders import SupplierOrder


def working_day(at: datetime, now: datetime, days: Collection[str], zone: ZoneInfo) -> datetime:
    """Give the last moment, at or before another, that is on a day on which the works is there.

    Parameters
    ----------
    at : datetime.datetime
        The latest moment that would do [UTC].
    now : datetime.datetime
        Nothing is moved before it [UTC].
    days : collection of str
        "mon" to "sun"; none means every day.
    zone : zoneinfo.ZoneInfo
        Of the works.

    Returns
    -------
    datetime.datetime
        By whole days earlier [UTC].

    Examples
    --------
    >>> from datetime import UTC
    >>> now, sunday = datetime(2026, 6, 12, tzinfo=UTC), datetime(2026, 6, 14, 9, tzinfo=UTC)
    >>> working_day(sunday, now, ("mon", "fri"), ZoneInfo("Europe/Berlin")).day
    12
    """
    for back in range(7):
        moved = at - timedelta(days=back)
        if not days or moved <= now or WEEK[moved.astimezone(zone).weekday()] in days:
            return max(moved, min(at, now))
    return at


def on_working_days(
    lines: Sequence[OrderLine], now: datetime, days: Collection[str], zone: ZoneInfo
) -> list[OrderLine]:
    """Give lines whose order days are days on which somebody orders: earlier, never later.

    Parameters
    ----------
    lines : sequence of OrderLine
        With the latest day that the accepted chance allows.
    now : datetime.datetime
        Latest moment known [UTC].
    days : collection of str
        Days on which the works is there.
    zone : zoneinfo.ZoneInfo
        Of the works.

    Returns
    -------
    list of OrderLine
        In the same order.
    """
    moved = []
    for line in lines:
        if line.order_by is None:
            moved.append(line)
            continue
        by = working_day(line.order_by, now, days, zone)
        moved.append(replace(line, order_by=by, arrives=by + timedelta(days=line.web.lead_time_days or 0.0)))
    return moved


def as_sent(lines: Sequence[OrderLine], orders: Sequence[SupplierOrder]) -> list[OrderLine]:
    """Give lines with the reels of the orders that are sent, in which last pallets are filled.

    Parameters
    ----------
    lines : sequence of OrderLine
        The advice on each web.
    orders : sequence of SupplierOrder
        Made of them.

    Returns
    -------
    list of OrderLine
        One quantity for sentence, figures, tables and picture.
    """
    sent = {row.web.id: row.reels for order in orders for row in order.rows}
    return [
        replace(line, advice=replace(line.advice, reels=sent[line.web.id]))
        if line.advice is not None and line.web.id in sent
        else line
        for line in lines
    ]
