"""The week's tables: the ledger in every unit, what it adds up to, and each cause's history."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import in_digits, mark, tr
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report.answer import OF_ROW, Table, columns_of
from lineview.week.account import WeekAccount
from lineview.week.figures import ALL_ROWS, FIGURES, unit_of
from lineview.week.ledger import OUTSIDE, UNITS, Ledger, LedgerRow
from lineview.week.losses import cause_cell, cause_words
from lineview.week.patterns import Pattern
from lineview.week.trend import STEADY, CauseTrend, Trends

#: Decimals that a unit's column is written with; rows are rounded so that they still add up.
_PLACES = {"minutes": 0, "pieces": 0, "kg": 1, "candy_kg": 1, "film_m": 0, "paper_m": 0, "money": 0}
_HEADINGS = {
    "minutes": mark("minutes lost"),
    "pieces": mark("pieces not made"),
    "kg": mark("not made"),
    "candy_kg": mark("candy lost"),
    "film_m": mark("film lost"),
    "paper_m": mark("paper lost"),
    "money": mark("cost"),
}
LOSS_SERIES = {
    "cause": pl.String(),
    "minutes": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "cost": pl.Float64(),
    "verdict": pl.String(),
    "course": pl.String(),
}


#: Stands before a sum where its rows, each rounded as everywhere else, miss it by their rounding.
ROUNDING = mark("rounding")


def rounding_left(values: Sequence[float | None], total: float, places: int) -> float:
    """What rounded values lack to their rounded total."""
    rounded_sum = math.fsum(round(value, places) for value in values if value is not None)
    return round(round(total, places) - rounded_sum, places)


def ledger_table(ledger: Ledger, trends: Trends, plant: Plant, outside: Estimate) -> Table:
    """The rows of the ledger, the dearest first, their sum, and beside it what was made outside every shift."""
    units = [unit for unit in UNITS if any(unit in row.amounts for row in ledger.rows)]
    columns_of = {unit: _rounded_rows(ledger, unit, plant) for unit in units}
    names = [*(row.cause for row in ledger.rows), ROUNDING, ALL_ROWS]
    rows: list[dict[str, Any]] = [
        {"cause": cause_cell(name), **{unit: columns_of[unit][k] for unit in units}, "trend": _course(trends.of(name))}
        for k, name in enumerate(names)
        if name != ROUNDING or any(columns_of[unit][k] for unit in units)
    ]
    if outside.least >= 0.5:
        rows.append({"cause": OUTSIDE, "pieces": -float(round(outside.least)), "trend": ""})
    columns = (
        ("cause", tr("where it went"), ""),
        *[(unit, tr(_HEADINGS[unit]), unit_of(unit, plant)) for unit in units],
        ("trend", tr("beyond chance"), ""),
    )
    return Table("ledger of losses", tr("What was lost, by cause"), columns, rows)


def _rounded_rows(ledger: Ledger, unit: str, plant: Plant) -> list[float | None]:
    """The rows in a unit, rounded as the plant reads them, what rounding leaves, and their sum."""
    factor, places = in_units(1.0, unit_of(unit, plant), plant.units)[0], _PLACES[unit]
    values = [None if (value := row.value(unit)) is None else value * factor for row in ledger.rows]
    if all(value is None for value in values):
        return [None] * (len(values) + 2)
    total = ledger.known(unit) * factor
    cells = [*values, rounding_left(values, total, places), total]
    return [None if value is None else round(value, places) / factor for value in cells]


def _course(trend: CauseTrend | None) -> str:
    """How a cause goes where that is beyond chance; "" where it is as before."""
    return "" if trend is None or trend.verdict == STEADY else trend.words


def balance_table(ledger: Ledger) -> Table:
    """What planned time at the nominal rate and target mass would have given, what was made, and the rest."""
    rows = []
    words = {
        "minutes": mark("planned minutes less minutes that the good pieces need"),
        "pieces": mark("pieces at the nominal rate less good pieces"),
        "kg": mark("kilograms at target mass less good pieces of shifts at target mass"),
        "candy_kg": mark("candy used less good pieces of known products at target mass"),
        "film_m": mark("film used less film that good pieces need"),
        "paper_m": mark("wax paper used less wax paper that good pieces need"),
    }
    for unit, balance in ledger.balances.items():
        unknown = ledger.unknown(unit)
        rows.append(
            {
                "what": words[unit],
                "unit": FIGURES[unit][1],
                "possible": balance.possible,
                "was": balance.was,
                "lost": balance.loss,
                "rows": ledger.known(unit),
                "open": ", ".join(map(cause_words, unknown)),
            }
        )
    columns = columns_of(
        "what: account; possible: possible or used [row]; was: made or sold [row]; lost: difference [row]; "
        "rows: sum of the rows [row]; open: not known",
        row=OF_ROW,
    )
    return Table("balance", tr("What the rows add up to"), columns, rows)


def trend_table(trends: Trends) -> Table:
    """Each cause against the weeks before: means, change and slope with their intervals, and the verdict."""
    rows = [
        {
            "cause": cause_cell(trend.cause),
            "now": _fine(trend.now),
            "before": _fine(trend.before),
            "change": _fine(trend.change.value),
            "low": _fine(trend.change.low),
            "high": _fine(trend.change.high),
            "slope": _fine(trend.slope.value),
            "slope_low": _fine(trend.slope.low),
            "slope_high": _fine(trend.slope.high),
            "chance": round(100 * min(trend.q), 1),
            "verdict": trend.words,
        }
        for trend in trends.causes
    ]
    columns = columns_of(
        "cause; now: this period [min/h]; before: weeks before [min/h]; "
        "change: difference, same products [min/h]; low: from [min/h]; high: to [min/h]; "
        "slope: rises each week by [min/h]; slope_low: from [min/h]; slope_high: to [min/h]; "
        "chance: chance of this in steady works [%]; verdict"
    )
    title = tr("Minutes lost in an hour of planned time, against the weeks before")
    return Table("trends", title, columns, rows)


def _fine(value: float | None) -> float | None:
    """A number of minutes an hour, to a hundredth."""
    return None if value is None else round(value, 2)


def window_table(trends: Trends) -> Table:
    """Each cause's level and slope over 4, 8 and 13 weeks."""
    rows = []
    for trend in trends.causes:
        for window in trend.windows:
            if window.level.value is None:
                continue
            rows.append(
                {
                    "cause": cause_cell(trend.cause),
                    "weeks": window.weeks,
                    "level": _fine(window.level.value),
                    "level_low": _fine(window.level.low),
                    "level_high": _fine(window.level.high),
                    "slope": _fine(window.slope.value),
                    "slope_low": _fine(window.slope.low),
                    "slope_high": _fine(window.slope.high),
                }
            )
    columns = columns_of(
        "cause; weeks; level: lost on average [min/h]; level_low: from [min/h]; level_high: to [min/h]; "
        "slope: rises each week by [min/h]; slope_low: from [min/h]; slope_high: to [min/h]"
    )
    title = tr("Minutes lost in an hour of planned time over the last 4, 8 and 13 weeks")
    return Table("windows", title, columns, rows)


