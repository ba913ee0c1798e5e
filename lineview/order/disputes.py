"""What of plans and stock counts two exports tell differently, so that an order can use neither."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period
from lineview.plant import Plant
from lineview.report import show
from lineview.report.figures import FigureList

#: So many stock counts in conflict are named; the others are counted.
MOST_NAMED = 3


def open_plan(rows: pl.DataFrame) -> Estimate:
    """Pieces that plans in conflict leave open: from the least to the most that they say of each product and time.

    Parameters
    ----------
    rows : polars.DataFrame
        PLAN, the rows in conflict.
    """
    each = rows.group_by("line", "product", "start").agg(low=pl.col("pieces").min(), high=pl.col("pieces").max())
    if not each.height:
        return Estimate.exact(0.0)
    ends = float(each["low"].sum()), float(each["high"].sum())
    why = f"not known: {show.number(round(ends[0]))} or {show.number(round(ends[1]))} or between"
    return Estimate(
        None, *ends, each.height, interval="bounds: the least and the most that the plans say", why_none=why
    )


def open_plan_figures(open_pieces: Estimate, period: Period) -> tuple[Figure, ...]:
    """Planned pieces in conflict as a figure; none where there are none.

    Parameters
    ----------
    open_pieces : Estimate
        From open_plan.
    period : Period
        The time that the order looks at.
    """
    if not open_pieces.n:
        return ()
    figures = FigureList(period)
    figures.add("plan_in_conflict_pieces", open_pieces, "plan rows given in two versions, of which neither is used")
    return figures.all


def plan_dispute(rows: pl.DataFrame, open_pieces: Estimate, plant: Plant) -> Iterator[str]:
    """Say how much of the plan is in conflict, and what stands in for it."""
    if not open_pieces.n or open_pieces.low is None or open_pieces.high is None:
        return
    first, last = (
        show.a_day(at.astimezone(plant.tz).date(), plant)
        for at in (min(rows["start"].to_list()), max(rows["end"].to_list()))
    )
    low, high = show.number(round(open_pieces.low)), show.number(round(open_pieces.high))
    files = show.listed(sorted(set(rows["file"].to_list()))[:4])
    yield (
        f"The plan from {first} to {last} is in conflict: {low} to {high} pieces in "
        f"{show.counted(open_pieces.n, 'row')} stand differently in {files}. That time's plan is not used, history "
        "stands in for it; undo the export that is wrong on the page Intake."
    )


def stock_disputes(rows: pl.DataFrame, plant: Plant) -> Iterator[str]:
    """Say which stock counts disagree, what each says, and what to do."""
    named = list(rows.sort("at", descending=True, maintain_order=True).group_by("web", "at", maintain_order=True))
    for (web_id, at), counts in named[:MOST_NAMED]:
        web = plant.web(str(web_id))
        name = str(web_id) if web is None else web.name or web.id
        said = [_counted(row, plant) for row in counts.iter_rows(named=True)]
        yield (
            f"The stock counts of {name} at {show.moment(at, plant)} disagree: {show.listed(said)}. Neither is used: "
            "undo the export that is wrong on the page Intake, or count again."
        )
    if len(named) > MOST_NAMED:
        yield f"So do {len(named) - MOST_NAMED} more."


def _counted(row: dict[str, Any], plant: Plant) -> str:
    parts = [f"{row[key]:g} {words}" for key, words in _COUNTED if row[key] is not None]
    if row["expected_on"] is not None:
        parts.append(f"due {show.a_day(row['expected_on'].astimezone(plant.tz).date(), plant)}")
    return f"{', '.join(parts) or 'nothing'} in {row['file']}"


_COUNTED = (("whole_reels", "whole reels"), ("on_order_reels", "on order"))
