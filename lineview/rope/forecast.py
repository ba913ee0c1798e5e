"""When a rope leaves its tolerance, in running hours and on the calendar of the planned shifts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.machine.calendar import calendar
from lineview.plant import Plant
from lineview.rope.drift_model import RopeModel
from lineview.rope.products import Target
from lineview.stats.correlated_regression import DOUBT
from lineview.stats.optimum import root_between

Floats = NDArray[np.float64]

#: Running hours beyond which "will not" is the answer [h]; level of the forecast's interval.
HORIZON_H, FORECAST_LEVEL = 200.0, 0.90
#: Futures drawn to see when the first batch is out, and batches of them looked at together.
FUTURES, LOOKED_AT = 2000, 64


@dataclass(frozen=True)
class TimeToLeave:
    """Running hours from now until something leaves tolerance; None stands for "not within the horizon"."""

    value_h: float | None
    low_h: float | None
    high_h: float | None
    share_within: float


def time_to_leave(
    model: RopeModel, now_h: float, low_mm: float, high_mm: float, horizon_h: float = HORIZON_H
) -> TimeToLeave:
    """The running hours until the batch mean leaves a band, if wear goes on as it does.

    It leaves where its expected course does. The ends are where the mean's own interval at that hour first reaches
    out of the band, and where it has left it whole: where wear may as well be nothing there is no upper end. Where
    the pace may change they are those of half the tails: a pace that grew threefold left 15 % of simulated ropes out
    of tolerance before a plain low end.

    Source: fieller-1954, derived-rope
    """
    hours = np.r_[0.0, np.geomspace(horizon_h / 1000, horizon_h, 25)]
    likely, start = model.fit.likely(), model.at(now_h)
    tail = (1 - FORECAST_LEVEL) / (4 if model.fit.bending > DOUBT else 2)

    def out(at: Floats) -> Floats:
        """How likely the mean is out, on the likelier side."""
        centre, scale = likely.spreads(start + np.outer(at, model.contrast(wear=1.0)))
        above = likely.beyond(high_mm, centre, scale)
        return np.maximum(above, 1 - likely.beyond(low_mm, centre, scale))

    chance = out(hours)

    def reached(share: float) -> float | None:
        beyond = np.flatnonzero(chance >= share)
        if beyond.size == 0 or beyond[0] == 0:
            return 0.0 if beyond.size else None
        between = np.linspace(hours[beyond[0] - 1], hours[beyond[0]], 5)
        fine = np.maximum.accumulate(out(between))
        return float(np.interp(share, fine, between))

    level, wear = model.fit.mean(start), model.fit.mean(model.contrast(wear=1.0))
    end, low_h, high_h = high_mm if wear > 0 else low_mm, reached(tail), reached(1 - tail)
    value_h = 0.0 if not low_mm < level < high_mm else (end - level) / wear if wear else math.inf
    value_h = min(max(value_h, low_h or 0.0), math.inf if high_h is None else high_h)
    return TimeToLeave(value_h if value_h <= horizon_h else None, low_h, high_h, float(chance[-1]))


def first_out(
    model: RopeModel, mean: TimeToLeave, low_mm: float, high_mm: float, horizon_h: float = HORIZON_H
) -> TimeToLeave:
    """The running hours until the first batch is out of a band, if wear goes on as it does.

    Futures are drawn of what the readings allow: level, wear, spread and memory of batches. Where the mean has
    no upper end, neither has this.

    Source: derived-rope
    """
    beta, sd, noise = model.fit.draws(FUTURES)
    step_h = float(np.ptp(model.hours)) / (model.n - 1)
    most = max(1, round(horizon_h / step_h))
    middle_mm, half_mm = (low_mm + high_mm) / 2, (high_mm - low_mm) / 2
    now_mm, hours = beta @ model.at(float(model.hours[-1])) - middle_mm, np.full(FUTURES, np.inf)
    before = 0
    for offset in model.fit.offsets(noise.astype(np.int64), most, LOOKED_AT):
        at = step_h * np.arange(before + 1, before + len(offset) + 1)
        before += len(offset)
        # what leaves the band lies, with its greatest offset, beyond it at either end
        ends_mm = np.abs(now_mm + np.outer(at[[0, -1]], beta[:, 1])).max(axis=0)
        reach_mm = ends_mm + sd * np.maximum(offset.max(axis=0), -offset.min(axis=0))
        may = np.flatnonzero((reach_mm > half_mm) & np.isinf(hours))
        out = np.abs(now_mm[may] + np.outer(at, beta[may, 1]) + sd[may] * offset[:, may]) > half_mm
        hours[may] = np.where(out.any(axis=0), at[out.argmax(axis=0)], np.inf)
        if np.isfinite(hours).all():
            break
    tail = (1 - FORECAST_LEVEL) / 2
    low, middle, high = (float(q) for q in np.quantile(hours, [tail, 0.5, 1 - tail], method="lower"))
    value, early, late = (end if np.isfinite(end) else None for end in (middle, low, high))
    return TimeToLeave(value, early, None if mean.high_h is None else late, float(np.isfinite(hours).mean()))


def band_for_share(spread_mm: float, low_mm: float, high_mm: float, share: float) -> tuple[float, float] | None:
    """The band the mean must keep so that no more than a share of pieces is out of tolerance.

    Gives [mm].
    """
    from scipy.special import ndtr

    middle = (low_mm + high_mm) / 2

    def excess(mean: float) -> float:
        return float(ndtr((low_mm - mean) / spread_mm) + ndtr((mean - high_mm) / spread_mm)) - share

    if spread_mm <= 0:
        return low_mm, high_mm
    if excess(middle) > 0:
        return None
    reach = high_mm - middle + 10 * spread_mm
    half = root_between(lambda d: excess(middle + d), 0.0, reach)
    return middle - half, middle + half


def fan(model: RopeModel, now_h: float, until_h: float, level: float = 0.95) -> pl.DataFrame:
    """The expected deviation ahead with its interval, for the picture."""
    hours = np.linspace(now_h, until_h, 25)
    contrasts = np.array([model.at(float(at)) for at in hours])
    low, high = model.fit.intervals(contrasts, level)
    middle = contrasts @ (model.fit.weight @ model.fit.beta)
    return pl.DataFrame({"running_h": hours, "low": low, "mid": middle, "high": high})


def planned_moment(hours: float, calendar: pl.DataFrame, start: datetime, uptime: float) -> datetime | None:
    """The calendar moment at which some running hours will have passed under the planned shifts.

    Takes `hours` [h].

    Source: derived-rope
    """
    remaining = timedelta(hours=hours / uptime)
    planned = calendar.filter((pl.col("part") == "planned") & (pl.col("end") > start)).sort("start")
    for begin, end in planned.select("start", "end").iter_rows():
        from_here = max(begin, start)
        if end - from_here >= remaining:
            moment: datetime = from_here + remaining
            return moment
        remaining -= end - from_here
    return None


#: Share of pieces out of tolerance for which a second forecast is made.
SHARE_OUT = 0.05
#: Days of planned shifts looked through for a forecast's calendar time.
LOOK_AHEAD = timedelta(days=120)


@dataclass(frozen=True)
class Ahead:
    """When the rope leaves tolerance: its mean, its first batch, a share of pieces; in hours and on the calendar."""

    now_h: float
    mean: TimeToLeave
    first: TimeToLeave | None = None
    share: TimeToLeave | None = None
    moment: datetime | None = None
    moment_low: datetime | None = None
    moment_high: datetime | None = None
    uptime: float = 1.0
    planned_h_per_week: float = 0.0


def hours_ahead(model: RopeModel, target: Target) -> Ahead | None:
    """The running hours until the batch mean leaves tolerance, and nothing beside them.

    Source: derived-rope
    """
    if target.tolerance_mm is None or target.diameter_mm is None:
        return None
    now_h = float(model.hours[-1])
    return Ahead(now_h, time_to_leave(model, now_h, -target.tolerance_mm, target.tolerance_mm))


def ahead_of(plant: Plant, model: RopeModel, target: Target, within_sd_mm: float, until: datetime) -> Ahead | None:
    """When the rope leaves tolerance.

    Source: derived-rope
    """
    bare = hours_ahead(model, target)
    if bare is None or target.tolerance_mm is None:
        return None
    now_h, mean, wide = bare.now_h, bare.mean, target.tolerance_mm
    band = band_for_share(float(np.hypot(model.fit.sd(), within_sd_mm)), -wide, wide, SHARE_OUT)
    share = time_to_leave(model, now_h, *band) if band else None
    batch = first_out(model, mean, -wide, wide)
    first, last = model.points["at"][0], model.points["at"][-1]
    planned_h = _planned_hours(plant, first, max(last, first + timedelta(hours=1)))
    ran = float(model.hours[-1] - model.hours[0])
    uptime = min(1.0, max(0.02, ran / planned_h)) if planned_h > 0 else 1.0
    cal = calendar(plant.shifts, plant.zone, last, last + LOOK_AHEAD)

    def moment(hours: float | None) -> datetime | None:
        return None if hours is None else planned_moment(hours, cal, last, uptime)

    week = _planned_hours(plant, until, until + timedelta(days=7))
    return Ahead(now_h, mean, batch, share, moment(mean.value_h), moment(mean.low_h), moment(mean.high_h), uptime, week)


def _planned_hours(plant: Plant, start: datetime, end: datetime) -> float:
    cal = calendar(plant.shifts, plant.zone, start, end).filter(pl.col("part") == "planned")
    return float((cal["end"] - cal["start"]).dt.total_seconds().sum() or 0) / 3600


def forecast_end(model: RopeModel, ahead: Ahead) -> float:
    """The running hours up to which a forecast is drawn [h]."""
    behind = float(np.ptp(model.hours))
    reach = ahead.mean.high_h or ahead.mean.value_h or behind / 2
    return ahead.now_h + min(HORIZON_H, max(reach, behind / 4))


State = Literal["steady", "drifting", "stepped", "repaired"]
LEVEL = 0.95


@dataclass(frozen=True)
class Effect:
    """What a step did: its size, where the rope stood before it and after it [mm from target]."""

    at: datetime
    running_h: float
    label: str
    recorded: bool
    size_mm: float
    low_mm: float
    high_mm: float
    before_mm: float
    after_mm: float

    @property
    def real(self) -> bool:
        """Whether the step can be separated from none."""
        return self.low_mm > 0 or self.high_mm < 0

    @property
    def helped(self) -> bool:
        """Whether it brought the rope nearer to its target."""
        return abs(self.after_mm) < abs(self.before_mm)


@dataclass(frozen=True)
class Verdict:
    """The state of the rope now, its wear [mm/h] with interval, and every step's effect."""

    state: State
    wear_mm_per_h: float
    wear_low: float
    wear_high: float
    effects: tuple[Effect, ...]


def effects_of(model: RopeModel) -> tuple[Effect, ...]:
    """The effect of every step in a model.

    Source: derived-rope
    """
    out = []
    for i, done in enumerate(model.adjustments):
        contrast = model.contrast(**{f"step{i}": 1.0})
        size = model.fit.mean(contrast)
        low, high = model.fit.interval(contrast, LEVEL)
        before = model.fit.mean(model.before(i))
        out.append(Effect(done.at, done.running_h, done.label, done.recorded, size, low, high, before, before + size))
    return tuple(out)


def verdict(model: RopeModel) -> Verdict:
    """Say what state the rope is in.

    Source: derived-rope
    """
    contrast = model.contrast(wear=1.0)
    wear = model.fit.mean(contrast)
    low, high = model.fit.interval(contrast, LEVEL)
    effects = effects_of(model)
    real = [e for e in effects if e.real]
    state: State = "steady"
    if low > 0 or high < 0:
        state = "drifting"
    elif real and not real[-1].recorded:
        state = "stepped"
    elif real and real[-1].helped:
        state = "repaired"
    return Verdict(state, wear, low, high, effects)
