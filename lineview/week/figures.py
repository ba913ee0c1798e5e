"""The week's figures: every total and every row of the ledger, with its interval and working."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period, cannot_tell, slug
from lineview.plant import Plant
from lineview.report.counts import good_pieces_figure
from lineview.week.account import WeekAccount
from lineview.week.ledger import UNITS, Ledger, LedgerRow
from lineview.week.trend import CauseTrend

_SOURCES = ("derived-ledger", "derived-ladder")
#: By unit of the ledger: tail of a figure's name, its words, its unit.
SHOWN = {
    "minutes": ("lost_min", "minutes lost", "min"),
    "pieces": ("lost_pieces", "pieces not made", "pieces"),
    "kg": ("not_made_kg", "candy not made", "kg"),
    "candy_kg": ("candy_lost_kg", "candy used and not sold", "kg"),
    "film_m": ("film_lost_m", "film beyond what good pieces need", "m"),
    "paper_m": ("paper_lost_m", "wax paper beyond what good pieces need", "m"),
    "money": ("cost", "cost", ""),
}


def unit_of(unit: str, plant: Plant) -> str:
    """The unit that a ledger's column is shown in."""
    return plant.currency if unit == "money" else SHOWN[unit][2]


def week_figures(account: WeekAccount, plant: Plant, period: Period, whose: str) -> tuple[Figure, ...]:
    """All figures of a week."""
    ledger = account.ledger
    if ledger is None:
        return ()
    figures = [good_pieces_figure(ledger.good, period, whose)]
    planned = f"planned minutes of {ledger.shifts} shifts, breaks left out"
    figures.append(
        Figure("planned_min", "planned", ledger.planned_min, "min", n=ledger.shifts, period=period, working=planned)
    )
    figures += [figure for unit in UNITS for figure in _totals(ledger, unit, plant, period)]
    for row in ledger.rows:
        figures += _row_figures(row, plant, period)
    for trend in account.trends.causes:
        figures += _trend_figures(trend, period)
    return tuple(figures)


def _totals(ledger: Ledger, unit: str, plant: Plant, period: Period) -> list[Figure]:
    """The sum of all rows in one unit, beside the balance it must equal."""
    tail, words, _ = SHOWN[unit]
    shown = unit_of(unit, plant)
    name, label = f"total_{tail}", f"{words}, all rows"
    unknown = ledger.unknown(unit)
    total = ledger.total(unit)
    balance = ledger.balances.get(unit)
    if balance is None and unit != "money":
        return [cannot_tell(name, label, shown, "nothing in this period tells", period)]
    if total.value is None:
        known = sum(row.least(unit) for row in ledger.rows)
        why = f"not known: {', '.join(unknown[:4])}; the other rows add up to {known:,.1f} {shown}"
        return [Figure(name, label, None, shown, interval_kind=why, period=period, sources=_SOURCES, why_none=why)]
    working = "sum of the rows"
    if balance is not None:
        working += f" = {balance.possible:,.1f} possible − {balance.was:,.1f} made or sold"
    return [_figure(name, label, total, shown, period, working)]


def _row_figures(row: LedgerRow, plant: Plant, period: Period) -> list[Figure]:
    figures = []
    for unit, amount in row.amounts.items():
        tail, words, _ = SHOWN[unit]
        working = f"{row.clock_min:,.1f} min by the clock, {row.events} times" if row.clock_min else ""
        name, label = f"{slug(row.cause)}_{tail}", f"{row.cause}: {words}"
        figures.append(_figure(name, label, amount, unit_of(unit, plant), period, working))
    return figures


def _figure(name: str, label: str, amount: Estimate, unit: str, period: Period, working: str) -> Figure:
    if amount.value is None:
        return cannot_tell(name, label, unit, amount.why_none, period)
    exact = amount.low == amount.value == amount.high
    kind = "from exact counts" if exact else amount.interval or "bounds: what the readings leave open"
    low, high = (None, None) if exact else (amount.low, amount.high)
    return Figure(name, label, amount.value, unit, low, high, kind, amount.n, period, _SOURCES, working)


def _trend_figures(trend: CauseTrend, period: Period) -> list[Figure]:
    """The change of a cause against the weeks before, and its levels and slopes."""
    unit, start = "min/h", slug(trend.cause)
    working = (
        f"{trend.now:.3f} min lost an hour planned, {trend.before:.3f} before; chance of so much difference "
        f"{trend.p:.2g}, over all rows {trend.q:.2g}: {trend.verdict}"
    )
    label = f"{trend.cause}: change against the weeks before"
    sources = ("benjamini-hochberg-1995", "restricted-likelihood")
    figures = [_trend_figure(f"{start}_change_min_per_h", label, trend.change, unit, period, working, sources)]
    for window in trend.windows:
        for what, amount, of in (("level", window.level, unit), ("slope", window.slope, "min/h/week")):
            tail = "min_per_h" if what == "level" else "min_per_h_per_week"
            name = f"{start}_{what}_{window.weeks}_weeks_{tail}"
            label = f"{trend.cause}: {what} over {window.weeks} weeks"
            how = "regression on shifts, mix of products and machines in the model"
            figures.append(_trend_figure(name, label, amount, of, period, how, ("restricted-likelihood",)))
    return figures


def _trend_figure(
    name: str, label: str, amount: Estimate, unit: str, period: Period, working: str, sources: tuple[str, ...]
) -> Figure:
    if amount.value is None:
        return cannot_tell(name, label, unit, amount.why_none, period)
    return Figure(
        name, label, amount.value, unit, amount.low, amount.high, amount.interval, amount.n, period, sources, working
    )
