"""Which diameter gauge of a sizer to go by, what its readings are worth, and whether two agree."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, log

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.language import mark
from lineview.plant import Gauge, Machine
from lineview.rope.batches import points_of, readings_in_batches
from lineview.rope.drift_model import LEAST_BATCHES, batch_steps
from lineview.stats.correlated_regression import correlated_regression

Floats = NDArray[np.float64]

#: What a true diameter in mm is multiplied by when the gauge in truth shows another unit, and its name.
UNIT_SLIPS: tuple[tuple[float, str], ...] = (
    (1 / 25.4, mark("inches")),
    (1 / 0.0254, mark("thousandths of an inch")),
    (0.1, mark("centimetres")),
    (10.0, mark("tenths of a millimetre")),
    (100.0, mark("hundredths of a millimetre")),
    (1000.0, mark("micrometres")),
)
OTHER_UNIT = mark("another unit")
#: A median within this share of the target is taken for rope; a slip must fit the target as closely.
NEAR = 0.25
#: Readings further than this share from the target are no rope: an empty gauge, a hand, a join.
ROPE = 0.5


@dataclass(frozen=True)
class GaugeCheck:
    """What a check of a gauge's readings found.

    `usable`: readings (at, value [mm]) that may be used, in order of time; `dead`: whether the gauge shows one
    and the same value throughout; `slip`: unit that the values seem to be in instead of mm, or ""; `off_rope`:
    readings left out because they are too far from any rope; `frozen`: readings left out because the gauge stood
    still for longer than chance allows; `median_mm`: median of all readings as given.
    """

    usable: pl.DataFrame
    dead: bool
    slip: str
    off_rope: int
    frozen: int
    median_mm: float | None


def check_gauge(readings: pl.DataFrame, target_mm: float | None, tolerance_mm: float | None) -> GaugeCheck:
    """Tell usable readings from those of a dead gauge, of another unit or of no rope.

    Source: derived-rope
    """
    values_at = readings.drop_nulls()
    if not (np.diff(values_at["at"].to_physical().to_numpy()) > 0).all():
        values_at = values_at.unique("at", keep="first", maintain_order=True).sort("at")
    values = values_at["value"].to_numpy()
    nothing = values_at.clear()
    if values.size == 0:
        return GaugeCheck(nothing, False, "", 0, 0, None)
    median = float(np.median(values))
    if values.size >= 5 and float(np.ptp(values)) == 0.0:
        return GaugeCheck(nothing, True, "", 0, values.size, median)
    slip = unit_slip(values, target_mm, tolerance_mm)
    if slip:
        return GaugeCheck(nothing, False, slip, 0, 0, median)
    frozen = standing_still(values)
    middle = target_mm if target_mm is not None else median
    rope = np.abs(values / middle - 1) <= ROPE
    usable = values_at.filter(pl.Series(rope & ~frozen))
    off = int(np.sum(~rope & ~frozen))
    stuck = int(frozen.sum())
    return GaugeCheck(usable, stuck > 0.9 * values.size, "", off, stuck, median)


def unit_slip(values: Floats, target_mm: float | None, tolerance_mm: float | None) -> str:
    """Name the unit that values seem to be in instead of mm, or give ""."""
    if target_mm is None or values.size == 0:
        return ""
    live = values[np.abs(values) > 1e-6 * target_mm]
    if live.size == 0:
        return ""
    ratio = float(np.median(live)) / target_mm
    near = max(NEAR, 6 * (tolerance_mm or 0.0) / target_mm)
    if abs(ratio - 1) <= near:
        return ""
    for factor, name in UNIT_SLIPS:
        if abs(ratio / factor - 1) <= NEAR:
            return name
    return "" if abs(ratio - 1) <= ROPE else OTHER_UNIT


def standing_still(values: Floats) -> NDArray[np.bool_]:
    """Mark readings in runs of one value that are longer than chance allows at the gauge's resolution.

    With p the usual share of repeats, a run of k repeats is expected less than once in 10 000 series where
    n pᵏ < 10⁻⁴. Runs below 20 are never marked.
    """
    n = values.size
    if n < 20:
        return np.zeros(n, dtype=np.bool_)
    starts = np.flatnonzero(np.r_[True, values[1:] != values[:-1]])
    lengths = np.diff(np.r_[starts, n])
    ordinary = lengths[lengths < 20]
    repeats = float(np.sum(ordinary - 1)) / max(1.0, float(np.sum(ordinary)))
    longest = 20 if repeats <= 0 else max(20, ceil(log(1e-4 / n) / log(min(repeats, 0.98))))
    return np.repeat(lengths > longest, lengths)


@dataclass(frozen=True)
class CheckedGauge:
    """A diameter gauge with what its check found; `last` where it sits behind the last roller pair."""

    gauge: Gauge
    check: GaugeCheck
    last: bool


def diameter_gauges(
    machine: Machine, readings: pl.DataFrame, target_mm: float | None, tolerance_mm: float | None
) -> list[CheckedGauge]:
    """Check every diameter gauge of a sizer, the one to go by first.

    Parameters
    ----------
    machine : Machine
        The sizer.
    readings : polars.DataFrame
        READINGS of the machine.
    target_mm, tolerance_mm : float or None
        The rope's target diameter and tolerance [mm].

    Returns
    -------
    list of CheckedGauge
        Gauges that have readings. The one to go by is usable and the last along the rope: by its position,
        else by its roller pair, else by its readings.

    Notes
    -----
    Source: derived-rope
    """
    checked = []
    for gauge in machine.gauges:
        if gauge.measures != "rope diameter":
            continue
        of_gauge = readings.select("at", "value").filter(readings["channel"] == gauge.id)
        if of_gauge.is_empty():
            continue
        # a pair's own gauge sits before the last pair, where the rope is not yet at its final size
        inner = gauge.pair is not None and gauge.pair < last_pair(machine.gauges)
        check = check_gauge(of_gauge, None if inner else target_mm, tolerance_mm)
        checked.append(CheckedGauge(gauge, check, not inner))
    return sorted(checked, key=_preference, reverse=True)


def last_pair(gauges: Sequence[Gauge]) -> int:
    """The number of the last roller pair that any gauge names, 0 where none does."""
    return max((g.pair or 0 for g in gauges), default=0)


def _preference(checked: CheckedGauge) -> tuple[bool, bool, int, int]:
    gauge, usable = checked.gauge, checked.check.usable.height
    return usable > 0, checked.last, round(gauge.position_mm or 0.0), usable


def gauge_values(machine: Machine, readings: pl.DataFrame, measures: str) -> pl.DataFrame | None:
    """The readings (at, value) of the first gauge that measures this and has any."""
    for gauge in machine.gauges:
        if gauge.measures == measures:
            of_gauge = readings.select("at", "value").filter(readings["channel"] == gauge.id).drop_nulls()
            if not of_gauge.is_empty():
                return of_gauge.sort("at")
    return None


@dataclass(frozen=True)
class Agreement:
    """Mean difference of two gauges [mm] and its change an hour [mm/h] with 95 % interval, by batch means."""

    first: str
    second: str
    difference_mm: float
    apart_mm_per_h: float
    low: float
    high: float
    batches: int

    @property
    def wanders(self) -> bool:
        """Whether the gauges drift apart beyond chance."""
        return self.low > 0 or self.high < 0


def gauge_agreement(
    first: tuple[str, pl.DataFrame],
    second: tuple[str, pl.DataFrame],
    batches: pl.DataFrame,
    running: Callable[[pl.Series], Floats],
) -> Agreement | None:
    """Compare two gauges batch by batch.

    Takes `running` [h].

    Source: restricted-likelihood, derived-rope
    """
    means = []
    for _, readings in (first, second):
        core = readings_in_batches(readings, batches)
        means.append(points_of(core, None, {}, running).select("batch", "running_h", "diameter_mm"))
    both = means[0].join(means[1], on="batch", how="inner", maintain_order="left", suffix="_2")
    hours = both["running_h"].to_numpy().astype(np.float64)
    if both.height < LEAST_BATCHES or float(np.ptp(hours)) <= 0:
        return None
    difference = (both["diameter_mm_2"] - both["diameter_mm"]).to_numpy().astype(np.float64)
    if float(np.ptp(difference)) == 0:
        return Agreement(first[0], second[0], float(difference[0]), 0.0, 0.0, 0.0, both.height)
    columns = np.column_stack([np.ones(hours.size), hours - hours.mean()])
    fit = correlated_regression(difference, columns, batch_steps(hours))
    difference_in_rate = np.array([0.0, 1.0])
    return Agreement(
        first[0],
        second[0],
        float(difference.mean()),
        fit.mean(difference_in_rate),
        *fit.interval(difference_in_rate),
        both.height,
    )
