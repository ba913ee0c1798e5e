"""How much of the spread of piece weight comes from diameter, cut length and density.

Mass is density × π/4 × diameter² × cut length, so ln mass is a sum and its variance the sum of the parts'.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.language import mark, tr
from lineview.machine.pieces import MachineCounts
from lineview.rope.batches import readings_in_batches
from lineview.stats.generalized_intervals import Part, VarianceShare, levels_of, variance_shares
from lineview.stats.serial_correlation import Lag, best_lag

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
#: Readings this far either side of the moment are averaged [s].
REACH_S = 7.5
#: Beyond this many seconds without a reading the diameter of a moment is not known.
GAP_S = 30.0


def rope_before(rope_s: Floats, diameter_mm: Floats, at_s: Floats, delay_s: float | Floats) -> Floats:
    """The rope's diameter a delay before given moments.

    Takes `rope_s`, `diameter_mm` [s, ascending].
    """
    if rope_s.size == 0:
        return np.full(at_s.size, np.nan)
    moments_s = at_s - delay_s
    running = np.concatenate([[0.0], np.cumsum(diameter_mm)])
    first = np.searchsorted(rope_s, moments_s - REACH_S, side="left")
    last = np.searchsorted(rope_s, moments_s + REACH_S, side="right")
    inside = last - first
    diameter: Floats = (running[last] - running[first]) / np.maximum(inside, 1)
    alone = np.flatnonzero(inside == 0)
    moments_s = moments_s[alone]
    after = np.clip(np.searchsorted(rope_s, moments_s), 0, rope_s.size - 1)
    before = np.maximum(after - 1, 0)
    away = np.minimum(np.abs(rope_s[after] - moments_s), np.abs(rope_s[before] - moments_s))
    diameter[alone] = np.where(away <= GAP_S, np.interp(moments_s, rope_s, diameter_mm), np.nan)
    return diameter


#: A batch with fewer readings shows no variance of its own.
LEAST_READINGS = 8


@dataclass(frozen=True)
class RopeVariance:
    """ln (diameter / target) by batch.

    `mean`: by batch; `within`: mean variance about the batch's mean, gauge noise taken off; None where readings
    are too few; `u_within`: its standard uncertainty, from batch to batch; `noise`: variance of the gauge's noise
    that was taken off; `of_mean`: variance of a batch's mean that comes of the rope's slow changes within
    batches; `batches`: batches behind `within`.
    """

    mean: dict[str, float]
    within: float | None
    u_within: float
    noise: float
    of_mean: float
    batches: int


def rope_variance(core: pl.DataFrame, diameter_mm: Mapping[str, float]) -> RopeVariance:
    """Describe the rope within and between batches.

    Noise of a gauge changes from reading to reading while the rope changes slowly: half the mean square of
    differences one, two and three readings apart, extended to none apart, leaves the noise.
    Source: derived-spread-sources
    """
    begins = np.flatnonzero(np.diff(core["nr"].to_numpy(), prepend=-1))
    names, products = (core[name].gather(begins).to_list() for name in ("batch", "product"))
    numbers = {name: k for k, name in enumerate(dict.fromkeys(names))}
    targets = np.array([diameter_mm.get(product, np.nan) for product in products], dtype=np.float64)
    lengths = np.diff(np.r_[begins, core.height])
    ratio = core["value"].to_numpy() / np.repeat(targets, lengths)
    used = ratio > 0
    z, batch = (
        np.log(ratio[used]),
        np.repeat(np.array([numbers[name] for name in names], dtype=np.int64), lengths)[used],
    )
    noise, fade = _noise(z, batch, _seconds(core["at"])[used])
    n = np.bincount(batch, minlength=len(numbers)).astype(np.float64)
    mean = np.bincount(batch, z, n.size) / np.maximum(n, 1)
    variance = np.bincount(batch, (z - mean[batch]) ** 2, n.size) / np.maximum(n, 1)
    mean_of = {name: float(mean[k]) for name, k in numbers.items() if n[k]}
    enough = n >= LEAST_READINGS
    batches, n = int(enough.sum()), n[enough]
    if batches < 3:
        return RopeVariance(mean_of, None, 0.0, noise, 0.0, batches)
    variance = variance[enough] - noise * (1 - 1 / n)
    u = float(np.std(variance, ddof=1) / np.sqrt(variance.size))
    within = max(float(variance.mean()), 0.0)
    share = float(np.mean(_share_of_mean(n, fade)))
    return RopeVariance(mean_of, within, u, noise, within * share / (1 - share), batches)


def _share_of_mean(n: Floats, fade: float) -> Floats:
    """The variance of the mean of n readings over that of one, where correlation fades by a factor."""
    if fade <= 0:
        return 1 / n
    return np.asarray(
        (n * (1 + fade) / (1 - fade) - 2 * fade * (1 - fade**n) / (1 - fade) ** 2) / n**2, dtype=np.float64
    )


def _noise(z: Floats, batch: Ints, at_s: Floats) -> tuple[float, float]:
    """The variance of the gauge's noise, and by how much the rope's correlation fades in a reading.

    Both are 0 where the rope changes too fast, or too slowly, to separate them.
    """
    if z.size < 50:
        return 0.0, 0.0
    same_batch = batch[1:] == batch[:-1]
    if not same_batch.any():
        return 0.0, 0.0
    cadence = float(np.median(np.diff(at_s)[same_batch]))
    half = []
    for lag in (1, 2, 3):
        away = at_s[lag:] - at_s[:-lag]
        near = (batch[lag:] == batch[:-lag]) & (np.abs(away - lag * cadence) < 0.5 * cadence)
        if int(near.sum()) < 30:
            return 0.0, 0.0
        half.append(float(np.mean((z[lag:] - z[:-lag])[near] ** 2)) / 2)
    first, second = half[1] - half[0], half[2] - half[1]
    if not (first > 0 and 0.1 * first < second < 0.98 * first):
        return 0.0, 0.0
    fade = second / first
    return float(np.clip(half[0] - first / fade, 0.0, half[0])), fade


#: Delays tried [s]; below 0 for clocks that are a little apart.
DELAYS_S = tuple(float(x) for x in range(-30, 305, 5))
#: Fewer pairs or batches than these show nothing.
LEAST_PAIRS, LEAST_BATCHES = 20, 5


@dataclass(frozen=True)
class SpreadSources:
    """Shares of the relative variance of a piece's mass, or why they are not known.

    `diameter` is of all of it; `cut_length` and `density` from batch to batch, where a rope counter separates
    them, else `rest_between` holds both; `rest_within` is what is left within batches: single cuts,
    air from piece to piece, and the scale. `delay` is None where no delay stands out.
    """

    diameter: VarianceShare | None
    cut_length: VarianceShare | None
    density: VarianceShare | None
    rest_between: VarianceShare | None
    rest_within: VarianceShare | None
    delay: Lag | None
    pairs: int
    batches: int
    pieces_together: int
    why_none: str = ""
    why_no_length: str = ""


@dataclass(frozen=True)
class LengthCounters:
    """Counts of the machine that counts metres of rope, and of the one that counts pieces."""

    rope: MachineCounts
    pieces: MachineCounts


def spread_sources(
    weighings: pl.DataFrame,
    rope: pl.DataFrame,
    batches: pl.DataFrame,
    diameter_mm: Mapping[str, float],
    counters: LengthCounters | None,
) -> SpreadSources:
    """Split the relative variance of piece mass by its sources.

    Between batches the share of diameter is cov(ln m, 2 ln d) / var(ln m) of batch means, which noise of
    the gauge leaves alone. Within batches it is the rope's own variance, gauge noise taken off: a piece
    paired with the reading next to it would miss what the rope does in between, and where the delay is not
    known nearly all.
    Source: derived-spread-sources
    """
    frame = _of_one_kind(weighings, diameter_mm)
    if rope.is_empty():
        return _without_shares(tr("no rope diameter in this period"), frame)
    if frame.height < LEAST_PAIRS or frame["batch"].n_unique() < LEAST_BATCHES:
        return _without_shares(
            tr(
                "too few: needs {weighings} weighings of {batches} batches, has {has_weighings} of {has_batches}",
                weighings=LEAST_PAIRS,
                batches=LEAST_BATCHES,
                has_weighings=frame.height,
                has_batches=frame["batch"].n_unique(),
            ),
            frame,
        )
    columns = _Columns.of(frame)
    core = readings_in_batches(rope, batches)
    rope_parts = rope_variance(core, diameter_mm)
    if rope_parts.within is None:
        return _without_shares(tr("too few rope readings within batches"), frame)
    delay = _delay(columns, _seconds(rope["at"]), rope["value"].to_numpy())
    length = _lengths(columns, counters, core)
    return _shares(columns, rope_parts, length, delay, "" if counters else tr(_NO_LENGTH))


_NO_LENGTH = mark("no counter of rope metres beside one of pieces, so cut length and density stay together")


@dataclass(frozen=True)
class _Columns:
    """The weighings as arrays; `batch` is the place of each one's batch in `batch_names`."""

    at_s: Floats
    y: Floats
    target_mm: Floats
    batch: Ints
    sample: Ints
    batch_names: list[str]
    pieces: int

    @classmethod
    def of(cls, frame: pl.DataFrame) -> _Columns:
        batch = frame["batch"].rank("dense").to_numpy().astype(np.int64) - 1
        # An inline scale weighs a whole batch as one sample: its minutes then are the sample times.
        one_sample = frame.group_by("batch", maintain_order=True).agg(pl.col("sample").n_unique() == 1)["sample"].all()
        when = pl.col("at").dt.truncate("1m").cast(pl.String) if one_sample else pl.col("sample")
        key = frame.select(pl.concat_str("batch", pl.lit("\t"), when).rank("dense")).to_series()
        return cls(
            _seconds(frame["at"]),
            np.log((frame["net_g"] / frame["target_g"]).to_numpy()),
            frame["_target_mm"].to_numpy(),
            batch,
            key.to_numpy().astype(np.int64) - 1,
            frame["batch"].unique(maintain_order=True).sort().to_list(),
            int(frame["pieces"][0]) if frame.height else 1,
        )

    def of_batches(self, values: Mapping[str, float]) -> Floats:
        """The value of each weighing's batch; nan where there is none."""
        return np.array([values.get(name, np.nan) for name in self.batch_names])[self.batch]


