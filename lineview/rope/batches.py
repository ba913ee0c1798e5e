"""One point a batch of the rope: mean, spread, temperature and running hours."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import sqrt

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.estimate import Estimate
from lineview.core.frames import BATCHES, ROPE_BATCHES, UTC_US, empty
from lineview.core.language import mark, tr
from lineview.machine.activity import RUNNING, SLOW
from lineview.machine.pieces import MachineCounts, micros
from lineview.stats.batch_correlation import SLOPE_FROM, within_batch_correlation
from lineview.stats.means import interval_of_mean
from lineview.stats.serial_correlation import effective_n

Floats = NDArray[np.float64]

#: Batch marks may be off by a minute or two: this much is left out at either end [s], but never more than
#: this share of the batch, and nothing where a batch has fewer readings than this.
EDGE_S, EDGE_SHARE, EDGE_READINGS = 120.0, 0.15, 20
#: Readings further than this many robust standard deviations from their batch's median are left out.
FAR = 6.0
#: Pieces a wrapping machine makes a minute, where nothing counted them (trade-practice: common practice, no source).
USUAL_PER_MIN = 350.0


def readings_in_batches(gauge_readings: pl.DataFrame, batches: pl.DataFrame) -> pl.DataFrame:
    """Sort gauge readings into batches and leave out those near a mark and single wild ones.

    Parameters
    ----------
    gauge_readings : polars.DataFrame
        Columns at [UTC] and value [mm], usable readings in order of time.
    batches : polars.DataFrame
        BATCHES of the line.

    Returns
    -------
    polars.DataFrame
        Columns at, value [mm], nr (of the batch, from 0), batch, product, start and end of the batch.
    """
    batches = batches.filter(pl.col("start").is_not_null()) if batches.width else batches
    if gauge_readings.is_empty() or batches.is_empty():
        text, number = pl.String(), pl.Float64()
        names = {"at": UTC_US, "value": number, "nr": pl.Int64(), "batch": text, "product": text}
        return pl.DataFrame(schema={**names, "start": UTC_US, "end": UTC_US})
    marks = _with_ends(batches, gauge_readings)
    core = _without_far(_without_edges(_in_batches(gauge_readings, marks)))
    # What a batch is called is laid beside a season of readings at last, when nothing is left out any more.
    return core.hstack(marks[core["nr"].to_numpy()].drop("nr"))


def points_of(
    core: pl.DataFrame,
    temperature: pl.DataFrame | None,
    targets: Mapping[str, float],
    running: Callable[[pl.Series], Floats],
) -> pl.DataFrame:
    """Reduce readings sorted into batches to one point a batch.

    Takes `targets` [mm], `running` [h].

    Source: derived-rope, trade-practice
    """
    if core.is_empty():
        return empty(ROPE_BATCHES).with_columns(taper_mm=pl.lit(None, dtype=pl.Float64))
    points = core.group_by("nr", maintain_order=True).agg(
        pl.first("batch", "product"),
        at=pl.col("at").mean(),
        diameter_mm=pl.col("value").mean(),
        sd_mm=pl.col("value").std(),
        n=pl.len().cast(pl.Int64),
    )
    points = points.with_columns(_taper(core), _temperatures(core, temperature))
    points = points.sort("at").with_columns(
        at=pl.col("at").cast(UTC_US),
        taper_mm=pl.when(pl.col("n") >= 8).then(pl.col("taper_mm")),
        target=pl.col("product").replace_strict(dict(targets), default=None, return_dtype=pl.Float64),
    )
    hours = pl.Series("running_h", running(points["at"]), dtype=pl.Float64)
    points = points.with_columns(hours, deviation_mm=pl.col("diameter_mm") - pl.col("target"))
    return points.select(*ROPE_BATCHES, "taper_mm")


def _with_ends(batches: pl.DataFrame, readings: pl.DataFrame) -> pl.DataFrame:
    last = readings["at"].max()
    following = pl.col("start").shift(-1)
    return (
        batches.unique(["batch", "start"], keep="first", maintain_order=True)
        .sort("start")
        .with_columns(
            end=pl.min_horizontal(pl.col("end"), following).fill_null(
                pl.lit(last, dtype=UTC_US) + timedelta(microseconds=1)
            ),
            nr=pl.int_range(pl.len()),
        )
        .select("nr", "batch", "product", "start", "end")
    )


def _in_batches(readings: pl.DataFrame, marks: pl.DataFrame) -> pl.DataFrame:
    """The readings that lie in a batch, in order of time: at, value and nr."""
    rows = readings.select("at", "value").sort("at")
    at, starts, ends = (moments.to_physical().to_numpy() for moments in (rows["at"], marks["start"], marks["end"]))
    nr = np.searchsorted(starts, at, side="right") - 1
    inside = (nr >= 0) & (at < ends[nr])
    return rows.with_columns(nr=pl.Series(nr)).filter(inside)


def _without_edges(readings: pl.DataFrame) -> pl.DataFrame:
    """Leave out the readings near a batch's marks, where the batch has enough of them."""
    begins, n = _runs_of(readings)
    at = readings["at"].to_physical().to_numpy()
    first, last = at[begins], at[begins + n - 1]
    edge = np.where(n < EDGE_READINGS, 0.0, np.minimum(EDGE_S, EDGE_SHARE * ((last - first) / 1e6)))
    inside = (at - np.repeat(first, n)) / 1e6 >= np.repeat(edge, n)
    inside &= (np.repeat(last, n) - at) / 1e6 >= np.repeat(edge, n)
    return readings.filter(inside)


