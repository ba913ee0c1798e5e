"""Good pieces a week at the rate of the period, by the hours the shifts plan."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from lineview.machine.pieces import MachineCounts
from lineview.measures.clock import calendar
from lineview.measures.wrap_pieces import read_moments
from lineview.plant import Plant


def pieces_per_week(
    plant: Plant, counts: MachineCounts, start: datetime, end: datetime
) -> tuple[float, float, float, float] | None:
    """Scale the good pieces of a period to a week.

    Parameters
    ----------
    plant : Plant
        For its shifts and zone.
    counts : MachineCounts
        Of the machine.
    start, end : datetime
        The period [UTC].

    Returns
    -------
    tuple or None
        Pieces a week, pieces counted, planned minutes of the period and of a week; None where nothing was
        counted or nothing was planned.
    """
    at = read_moments(counts, [start, end])
    good = counts.pieces(at[:1], at[1:]).good
    if good is None or not good.readings[0]:
        return None
    counted = good.at(0).number
    planned = _planned_min(calendar(plant.shifts, plant.zone, start, end))
    week = _planned_min(calendar(plant.shifts, plant.zone, start, start + timedelta(days=7)))
    if not planned > 0 or not week > 0:
        return None
    return counted * week / planned, counted, planned, week


def _planned_min(stretches: pl.DataFrame) -> float:
    own = stretches.filter(pl.col("part") == "planned")
    return float((own["end"] - own["start"]).dt.total_microseconds().sum()) / 60e6