def _of_one_kind(weighings: pl.DataFrame, diameter_mm: Mapping[str, float]) -> pl.DataFrame:
    """Keep weighings of known batches, and of the usual number of pieces weighed together."""
    frame = weighings.filter(pl.col("batch").is_not_null() & (pl.col("net_g") > 0)).with_columns(
        _target_mm=pl.col("product").replace_strict(dict(diameter_mm), default=None, return_dtype=pl.Float64)
    )
    frame = frame.filter(pl.col("_target_mm").is_not_null())
    if frame.is_empty():
        return frame
    usual = frame.group_by("pieces", maintain_order=True).len().sort("len", "pieces", descending=True)["pieces"][0]
    return frame.filter(pl.col("pieces") == usual)


def _seconds(at: pl.Series) -> Floats:
    return np.asarray(at.dt.epoch("us").to_numpy(), dtype=np.float64) / 1e6


def _delay(columns: _Columns, rope_s: Floats, thick: Floats) -> Lag:
    """Find the transport delay from sample means within batches."""
    count = np.bincount(columns.sample).astype(np.float64)
    first = np.unique(columns.sample, return_index=True)[1]
    y = np.bincount(columns.sample, weights=columns.y) / count
    at = np.bincount(columns.sample, weights=columns.at_s - columns.at_s[0]) / count + columns.at_s[0]
    delays = np.array(DELAYS_S)
    # sample by sample, so that what is looked for next lies near
    before = rope_before(rope_s, thick, np.repeat(at, delays.size), np.tile(delays, at.size)).reshape(at.size, -1)
    sampled = list(np.log(np.ascontiguousarray(before.T) / columns.target_mm[first]))
    groups = columns.batch[first].astype(np.float64)
    return best_lag(y, groups, sampled, list(DELAYS_S), count)


