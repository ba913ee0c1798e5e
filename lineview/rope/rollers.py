"""The mark a worn or bent roller leaves: a ripple of the rope at the roller's turning period."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
import polars as pl

from lineview.core.language import mark
from lineview.plant import Gauge, Machine
from lineview.stats.means import interval_of_block_means
from lineview.stats.serial_correlation import Ripple, ripple_at


@dataclass(frozen=True)
class Slip:
    """Flow of one pair against the last pair's: mean share missing, its 95 % interval, minutes compared.

    Above 0 the rollers of the earlier pair carry less rope than the last pair draws off, below 0 more: the
    rope then slips on one of the two, or is stretched between them, or a diameter is wrong.
    """

    pair: int
    against: int
    share: float
    low: float
    high: float
    minutes: int


def surface_speed_mm_s(value: pl.Expr, gauge: Gauge) -> pl.Expr | None:
    """Bring a roller-speed gauge's readings to mm/s.

    Gives [mm/s].
    """
    if gauge.unit == "mm/s":
        return value
    if gauge.unit == "m/min":
        return value * 1000 / 60
    if gauge.unit == "rpm" and gauge.roller_diameter_mm is not None:
        return value * pi * gauge.roller_diameter_mm / 60
    return None


def slips(machine: Machine, readings: pl.DataFrame) -> list[Slip]:
    """Compare v·d² between roller pairs that have both a speed and a diameter gauge.

    The interval rests on means over ten stretches of time, since minutes depend on each other.

    Source: derived-rope
    """
    flows = _flows(machine, readings)
    if flows is None or len(flows.columns) < 3:
        return []
    pairs = sorted(int(c) for c in flows.columns if c != "minute")
    out = []
    for pair in pairs[:-1]:
        both = flows.select(str(pair), str(pairs[-1])).drop_nulls().to_numpy()
        if both.shape[0] < 10:
            continue
        share = interval_of_block_means(1 - both[:, 0] / both[:, 1])
        if share.value is not None and share.low is not None and share.high is not None:
            out.append(Slip(pair, pairs[-1], share.value, share.low, share.high, both.shape[0]))
    return out


def _flows(machine: Machine, readings: pl.DataFrame) -> pl.DataFrame | None:
    """Give v·d² by minute and pair; speeds at a standstill are left out."""
    minute = pl.col("at").dt.truncate("1m").alias("minute")
    table: pl.DataFrame | None = None
    for pair in sorted({g.pair for g in machine.gauges if g.pair is not None}):
        of_pair = [g for g in machine.gauges if g.pair == pair]
        speed = next((g for g in of_pair if g.measures == "roller speed"), None)
        size = next((g for g in of_pair if g.measures == "rope diameter"), None)
        if speed is None or size is None or (surface := surface_speed_mm_s(pl.col("value"), speed)) is None:
            continue
        v = readings.filter((pl.col("channel") == speed.id) & (pl.col("value") > 0))
        d = readings.filter((pl.col("channel") == size.id) & (pl.col("value") > 0))
        v = v.group_by(minute, maintain_order=True).agg(v=surface.mean())
        d = d.group_by(minute, maintain_order=True).agg(d=pl.col("value").mean())
        flow = v.join(d, on="minute", how="inner", maintain_order="left").select(
            "minute", (pl.col("v") * pl.col("d") ** 2).alias(str(pair))
        )
        table = flow if table is None else table.join(flow, on="minute", how="inner", maintain_order="left")
    return table


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
    def has_ripple(self) -> bool:
        """Whether the ripple can be separated from noise."""
        return self.ripple is not None and self.ripple.chance < CHANCE


def roller_ripples(machine: Machine, readings: pl.DataFrame, gauge: pl.DataFrame) -> list[RollerRipple]:
    """Look for the ripple of every roller pair whose diameter and speed are known.

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
    return sorted(out, key=lambda ripple: ripple.pair)


def turning_period_s(speed: Gauge, readings: pl.DataFrame) -> float | None:
    """The time one turn of a roller takes at its median speed.

    Gives [s].

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
        return RollerRipple(pair, period, None, mark("too few readings"))
    if float(np.median(np.diff(seconds))) * 2.2 > period:
        return RollerRipple(pair, period, None, mark("readings too far apart to see a turn"))
    # slow change, a batch's own level among it, is no ripple: the mean of about four turns is taken out
    value = last["value"].to_numpy().astype(np.float64)
    width = max(5, round(4 * period / float(np.median(np.diff(seconds)))))
    slow = np.convolve(value, np.ones(width) / width, mode="same")
    inner = slice(width, -width) if seconds.size > 4 * width else slice(None)
    ripple = ripple_at(seconds[inner], (value - slow)[inner], period)
    return RollerRipple(pair, period, ripple, "" if ripple else mark("too few turns were seen"))
