"""Which diameter gauge of a sizer to go by, what its readings are worth, and whether two agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from lineview.measures.gauge_faults import GaugeCheck, check_gauge
from lineview.plant import Gauge, Machine


@dataclass(frozen=True)
class CheckedGauge:
    """A diameter gauge with what its check found; `last` where it sits behind the last roller pair."""

    gauge: Gauge
    check: GaugeCheck
    last: bool = True


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
        own = readings.filter(pl.col("channel") == gauge.id)
        if own.is_empty():
            continue
        # a pair's own gauge sits before the last pair, where the rope is not yet at its final size
        inner = gauge.pair is not None and gauge.pair < last_pair(machine.gauges)
        check = check_gauge(own, None if inner else target_mm, tolerance_mm)
        checked.append(CheckedGauge(gauge, check, not inner))
    return sorted(checked, key=_preference, reverse=True)


def last_pair(gauges: Sequence[Gauge]) -> int:
    """Give the number of the last roller pair that any gauge names, 0 where none does."""
    return max((g.pair or 0 for g in gauges), default=0)


def _preference(one: CheckedGauge) -> tuple[bool, bool, int, int]:
    gauge, usable = one.gauge, one.check.usable.height
    return usable > 0, one.last, round(gauge.position_mm or 0.0), usable


def gauge_values(machine: Machine, readings: pl.DataFrame, measures: str) -> pl.DataFrame | None:
    """Give the readings (at, value) of the first gauge that measures this and has any.

    Parameters
    ----------
    machine : Machine
        The sizer.
    readings : polars.DataFrame
        READINGS of the machine.
    measures : str
        Such as "rope temperature".

    Returns
    -------
    polars.DataFrame or None
        In order of time; None where no such gauge has readings.
    """
    for gauge in machine.gauges:
        if gauge.measures == measures:
            own = readings.filter(pl.col("channel") == gauge.id).select("at", "value").drop_nulls()
            if not own.is_empty():
                return own.sort("at")
    return None