def _lengths(columns: _Columns, counters: LengthCounters | None, core: pl.DataFrame) -> Floats | None:
    """Give ln of the mean cut length of each weighing's batch; nan where the counters do not show it."""
    if counters is None:
        return None
    batches = core[np.flatnonzero(np.diff(core["nr"].to_numpy(), prepend=-1))]
    begins, ends = (batches[name].to_physical().to_numpy() for name in ("start", "end"))
    rope = counters.rope.count("rope", begins, ends)
    counted_pieces = counters.pieces.pieces(begins, ends).total
    if rope is None or counted_pieces is None:
        return None
    sure = (rope.missing_s <= 0) & (counted_pieces.missing_s <= 0) & (rope.value > 0) & (counted_pieces.value > 0)
    logs = np.log(rope.value[sure] / counted_pieces.value[sure])
    return columns.of_batches(dict(zip(batches["batch"].filter(pl.Series(sure)), logs, strict=True)))


def _shares(columns: _Columns, rope_parts: RopeVariance, length: Floats | None, delay: Lag, why: str) -> SpreadSources:
    x = 2 * columns.of_batches(rope_parts.mean)
    usable = np.isfinite(x) & np.isfinite(columns.y)
    if length is not None:
        with_length = usable & np.isfinite(length)
        if np.unique(columns.batch[with_length]).size < LEAST_BATCHES:
            length, why = None, tr("the counters of rope and pieces do not cover enough batches")
        else:
            usable = with_length
    pairs, batches = int(usable.sum()), int(np.unique(columns.batch[usable]).size)
    clear_delay = delay if delay.clear else None
    if pairs < LEAST_PAIRS or batches < LEAST_BATCHES:
        reason = tr(
            "too few: needs {least_pairs} weighings in batches with rope readings, has {pairs}",
            least_pairs=LEAST_PAIRS,
            pairs=pairs,
        )
        return SpreadSources(None, None, None, None, None, clear_delay, pairs, batches, columns.pieces, reason, reason)
    parts = [columns.y[usable], x[usable]] + ([] if length is None else [length[usable]])
    levels = levels_of(np.column_stack(parts), columns.batch[usable], columns.sample[usable])
    extra = [0.0] * (len(parts) - 2)
    within = 4 * (rope_parts.within or 0.0), 4 * rope_parts.u_within
    # What the rope does within a batch moves the batch's mean too: that part belongs within.
    slow = 4 * rope_parts.of_mean
    share_parts = {
        "diameter": Part("all", np.array([0.0, 1.0, *extra]), 1.0),
        "rest_between": Part("between", np.array([1.0, -1.0, *extra]), 0.0, slow),
        "rest_within": Part("within", np.array([1.0, -1.0, *extra]), -1.0, -slow),
    }
    if length is not None:
        share_parts["cut_length"] = Part("between", np.array([0.0, 0.0, 1.0]))
        share_parts["density"] = Part("between", np.array([1.0, -1.0, -1.0]), 0.0, slow)
    shares = variance_shares(levels, share_parts, within)
    rest = (shares["rest_between"], shares["rest_within"])
    of = (shares["diameter"], shares.get("cut_length"), shares.get("density"), *rest)
    return SpreadSources(*of, clear_delay, pairs, batches, columns.pieces, "", why)


def _without_shares(why: str, frame: pl.DataFrame) -> SpreadSources:
    batches = frame["batch"].n_unique() if frame.height else 0
    return SpreadSources(None, None, None, None, None, None, 0, batches, 1, why, why)
