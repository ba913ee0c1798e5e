"""The week's figures: every total and every row of the ledger, with its interval and working."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period
from lineview.core.language import mark, tr, tr_count
from lineview.plant import Plant
from lineview.report import show
from lineview.report.figures import COUNT_BOUNDS, FigureList, good_pieces_figure, outside_figures
from lineview.week.account import WeekAccount
from lineview.week.ledger import UNITS, Ledger, LedgerRow
from lineview.week.losses import cause_words
from lineview.week.trend import CauseTrend

#: By unit of the ledger: its figure, and its unit.
FIGURES = {
    "minutes": ("{cause}_lost_min", "min"),
    "pieces": ("{cause}_not_made_pieces", "pieces"),
    "kg": ("{cause}_not_made_kg", "kg"),
    "candy_kg": ("{cause}_candy_lost_kg", "kg"),
    "film_m": ("{cause}_film_lost_m", "m"),
    "paper_m": ("{cause}_paper_lost_m", "m"),
    "money": ("{cause}_cost_money", ""),
}
#: By unit, how a row that no clock shows is summed.
_SUMMED = {
    "minutes": mark("its pieces at the nominal rate"),
    "pieces": mark("summed over the shifts"),
    "kg": mark("its pieces at their products' target mass"),
    "candy_kg": mark("summed over the lines' balances of candy"),
    "film_m": mark("summed over the machines' use of film"),
    "paper_m": mark("summed over the machines' use of wax paper"),
    "money": mark("its kilograms and metres at the prices in plant.toml"),
}
ALL_ROWS = mark("all rows")


def unit_of(unit: str, plant: Plant) -> str:
    """The unit that a ledger's column is shown in."""
    return plant.currency if unit == "money" else FIGURES[unit][1]


def week_figures(account: WeekAccount, plant: Plant, period: Period, whose: str) -> tuple[Figure, ...]:
    """All figures of a week."""
    ledger = account.ledger
    if ledger is None:
        return outside_figures(account.outside, period)
    figures = FigureList(period, say=cause_words, currency=plant.currency)
    working = tr("of {shifts} shifts, breaks left out", shifts=ledger.shifts)
    figures.add("planned_min", ledger.planned_min, working, n=ledger.shifts)
    for unit in UNITS:
        _total(figures, ledger, unit, unit_of(unit, plant))
    for row in ledger.rows:
        _row(figures, row)
    for trend in account.trends.causes:
        _trend(figures, trend)
    outside = outside_figures(account.outside, period)
    return (good_pieces_figure(ledger.good, period, whose), *outside, *figures.all)


def _total(figures: FigureList, ledger: Ledger, unit: str, unit_words: str) -> None:
    """Add the sum of all rows in one unit, beside the balance that it equals."""
    name, balance = FIGURES[unit][0], ledger.balances.get(unit)
    if balance is None and unit != "money":
        return figures.unknown(name, tr("nothing in this period tells"), cause=ALL_ROWS)
    total, unknown = ledger.total(unit), ledger.unknown(unit)
    if unknown:
        why = tr(
            "{causes}; the other rows add up to {amount:,.1f} {unit}",
            causes=", ".join(map(cause_words, unknown[:4])),
            amount=ledger.known(unit),
            unit=show.unit_words(unit_words, "metric"),
        )
        return figures.unknown(name, why, cause=ALL_ROWS)
    working = tr("sum of the rows")
    if balance is not None:
        ends = {"possible": balance.possible, "was": balance.was}
        working += tr(" = {possible:,.1f} possible − {was:,.1f} made or sold", **ends)
    return figures.add(name, _without_equal_ends(total), working, cause=ALL_ROWS)


def _row(figures: FigureList, row: LedgerRow) -> None:
    working = tr("{minutes:,.1f} min by the clock", minutes=row.clock_min) if row.clock_min else ""
    working += tr_count(", {count} time", ", {count:,} times", row.events) if working and row.events else ""
    for unit, amount in row.amounts.items():
        if amount.value is None:
            figures.unknown(FIGURES[unit][0], amount.why_none, cause=row.cause)
        else:
            figures.add(FIGURES[unit][0], _without_equal_ends(amount), working or tr(_SUMMED[unit]), cause=row.cause)


def _without_equal_ends(amount: Estimate) -> Estimate:
    """An amount without ends where they are its value, and with a name for them where they are not."""
    if amount.low == amount.value == amount.high:
        return Estimate(amount.value, n=amount.n)
    return Estimate(amount.value, amount.low, amount.high, amount.n, interval=amount.interval or COUNT_BOUNDS)


def _trend(figures: FigureList, trend: CauseTrend) -> None:
    """Add the change of a cause against the weeks before, and its levels and slopes."""
    working = tr(
        "{now:.3f} min lost an hour planned, {before:.3f} before; chance of so much difference {p:.2g}, "
        "over all rows {q:.2g}: {verdict}",
        now=trend.now,
        before=trend.before,
        p=trend.p[0],
        q=trend.q[0],
        verdict=trend.words,
    )
    figures.add("{cause}_change_min_per_h", trend.change, working, cause=trend.cause)
    working = tr(
        "over {weeks} weeks; chance of so much slope {p:.2g}, over all rows {q:.2g}",
        weeks=trend.slope_weeks,
        p=trend.p[1],
        q=trend.q[1],
    )
    figures.add("{cause}_slope_min_per_h_per_week", trend.slope, working, cause=trend.cause)
    for window in trend.windows:
        for name, amount in (
            ("{cause}_level_{weeks}_weeks_min_per_h", window.level),
            ("{cause}_slope_{weeks}_weeks_min_per_h_per_week", window.slope),
        ):
            if amount.value is None:
                figures.unknown(name, amount.why_none, cause=trend.cause, weeks=window.weeks)
            else:
                how = tr("regression on shifts, the mix of products and machines in the model")
                figures.add(name, amount, how, cause=trend.cause, weeks=window.weeks)