def step_table(trends: Trends) -> Table:
    """Lasting changes, dated, with what was noted around that day."""
    steps = [(trend, step) for trend in trends.causes for step in trend.steps]
    rows = [
        {
            "at": step.at,
            "cause": cause_cell(trend.cause),
            "change": _fine(step.change.value),
            "low": _fine(step.change.low),
            "high": _fine(step.change.high),
            "noted": "; ".join(step.notes),
        }
        for trend, step in sorted(steps, key=lambda pair: pair[1].at, reverse=True)
    ]
    columns = columns_of(
        "at: since the shift of; cause; change [min/h]; low: from [min/h]; high: to [min/h]; "
        "noted: noted around that day"
    )
    return Table("lasting changes", tr("Lasting changes"), columns, rows)


def pattern_table(patterns: Sequence[Pattern]) -> Table:
    """Stops without a reason that recur."""
    rows = [
        {
            "number": number,
            "machine": pattern.machine.label,
            "words": pattern.words,
            "stops": len(pattern.stops),
            "minutes": pattern.minutes,
            "week": pattern.minutes_per_week,
            "chance": tr("below {percent}", percent=0.1) if pattern.p < 1e-3 else in_digits(f"{100 * pattern.p:.1f}"),
            "reason": pattern.reason,
        }
        for number, pattern in enumerate(patterns, 1)
    ]
    columns = columns_of(
        "number: pattern; machine; words: it stops; stops; minutes [min]; week: minutes a week [min]; "
        "chance [%]; reason: reason offered"
    )
    return Table("patterns", tr("Stops without a reason that recur"), columns, rows)


PATTERN_SERIES = {
    "pattern": pl.Int64(),
    "machine": pl.String(),
    "words": pl.String(),
    "reason": pl.String(),
    "start": pl.Datetime("us", "UTC"),
    "end": pl.Datetime("us", "UTC"),
}


def pattern_series(patterns: Sequence[Pattern]) -> pl.DataFrame:
    """Each stop of each pattern, numbered from 1 as in their table."""
    rows = [
        (number, pattern.machine.id, pattern.words, pattern.reason, start, end)
        for number, pattern in enumerate(patterns, 1)
        for start, end in pattern.stops
    ]
    return pl.DataFrame(rows, schema=PATTERN_SERIES, orient="row")


def week_tables(account: WeekAccount, plant: Plant) -> tuple[Table, ...]:
    """All tables of a week."""
    if account.ledger is None:
        return ()
    trends = account.trends
    return (
        ledger_table(account.ledger, trends, plant, account.outside),
        pattern_table(account.patterns),
        step_table(trends),
        trend_table(trends),
        window_table(trends),
        balance_table(account.ledger),
    )


def loss_series(account: WeekAccount) -> pl.DataFrame:
    """The rows that cost minutes or money, in the order of the picture."""
    if account.ledger is None:
        return pl.DataFrame(schema=LOSS_SERIES)
    rows = [_series_row(row, account.trends.of(row.cause)) for row in account.ledger.rows]
    return pl.DataFrame(rows, schema=LOSS_SERIES, orient="row")


def _series_row(row: LedgerRow, trend: CauseTrend | None) -> tuple[Any, ...]:
    minutes = row.amounts.get("minutes")
    ends = (None, None) if minutes is None else (minutes.low, minutes.high)
    verdict = "" if trend is None or trend.verdict == STEADY else trend.verdict
    return (cause_cell(row.cause), row.value("minutes"), *ends, row.value("money"), verdict, _course(trend))
