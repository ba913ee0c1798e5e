"""Good pieces a week at the rate of the period, by the hours the shifts plan."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

import polars as pl

from lineview.measures.clock import calendar
from lineview.measures.counted import Steps
from lineview.measures.wrap_pieces import good_counted
from lineview.plant import Plant


def pieces_per_week(
    plant: Plant, steps: Mapping[str, Steps], start: datetime, end: datetime
) -> tuple[float, float, float, float] | None:
    """Scale the good pieces of a period to a week.

    Parameters
    ----------
    plant : Plant
        For its shifts and zone.
    steps : mapping of str to Steps
        Counters of the machine by what they count.
    start, end : datetime
        The period [UTC].

    Returns
    -------
    tuple or None
        Pieces a week, pieces counted, planned minutes of the period and of a week; None where nothing was
        counted or nothing was planned.
    """
    counted = good_counted(steps, start, end)
    if counted is None or counted.n == 0:
        return None
    planned = _planned_min(calendar(plant.shifts, plant.zone, start, end))
    week = _planned_min(calendar(plant.shifts, plant.zone, start, start + timedelta(days=7)))
    if not planned > 0 or not week > 0:
        return None
    return counted.value * week / planned, counted.value, planned, week


def _planned_min(stretches: pl.DataFrame) -> float:
    own = stretches.filter(pl.col("part") == "planned")
    return float((own["end"] - own["start"]).dt.total_microseconds().sum()) / 60e6
