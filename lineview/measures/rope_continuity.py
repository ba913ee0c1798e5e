"""The roller train: what is drawn thinner must go faster, so v·d² shows where rope slips."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import polars as pl

from lineview.plant import Gauge, Machine
from lineview.stats.means import interval_of_block_means


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

    Parameters
    ----------
    value : polars.Expr
        Its readings.
    gauge : Gauge
        For its unit and its roller's diameter.

    Returns
    -------
    polars.Expr or None
        Surface speed [mm/s]; None where the unit or the roller's diameter is not known.
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

    Parameters
    ----------
    machine : Machine
        The sizer; its gauges name their pairs.
    readings : polars.DataFrame
        READINGS of the machine.

    Returns
    -------
    list of Slip
        Each earlier pair against the last one, by minute means; empty with fewer than two such pairs.

    Notes
    -----
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
        own = [g for g in machine.gauges if g.pair == pair]
        speed = next((g for g in own if g.measures == "roller speed"), None)
        size = next((g for g in own if g.measures == "rope diameter"), None)
        if speed is None or size is None or (surface := surface_speed_mm_s(pl.col("value"), speed)) is None:
            continue
        v = readings.filter((pl.col("channel") == speed.id) & (pl.col("value") > 0))
        d = readings.filter((pl.col("channel") == size.id) & (pl.col("value") > 0))
        v = v.group_by(minute, maintain_order=True).agg(v=surface.mean())
        d = d.group_by(minute, maintain_order=True).agg(d=pl.col("value").mean())
        flow = v.join(d, on="minute", how="inner", maintain_order="left").select(
            "minute", (pl.col("v") * pl.col("d") ** 2).alias(str(pair))
        )
        table = flow if table is None else table.join(
            flow, on="minute", how="inner", maintain_order="left"
        )  # fmt: skip
    return table