def _without_far(core: pl.DataFrame) -> pl.DataFrame:
    """Leave out single wild readings, where a batch has enough others to show that they are."""
    nr, n = core["nr"], _runs_of(core)[1]

    def medians(value: pl.Series) -> Floats:
        each = (
            pl.DataFrame({"nr": nr, "value": value}).group_by("nr", maintain_order=True).agg(pl.col("value").median())
        )
        return each["value"].to_numpy()

    away = np.abs(core["value"].to_numpy() - np.repeat(medians(core["value"]), n))
    spread = 1.4826 * medians(pl.Series(away))
    most = np.where((n < EDGE_READINGS) | (spread == 0), np.inf, FAR * spread)
    return core.filter(away <= np.repeat(most, n))


def _runs_of(readings: pl.DataFrame) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where each batch's readings, which lie together, begin, and how many they are."""
    begins = np.flatnonzero(np.diff(readings["nr"].to_numpy(), prepend=-1))
    return begins, np.diff(np.r_[begins, readings.height])


def _taper(core: pl.DataFrame) -> pl.Series:
    """Slope of each batch's readings times its whole length, from one mark to the next."""
    begins, n = _runs_of(core)
    at, value = core["at"].to_physical().to_numpy(), core["value"].to_numpy()
    seconds = (at - np.repeat(at[begins], n)) / 1e6
    span = seconds[begins + n - 1]
    seconds -= np.repeat(np.add.reduceat(seconds, begins) / n, n)
    squares = np.add.reduceat(seconds**2, begins)
    slope = np.add.reduceat(seconds * value, begins) / np.where(squares > 0, squares, np.nan)
    start, end = (core[name].gather(begins).to_physical().to_numpy() for name in ("start", "end"))
    length = (end - start) / 1e6
    # where the mark to the next start includes a pause, the readings' own span is the batch's length
    return pl.Series("taper_mm", slope * np.where(length > 2 * span, span, length))


def _temperatures(core: pl.DataFrame, temperature: pl.DataFrame | None) -> pl.Series:
    """Mean rope temperature between each batch's first and last reading used; null where none was read."""
    begins, n = _runs_of(core)
    means = np.full(n.size, np.nan)
    if temperature is not None and not temperature.is_empty():
        read = temperature.drop_nulls("value").sort("at")
        at, used = (frame["at"].to_physical().to_numpy() for frame in (read, core))
        first = np.searchsorted(at, used[begins])
        last = np.searchsorted(at, used[begins + n - 1], side="right")
        there = last > first
        sums = np.add.reduceat(np.append(read["value"].to_numpy(), 0.0), np.column_stack([first, last])[there].ravel())
        means[there] = sums[::2] / (last - first)[there]
    return pl.Series("temperature_c", means).fill_nan(None)


def boundaries_from_pauses(
    readings: pl.DataFrame, *, line: str, product: str, pause_s: float = 45.0, least_min: float = 3.0
) -> pl.DataFrame:
    """Find batches from pauses in the rope, where no batch sheet was exported.

    Source: derived-rope
    """
    if readings.height < 3:
        return empty(BATCHES)
    gaps = readings["at"].diff().dt.total_microseconds() / 1e6
    usual = float(np.median(gaps.drop_nulls().to_numpy()))
    parted = (gaps > max(pause_s, 5 * usual)).fill_null(value=False)
    if int(parted.sum()) < 1:
        return empty(BATCHES)
    runs = (
        readings.with_columns(run=parted.cast(pl.Int64).cum_sum())
        .group_by("run", maintain_order=True)
        .agg(start=pl.col("at").min(), end=pl.col("at").max() + timedelta(microseconds=1))
        .filter(pl.col("end") - pl.col("start") >= timedelta(minutes=least_min))
    )
    return _with_names(runs, line, product, "p")


def blocks_of_time(readings: pl.DataFrame, *, line: str, product: str, block_min: float) -> pl.DataFrame:
    """Cut readings into blocks of equal length, where batches are not known.

    Source: derived-rope
    """
    if readings.is_empty():
        return empty(BATCHES)
    first = readings["at"].min()
    block = ((pl.col("at") - first).dt.total_microseconds() / (block_min * 6e7)).floor().cast(pl.Int64)
    runs = (
        readings.with_columns(block=block)
        .group_by("block", maintain_order=True)
        .agg(start=pl.col("at").min(), end=pl.col("at").max() + timedelta(microseconds=1))
    )
    return _with_names(runs, line, product, "b")


