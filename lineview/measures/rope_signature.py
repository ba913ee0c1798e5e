"""The mark a worn or bent roller leaves: a ripple of the rope at the roller's turning period."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
import polars as pl

from lineview.measures.rope_continuity import surface_speed_mm_s
from lineview.plant import Gauge, Machine
from lineview.stats.serial_correlation import Ripple, ripple_at

#: A ripple is named where noise makes one as strong in less than this share of cases.
CHANCE = 0.001
#: Readings looked at, at most: the last ones.
MOST_READINGS = 40_000


@dataclass(frozen=True)
class RollerRipple:
    """What was looked for at one roller pair: its turning period [s], what stands there, or why nothing."""

    pair: int
    turns_s: float
    ripple: Ripple | None
    why_none: str

    @property
    def found(self) -> bool:
        """Whether the ripple can be told from noise."""
        return self.ripple is not None and self.ripple.chance < CHANCE


def roller_ripples(machine: Machine, readings: pl.DataFrame, gauge: pl.DataFrame) -> list[RollerRipple]:
    """Look for the ripple of every roller pair whose diameter and speed are known.

    Parameters
    ----------
    machine : Machine
        The sizer; a gauge of roller speed names its pair and its roller's diameter.
    readings : polars.DataFrame
        READINGS of the machine.
    gauge : polars.DataFrame
        Columns at and value [mm], usable diameter readings in order.

    Returns
    -------
    list of RollerRipple
        By pair.

    Notes
    -----
    A pair of rollers of diameter D at surface speed v turns once in π D / v.

    Source: derived-rope
    """
    out = []
    for speed in machine.gauges:
        if speed.measures != "roller speed" or speed.roller_diameter_mm is None or speed.pair is None:
            continue
        period = turning_period_s(speed, readings)
        if period is None:
            continue
        out.append(_look(speed.pair, period, gauge))
    return sorted(out, key=lambda one: one.pair)


def turning_period_s(speed: Gauge, readings: pl.DataFrame) -> float | None:
    """Give the time one turn of a roller takes at its median speed.

    Parameters
    ----------
    speed : Gauge
        A gauge of roller speed, its roller's diameter known.
    readings : polars.DataFrame
        READINGS of the machine.

    Returns
    -------
    float or None
        Period [s]; None where the roller never turned.

    Notes
    -----
    Source: derived-rope
    """
    surface = surface_speed_mm_s(pl.col("value"), speed)
    if surface is None or speed.roller_diameter_mm is None:
        return None
    turning = readings.filter((pl.col("channel") == speed.id) & (pl.col("value") > 0)).select(surface)
    if turning.is_empty():
        return None
    return pi * speed.roller_diameter_mm / float(np.median(turning.to_series().to_numpy()))


def _look(pair: int, period: float, gauge: pl.DataFrame) -> RollerRipple:
    last = gauge.tail(MOST_READINGS)
    seconds = last["at"].dt.epoch("us").to_numpy() / 1e6
    if seconds.size < 60:
        return RollerRipple(pair, period, None, "too few readings")
    if float(np.median(np.diff(seconds))) * 2.2 > period:
        return RollerRipple(pair, period, None, "readings too far apart to see a turn")
    # slow change, a batch's own level among it, is no ripple: the mean of about four turns is taken out
    value = last["value"].to_numpy().astype(np.float64)
    width = max(5, round(4 * period / float(np.median(np.diff(seconds)))))
    slow = np.convolve(value, np.ones(width) / width, mode="same")
    inner = slice(width, -width) if seconds.size > 4 * width else slice(None)
    found = ripple_at(seconds[inner], (value - slow)[inner], period)
    return RollerRipple(pair, period, found, "" if found else "too few turns were seen")
