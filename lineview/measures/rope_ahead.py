"""When a rope leaves its tolerance, in running hours and on the calendar of the planned shifts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from lineview.measures.clock import calendar
from lineview.measures.rope_forecast import (
    HORIZON_H,
    TimeToLeave,
    band_for_share,
    planned_moment,
    time_to_leave,
)
from lineview.measures.rope_model import RopeModel
from lineview.measures.rope_target import Target
from lineview.plant import Plant

#: Share of pieces out of tolerance for which a second forecast is made.
SHARE_OUT = 0.05
#: Days of planned shifts looked through for a forecast's calendar time.
LOOK_AHEAD = timedelta(days=120)


@dataclass(frozen=True)
class Ahead:
    """When the rope leaves tolerance: by its mean and by a share of pieces, in hours and on the calendar."""

    now_h: float
    mean: TimeToLeave
    share: TimeToLeave | None = None
    moment: datetime | None = None
    moment_low: datetime | None = None
    moment_high: datetime | None = None
    uptime: float = 1.0
    planned_h_per_week: float = 0.0


def hours_ahead(model: RopeModel, target: Target) -> Ahead | None:
    """Give the running hours until the batch mean leaves tolerance, and nothing beside them.

    Parameters
    ----------
    model : RopeModel
        The fitted model.
    target : Target
        For the tolerance.

    Returns
    -------
    Ahead or None
        Without moments and pieces; None where the tolerance is not known.

    Notes
    -----
    Source: derived-rope
    """
    if target.tolerance_mm is None or target.diameter_mm is None:
        return None
    now_h = float(model.hours[-1])
    return Ahead(now_h, time_to_leave(model, now_h, -target.tolerance_mm, target.tolerance_mm))


def ahead_of(
    plant: Plant, model: RopeModel, target: Target, within_sd_mm: float, until: datetime
) -> Ahead | None:
    """Give when the rope leaves tolerance.

    Parameters
    ----------
    plant : Plant
        For its shifts and zone.
    model : RopeModel
        The fitted model.
    target : Target
        For the tolerance.
    within_sd_mm : float
        Standard deviation within a batch [mm].
    until : datetime
        End of the period asked for [UTC].

    Returns
    -------
    Ahead or None
        None where the tolerance is not known.

    Notes
    -----
    Source: derived-rope
    """
    bare = hours_ahead(model, target)
    if bare is None or target.tolerance_mm is None:
        return None
    now_h, mean, wide = bare.now_h, bare.mean, target.tolerance_mm
    band = band_for_share(float(np.hypot(model.fit.sd(), within_sd_mm)), -wide, wide, SHARE_OUT)
    share = time_to_leave(model, now_h, *band) if band else None
    first, last = model.points["at"][0], model.points["at"][-1]
    worked = _planned_hours(plant, first, max(last, first + timedelta(hours=1)))
    ran = float(model.hours[-1] - model.hours[0])
    uptime = min(1.0, max(0.02, ran / worked)) if worked > 0 else 1.0
    cal = calendar(plant.shifts, plant.zone, last, last + LOOK_AHEAD)

    def moment(hours: float | None) -> datetime | None:
        return None if hours is None else planned_moment(hours, cal, last, uptime)

    week = _planned_hours(plant, until, until + timedelta(days=7))
    return Ahead(
        now_h, mean, share, moment(mean.value_h), moment(mean.low_h), moment(mean.high_h), uptime, week
    )


def _planned_hours(plant: Plant, start: datetime, end: datetime) -> float:
    cal = calendar(plant.shifts, plant.zone, start, end).filter(pl.col("part") == "planned")
    return float((cal["end"] - cal["start"]).dt.total_seconds().sum() or 0) / 3600


def forecast_end(model: RopeModel, ahead: Ahead) -> float:
    """Give the running hours up to which a forecast is drawn [h].

    Parameters
    ----------
    model : RopeModel
        The fitted model.
    ahead : Ahead
        When the rope leaves tolerance.

    Returns
    -------
    float
        Up to the late end of the interval, at least a quarter of the hours behind, at most the horizon.
    """
    behind = float(np.ptp(model.hours))
    reach = ahead.mean.high_h or ahead.mean.value_h or behind / 2
    return ahead.now_h + min(HORIZON_H, max(reach, behind / 4))