def _with_names(runs: pl.DataFrame, line: str, product: str, letter: str) -> pl.DataFrame:
    number = pl.int_range(1, pl.len() + 1).cast(pl.String)
    return runs.select(
        line=pl.lit(line),
        batch=pl.lit(letter) + number,
        product=pl.lit(product),
        start=pl.col("start").cast(UTC_US),
        end=pl.col("end").cast(UTC_US),
        mass_in_kg=pl.lit(None, dtype=pl.Float64),
        intake=pl.lit(0, dtype=pl.Int64),
        row=pl.lit(0, dtype=pl.Int64),
    )


@dataclass(frozen=True)
class WithinBatch:
    """Spread within batches and taper, and how far a batch's mean may stray by sampling [mm]."""

    sd: Estimate
    taper: Estimate
    sampling_sd_mm: float


def within_batch(core: pl.DataFrame, points: pl.DataFrame) -> WithinBatch:
    """Estimate spread and taper within batches.

    Source: restricted-likelihood, derived-rope
    """
    if core.is_empty():
        none = Estimate.unknown(tr("no reading within a batch"))
        return WithinBatch(none, none, 0.0)
    nr = core["nr"].rank("dense").to_numpy().astype(np.int64) - 1
    seconds = core["at"].dt.epoch("us").to_numpy() / 1e6
    usual = int(np.median(np.bincount(nr)))
    long = usual >= SLOPE_FROM
    values = core["value"].to_numpy().astype(np.float64)
    readings = within_batch_correlation(values, seconds, nr, independent=not long)
    taper = interval_of_mean(points["taper_mm"].drop_nulls().to_numpy())
    if readings.sd.value is None:
        return WithinBatch(readings.sd, taper, 0.0)
    worth = effective_n(usual, max(readings.autocorrelation, 0.0)) if long else max(1, usual)
    return WithinBatch(readings.sd, taper, readings.sd.value / sqrt(worth))


def live_hours(readings: pl.DataFrame, at: pl.Series, gap_s: float) -> Floats:
    """Give hours of live gauge readings since the first, at given moments.

    Gives [h].

    Source: derived-rope
    """
    seconds = readings["at"].dt.epoch("us").to_numpy() / 1e6
    moments_s = at.dt.epoch("us").to_numpy() / 1e6
    if seconds.size < 2:
        return np.zeros(moments_s.size)
    between = np.diff(seconds)
    longest = max(gap_s, 3 * float(np.median(between)))
    hours = np.r_[0.0, np.cumsum(np.where(between <= longest, between, 0.0))] / 3600
    inside = np.clip(np.searchsorted(seconds, moments_s, side="right") - 1, 0, seconds.size - 1)
    room = np.where(inside < between.size, between[np.minimum(inside, between.size - 1)], 0.0)
    extra = np.clip(moments_s - seconds[inside], 0.0, np.where(room <= longest, room, 0.0))
    return np.asarray(hours[inside] + extra / 3600)


#: The source of a clock without a counter.
LIVE = mark("live gauge readings")


@dataclass(frozen=True)
class RopeClock:
    """Running hours at moments, and what they come from."""

    hours: Callable[[pl.Series], Floats]
    source: str


def rope_clock(
    sizer: MachineCounts | None,
    wrappers: Sequence[MachineCounts],
    gauge: pl.DataFrame,
    period: tuple[datetime, datetime],
    *,
    gap_s: float,
) -> RopeClock:
    """Choose the best clock there is for the wear of a sizer's rollers.

    Source: derived-rope
    """
    probe = gauge["at"].gather_every(max(1, gauge.height // 200))

    def live(at: pl.Series) -> Floats:
        return live_hours(gauge, at, gap_s)

    live_h = float(np.ptp(live(probe))) if len(probe) else 0.0
    rope = None if sizer is None else sizer.machine.counter("rope")
    if sizer is not None and rope is not None and sizer.has_read("rope"):
        clock = _by_activity(sizer, period, tr("{counter} of {machine}", counter=rope.id, machine=sizer.machine.label))
        if _covers(clock, probe, live_h):
            return clock
    for wrapper in wrappers:
        if not len(wrapper.activity.code):
            continue
        clock = _by_activity(wrapper, period, tr("pieces of {machine}", machine=wrapper.machine.label))
        if _covers(clock, probe, live_h):
            return clock
    return RopeClock(live, LIVE)


def _by_activity(counts: MachineCounts, period: tuple[datetime, datetime], source: str) -> RopeClock:
    """Hours run, slow ones too, since the period's start."""
    activity = counts.activity
    start, end = micros(period)
    edge = np.clip(activity.edge, start, end)
    ran = np.where(np.isin(activity.code, (RUNNING, SLOW)), np.diff(edge) / 3.6e9, 0.0)
    so_far = np.concatenate(([0.0], np.cumsum(ran)))

    def hours(at: pl.Series) -> Floats:
        return np.asarray(np.interp(at.dt.epoch("us").to_numpy(), edge, so_far))

    return RopeClock(hours, source)


def _covers(clock: RopeClock, probe: pl.Series, live_h: float) -> bool:
    """Whether a counter saw at least 60 % of the hours in which the gauge was live."""
    return len(probe) > 1 and float(np.ptp(clock.hours(probe))) >= 0.6 * live_h > 0
