"""A comparison as it is shown: its sentence, tables, figures and the frame of its picture."""

from __future__ import annotations

from typing import Any

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period
from lineview.core.language import mark, tr
from lineview.report import show
from lineview.report.answer import OF_ROW, Span, Table, columns_of
from lineview.report.figures import FigureList
from lineview.week.compare import NO_DIFFERENCE, RATE, Comparison, Difference
from lineview.week.losses import cause_cell, cause_words
from lineview.week.tables import ROUNDING, rounding_left
from lineview.week.trend import BETTER, LEAST_SHIFTS
from lineview.week.words import subject_of

DIFFERENCE_SERIES = {
    "cause": pl.String(),
    "difference": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "verdict": pl.String(),
}


def compared_sentence(comparison: Comparison) -> tuple[Span, ...]:
    """Say how far the effective rates are apart, and which loss makes most of it."""
    rate = comparison.measure(RATE)
    if rate is None:
        return (Span(tr("Nothing to compare: {why}.", why=comparison.why_none)),)
    worse = rate.verdict == "worse"
    rates = {"first": show.number(rate.first, 1), "second": show.number(rate.second, 1)}
    much = Span(tr("{first} good pieces a minute against {second}", **rates), call=worse)
    end = _beyond(rate, comparison)
    if not comparison.causes or abs(rate.value) < 0.05:
        return (Span(f"{show.capital(comparison.first)}: "), much, Span(f" {comparison.second}; {end}."))
    cause = comparison.causes[0]
    places = {"cause": subject_of(cause.name), "pieces": show.number(abs(cause.value), 1)}
    if cause.value > 0:
        words = tr("; {cause} cost {pieces} a minute more", **places)
    else:
        words = tr("; {cause} cost {pieces} a minute less", **places)
    return (Span(f"{show.capital(comparison.first)}: "), much, Span(f"{words}; {end}."))


def _beyond(rate: Difference, comparison: Comparison) -> str:
    if rate.q is None:
        shares = min(comparison.shifts) >= LEAST_SHIFTS
        return tr("not judged, since shifts are on both sides") if shares else tr("too few shifts to judge")
    if rate.verdict == NO_DIFFERENCE:
        return tr(NO_DIFFERENCE)
    return tr("better beyond chance") if rate.verdict == BETTER else tr("worse beyond chance")


def compared_soft(comparison: Comparison) -> str:
    """The line below: what is compared, over how many shifts, and how."""
    shifts = {"first": comparison.shifts[0], "second": comparison.shifts[1]}
    counts = tr("{first} and {second} whole shifts", **shifts)
    how = tr(", {pairs} of them in pairs", pairs=comparison.paired) if comparison.paired else ""
    mix = tr(" Differences are as if both had made the same products.") if comparison.mix else ""
    return f"{_against(comparison)}: {counts}{how}.{mix}"


def _against(comparison: Comparison) -> str:
    return tr("{first} against {second}", first=show.capital(comparison.first), second=comparison.second)


def compared_tables(comparison: Comparison) -> tuple[Table, Table]:
    """The key figures of both sides, and the losses that make the difference of their effective rates."""
    return _measure_table(comparison), _cause_table(comparison)


def _columns(comparison: Comparison, what: str, unit: str) -> tuple[tuple[str, str, str], ...]:
    rest = columns_of(
        "difference [u]; same_mix: difference, same products [u]; low: from [u]; high: to [u]; verdict", u=unit
    )
    return (("what", what, ""), ("first", comparison.first, unit), ("second", comparison.second, unit), *rest)


def _measure_table(comparison: Comparison) -> Table:
    rows = [
        {"what": row.name, "unit": row.unit, **_amounts(row, 6), "verdict": row.verdict} for row in comparison.measures
    ]
    columns = _columns(comparison, tr("key figure"), OF_ROW)
    return Table("compared", _against(comparison), columns, rows)


def _amounts(row: Difference, places: int) -> dict[str, Any]:
    amounts: dict[str, float | None] = {"first": row.first, "second": row.second, "difference": row.value}
    amounts |= {"same_mix": row.same_mix.value, "low": row.same_mix.low, "high": row.same_mix.high}
    return {key: None if value is None else round(value, places) for key, value in amounts.items()}


def _cause_table(comparison: Comparison) -> Table:
    """Causes in pieces a planned minute, and the difference of the effective rates as their sum."""
    rate = comparison.measure(RATE)
    first, second = comparison.nominal
    steps = [first - second, *(-row.value for row in comparison.causes)]
    rows: list[dict[str, Any]] = []
    if abs(steps[0]) > 5e-3:
        rows.append(_bare(mark("nominal rates"), first, second, steps[0]))
    for row, step in zip(comparison.causes, steps[1:], strict=True):
        amounts = _amounts(row, 2)
        low, high = amounts["high"], amounts["low"]
        turned = {
            "difference": round(step, 2),
            "same_mix": None if amounts["same_mix"] is None else -amounts["same_mix"],
            "low": None if low is None else -low,
            "high": None if high is None else -high,
        }
        rows.append({"what": cause_cell(row.name), **amounts, **turned, "verdict": row.verdict})
    if rate is not None:
        left = rounding_left([row["difference"] for row in rows], rate.value, 2)
        rows += [{"what": ROUNDING, "difference": left}] if left else []
        rows.append(_bare(RATE, rate.first, rate.second, rate.value))
    title = tr("Losses that make the difference, pieces a planned minute")
    return Table("difference", title, _columns(comparison, tr("cause"), ""), rows)


def _bare(what: str, first: float, second: float, difference: float) -> dict[str, Any]:
    """A row without an interval."""
    return {"what": what, "first": round(first, 2), "second": round(second, 2), "difference": round(difference, 2)}


def compared_figures(comparison: Comparison, period: Period) -> tuple[Figure, ...]:
    """Every measure and cause of a comparison."""
    figures = FigureList(period, say=cause_words, first=comparison.first, second=comparison.second)
    for row in comparison.measures:
        _figure(figures, "compared_{what}", row)
    for row in comparison.causes:
        _figure(figures, "compared_{what}_pieces_per_min", row)
    return figures.all


def _figure(figures: FigureList, name: str, row: Difference) -> None:
    working = tr(
        "{first:.4g} − {second:.4g} = {difference:.4g} {unit} as it stands",
        first=row.first,
        second=row.second,
        difference=row.value,
        unit=show.unit_words(row.unit, "metric"),
    )
    if row.same_mix.value is None:
        few = mark("too few shifts")
        return figures.add(name, Estimate(row.value), working, what=row.name, unit=row.unit, interval=few)
    working += tr("; over all rows a chance of {q:.2g}: {verdict}", q=row.q, verdict=tr(row.verdict))
    return figures.add(name, row.same_mix, working, what=row.name, unit=row.unit)


def difference_series(comparison: Comparison) -> pl.DataFrame:
    """What each cause adds to the first side's effective rate, in the order of the picture."""
    rows = []
    for row in comparison.causes:
        low, high = row.same_mix.low, row.same_mix.high
        ends = (None if high is None else -high, None if low is None else -low)
        rows.append((cause_cell(row.name), -row.value, *ends, row.verdict))
    return pl.DataFrame(rows, schema=DIFFERENCE_SERIES, orient="row")
