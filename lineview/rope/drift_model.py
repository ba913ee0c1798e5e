"""What moves the rope's diameter: level, wear, steps, temperature, the batch's own shift and its memory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.language import mark
from lineview.rope.products import ProductGroups, group_products, identifiable
from lineview.stats.change_points import (
    SlopeChange,
    averaged_over_steps,
    find_slope_change,
    find_steps,
    slope_change_column,
    step_limit,
)
from lineview.stats.correlated_regression import CorrelatedFit, FitExtras, correlated_regression
from lineview.stats.step_scan import SEARCH_NOISES, scan_steps

Floats = NDArray[np.float64]

#: Batches that a drift needs at least.
LEAST_BATCHES = 8
#: Rope temperature enters the model where this share of batches has one and it varies by this much [°C].
TEMPERATURE_SHARE, TEMPERATURE_SD = 0.8, 0.1
#: Shapes of a slow change of pace in the model; steps are looked for beside them from this gain on.
SHAPES, CURVED = 2, 6.0
#: Share of lines of one pace in which a change of pace is found all the same, about.
BEND_SHARE = 0.01
#: How much more a change of pace must explain than a step, for a step near an end looks much like one.
STEP_FIRST = 3.0


@dataclass(frozen=True)
class Adjustment:
    """Something done to the rollers: when, what it is called, and the first batch after it (from 0)."""

    at: datetime
    label: str
    first: int
    running_h: float
    recorded: bool


@dataclass(frozen=True)
class RopeModel:
    """The fitted model of one sizer's batch points.

    `points` are the ROPE_BATCHES it rests on, deviation known, in order; `hours` and `deviation` their running hours
    and deviations from target [h, mm]. `columns`: level, wear, one a step, temperature where it is in,
    and shapes of a slow change of pace. `adjustments` are the steps in the model, recorded and found, in order of time.
    `centre_h`: running hours at which the level's coefficient stands; `temperature_c`: mean rope temperature [°C] where
    it is in the model; `bend_h`: running hours at which the wear changed its pace, where it did; `wear` is the pace
    since. `kinds` of product have an offset of their own; the level is that of the reference kind.
    """

    points: pl.DataFrame
    hours: Floats
    deviation: Floats
    columns: Floats
    adjustments: tuple[Adjustment, ...]
    fit: CorrelatedFit
    centre_h: float
    temperature_c: float | None
    bend_h: float | None = None
    kinds: ProductGroups | None = None

    @property
    def n(self) -> int:
        """Batches the fit rests on."""
        return self.hours.size

    def contrast(self, **parts: float) -> Floats:
        """A contrast from its parts: level, wear, temperature, step0, ..., bend, product0, ...

        gone0, ...: how far a level that wanders has gone, before each step and in the end.
        """
        out = np.zeros(self.fit.beta.shape[1])
        for name, value in parts.items():
            out[self._index(name)] = value
        return out

    def _index(self, name: str) -> int:
        kind = name.rstrip("0123456789")
        steps, shapes = 2 + len(self.adjustments), int(self.columns.shape[1]) - SHAPES
        first = {
            "level": 0,
            "wear": 1,
            "step": 2,
            "bend": steps,
            "product": steps + (self.bend_h is not None),
            "temperature": shapes - 1,
            "shape": shapes,
            "gone": shapes + SHAPES,
        }
        return first[kind] + int(name[len(kind) :] or 0)

    def at(self, hours: float) -> Floats:
        """The contrast for the expected deviation at some running hours, all steps made."""
        return self._standing(hours, len(self.adjustments))

    def before(self, step: int) -> Floats:
        """The contrast for the expected deviation just before a step."""
        return self._standing(self.adjustments[step].running_h, step)

    def _standing(self, hours: float, steps: int) -> Floats:
        parts = {f"step{i}": 1.0 for i in range(steps)} | {f"gone{steps}": 1.0}
        parts |= {f"shape{i}": float(v) for i, v in enumerate(_shapes(np.array([hours]), self.hours)[0])}
        if self.bend_h is not None:
            parts["bend"] = min(hours - self.bend_h, 0.0)
        return self.contrast(level=1.0, wear=hours - self.centre_h, **parts)

    def average(self) -> tuple[float, float, float]:
        """The deviation averaged over the batches read, with its 95 % interval [mm]."""
        fit, contrast = self.fit.staying(), self.contrast()
        contrast[: self.columns.shape[1]] = self.columns.mean(axis=0)
        return fit.mean(contrast), *fit.interval(contrast)

    def expected(self) -> Floats:
        """The expected deviation of each batch [mm]."""
        return np.asarray(self.columns @ (self.fit.weight @ self.fit.beta)[: self.columns.shape[1]])

    @property
    def since(self) -> datetime:
        """When the present run of wear began: at the last step, a change of pace, or the first batch."""
        first: datetime = self.points["at"][0]
        starts = [first, *(a.at for a in self.adjustments[-1:])]
        if self.bend_h is not None:
            starts.append(self.points["at"][int(np.searchsorted(self.hours, self.bend_h))])
        return max(starts)


def batch_steps(hours: Floats) -> Floats:
    """How many batches on each batch is from the one before, from its running hours.

    Takes `hours` [h].
    """
    between = np.diff(hours)
    usual = float(np.median(between)) if between.size else 1.0
    return np.ones(between.size) if usual <= 0 else np.maximum(1.0, np.round(between / usual))


def fit_rope(
    points: pl.DataFrame, done: Sequence[tuple[datetime, float, str]], kinds: Mapping[str, str] | None = None
) -> RopeModel | None:
    """Fit the model to batch points.

    Steps that nobody recorded are looked for and, once found, stay in the model.

    Source: restricted-likelihood, derived-rope
    """
    usable = points.filter(pl.col("deviation_mm").is_not_null() & pl.col("running_h").is_not_null())
    sorts = group_products(usable["product"], kinds) if kinds else None
    usable = usable if sorts is None else usable.filter(pl.Series(sorts.usable))
    hours = usable["running_h"].to_numpy().astype(np.float64)
    if usable.height < LEAST_BATCHES or float(np.ptp(hours)) <= 0:
        return None
    y = usable["deviation_mm"].to_numpy().astype(np.float64)
    centre = float(hours.mean())
    temperature, mean_c = _temperature_column(usable)
    trend = np.column_stack([np.ones(y.size), hours - centre])
    recorded = _recorded_adjustments(usable, done, len(temperature) + (0 if sorts is None else len(sorts.names)))
    earlier = tuple(a.first for a in recorded)
    base = np.column_stack([trend, *(_after(y.size, k) for k in earlier), *temperature])
    sorts = None if sorts is None else identifiable(sorts, base)
    offsets = [] if sorts is None else list(sorts.columns.T)
    base = np.column_stack([base, *offsets])
    steps = batch_steps(hours)
    shapes = _shapes(hours, hours)
    curved = _curved_gain(y, base, shapes, steps)
    bend = _early_bend(y, base, hours, steps, earlier, curved)
    bent = [] if bend is None else [slope_change_column(hours, bend.at)]
    beside = [shapes] if curved > CURVED and bend is None else []
    search = find_steps(y, np.column_stack([base, *bent, *beside]), steps, recorded=earlier)
    adjustments = sorted([*recorded, *(_unexplained_jump(usable, k) for k in search.steps)], key=lambda a: a.first)
    steps_of = [_after(y.size, a.first) for a in adjustments]
    columns = np.column_stack([trend, *steps_of, *bent, *offsets, *temperature, shapes])
    doubtful = tuple(2 + i for i, a in enumerate(adjustments) if not a.recorded)
    doubtful += () if bend is None else (2 + len(adjustments),)
    swaps = [(doubtful[-1], slope_change_column(hours, at), odds) for at, odds in (bend.others if bend else ())]
    extras = FitExtras((*(a.first - 1 for a in adjustments), y.size - 1), SHAPES)
    fit = averaged_over_steps(y, columns, steps, doubtful, search.next_best, swaps, extras)
    bend_h = None if bend is None else bend.at
    return RopeModel(usable, hours, y, columns, tuple(adjustments), fit, centre, mean_c, bend_h, sorts)


def _curved_gain(y: Floats, base: Floats, shapes: Floats, steps: Floats) -> float:
    """Twice the gain in log likelihood of a slow change of pace over none."""
    if y.size < base.shape[1] + 4:
        return 0.0
    both = np.column_stack([base, shapes])
    curved = correlated_regression(y, both, steps, SEARCH_NOISES, FitExtras(smooth=SHAPES))
    return 2 * (curved.likelihood - curved.straight)


def _early_bend(
    y: Floats, base: Floats, hours: Floats, steps: Floats, recorded: tuple[int, ...], curved: float
) -> SlopeChange | None:
    """Look for a change of pace before steps are looked for; a likelier step comes first."""
    margin = max(2 * LEAST_BATCHES, y.size // 10)
    inner = hours[margin:-margin]
    if inner.size < 2:
        return None
    many = 24 if y.size < 2000 else 12
    places = np.r_[
        np.linspace(inner[0], inner[-1], many), hours[[k for k in recorded if margin <= k < y.size - margin]]
    ]
    change = find_slope_change(y, base, hours, steps, places)
    if change is None or change.gain < max(step_limit(y.size, BEND_SHARE), curved + STEP_FIRST):
        return None
    step = scan_steps(y, base, steps, closed=recorded)
    return change if change.gain > step.gain + STEP_FIRST else None


def _shapes(hours: Floats, read: Floats) -> Floats:
    """Shapes of a slow change of pace: Legendre's second and third over the hours read, spread 1.

    Less their tangents at the last hour read, so that level and wear beside them are those of now.
    """
    back = np.minimum((hours - read[-1]) / (read[-1] - read[0]), 0.0)
    return np.column_stack([5**0.5 * 6 * back**2, 7**0.5 * (20 * back**3 + 30 * back**2)])


def _after(n: int, first: int) -> Floats:
    return (np.arange(n) >= first).astype(np.float64)


def _recorded_adjustments(
    points: pl.DataFrame, done: Sequence[tuple[datetime, float, str]], beside: int
) -> list[Adjustment]:
    """Give recorded adjustments with batches on either side; those between the same batches act as one."""
    times = points["at"]
    merged: dict[int, Adjustment] = {}
    for at, hours, label in sorted(done):
        first = int((times < at).sum())
        if not 1 <= first <= points.height - 1:
            continue
        before = merged.get(first)
        name = label if before is None or label == before.label else f"{before.label}; {label}"
        merged[first] = Adjustment(at, name, first, hours, recorded=True)
    adjustments = list(merged.values())
    room = points.height - 4 - beside  # a step a batch would leave nothing to judge them by
    return adjustments[-room:] if len(adjustments) > room else adjustments


def _unexplained_jump(points: pl.DataFrame, first: int) -> Adjustment:
    at, before = points["at"][first], points["at"][first - 1]
    hours = (float(points["running_h"][first]) + float(points["running_h"][first - 1])) / 2
    return Adjustment(before + (at - before) / 2, mark("unexplained jump"), first, hours, recorded=False)


def _temperature_column(points: pl.DataFrame) -> tuple[list[Floats], float | None]:
    """Deviation of the rope's temperature from its mean [°C]; missing ones stand at the mean."""
    values = points["temperature_c"].to_numpy().astype(np.float64)
    finite = np.isfinite(values)
    if finite.mean() < TEMPERATURE_SHARE or float(np.std(values[finite])) < TEMPERATURE_SD:
        return [], None
    mean = float(values[finite].mean())
    return [np.where(finite, values - mean, 0.0)], mean


def rope_components(model: RopeModel) -> pl.DataFrame:
    """Split each batch's deviation from target into what the model puts it down to.

    Source: derived-rope
    """
    beta = (model.fit.weight @ model.fit.beta)[: model.columns.shape[1]]
    share = model.columns * beta
    steps = slice(2, 2 + len(model.adjustments))
    bend = slice(steps.stop, steps.stop + (model.bend_h is not None))
    shapes = slice(model.columns.shape[1] - SHAPES, None)
    warm = slice(shapes.start - (model.temperature_c is not None), shapes.start)
    products = slice(bend.stop, warm.start)

    def part(name: str, *of: slice) -> pl.Series:
        columns = [share[:, group] for group in of]
        if not sum(group.shape[1] for group in columns):
            return pl.Series(name, [None] * model.n, dtype=pl.Float64)
        return pl.Series(name, np.concatenate(columns, axis=1).sum(axis=1))

    return model.points.select("running_h", "at", "batch").with_columns(
        part("wear_mm", slice(0, 2), bend, shapes),
        part("steps_mm", steps),
        part("temperature_mm", warm),
        part("products_mm", products),
        pl.Series("shift_mm", model.deviation - share.sum(axis=1)),
        pl.Series("deviation_mm", model.deviation),
    )
