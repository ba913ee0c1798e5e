"""Spread of piece weight: between batches, between sample times in a batch, and piece to piece."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.estimate import Estimate
from lineview.core.frames import UTC_US
from lineview.stats.capability import quantile_indices, shape_of
from lineview.stats.generalized_intervals import draw_components, percentiles
from lineview.stats.means import coverage_factor
from lineview.stats.variance_components import nested_layout, reml

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class WeightSpread:
    """Mean of a value of the pieces and its spread by level.

    `draws_mean`, `draws_within` and `draws_total` (variances) are draws of the same unknowns, for intervals
    of anything made from them; empty where none could be made. `levels` are those that could be told apart,
    outermost first.
    """

    mean: float
    mean_low: float | None
    mean_high: float | None
    between: Estimate
    samples: Estimate
    piece: Estimate
    within: Estimate
    total: Estimate
    levels: tuple[str, ...]
    batches: int
    weighings: int
    pieces: int
    draws_mean: Floats
    draws_within: Floats
    draws_total: Floats

    def over(self, unit: float) -> WeightSpread:
        """The same in another unit, such as the tolerance."""
        levels = ("between", "samples", "piece", "within", "total")
        spreads = {level: getattr(self, level).scaled(1 / unit) for level in levels}
        return replace(
            self,
            mean=self.mean / unit,
            mean_low=None if self.mean_low is None else self.mean_low / unit,
            mean_high=None if self.mean_high is None else self.mean_high / unit,
            draws_mean=self.draws_mean / unit,
            draws_within=self.draws_within / unit**2,
            draws_total=self.draws_total / unit**2,
            **spreads,
        )


def spread_of(weighings: pl.DataFrame, value: pl.Expr, draws: int = 2500) -> WeightSpread:
    """Split the spread of a value of the pieces by batch, sample time and piece.

    Takes `value` [g].

    The mean of k pieces weighed together has a kth of the pieces' variance. The limits of the mean take the
    batches, not the pieces, as what was drawn at random.
    Source: searle-casella-mcculloch, weerahandi-1993
    """
    frame = weighings.with_columns(_value=value).filter(pl.col("_value").is_not_null())
    y, k = frame["_value"].to_numpy(), frame["pieces"].to_numpy().astype(np.float64)
    names, columns = _levels(frame, y, k)
    known_batches = frame["batch"].drop_nulls().n_unique()
    counts = (known_batches, frame.height, int(k.sum()))
    if y.size < 2 or float(np.ptp(y)) == 0 or names == ():
        return _untold(frame, y, k, counts)
    found = reml(y, columns, k)
    drawn = draw_components(y, columns, k, draws=draws)
    by_level = {name: Estimate(sd, *_roots(d)) for name, sd, d in zip(names, found.sds, drawn.variances, strict=True)}
    # Samples of unknown batches may be of different ones, so they are no spread within a batch.
    inside = [i for i, n in enumerate(names) if n == "piece" or (n == "sample" and known_batches)]
    told_within = known_batches == 1 or len(names) > 1
    within, total = drawn.sum_of(inside), drawn.total
    low, high = percentiles(drawn.mean)
    unsplit = Estimate.unknown("not known: no batch or sample has two weighings")
    return WeightSpread(
        found.mean,
        low,
        high,
        by_level.get("batch", Estimate.unknown(_no_batches(frame, known_batches))),
        by_level.get("sample", Estimate.unknown("no two sample times with two weighings in one batch")),
        by_level["piece"] if told_within else unsplit,
        _summed(found.variances, inside, within) if told_within else unsplit,
        _summed(found.variances, range(len(names)), total),
        names,
        *counts,
        drawn.mean,
        within if told_within else np.zeros(0),
        total,
    )


def _summed(variances: tuple[float, ...], which: list[int] | range, draws: Floats) -> Estimate:
    value = float(np.sqrt(sum(variances[i] for i in which)))
    return Estimate(value, *_roots(draws))


def _roots(draws: Floats) -> tuple[float, float]:
    low, high = percentiles(draws)
    return float(np.sqrt(low)), float(np.sqrt(high))


def _levels(frame: pl.DataFrame, y: Floats, k: Floats) -> tuple[tuple[str, ...], list[Floats]]:
    """Choose the levels that the data can tell apart, outermost first, with their group columns."""
    batch, sample = (
        frame[name].fill_null("").rank("dense").to_numpy().astype(np.float64) for name in ("batch", "sample")
    )
    for names, columns in (
        (("batch", "sample", "piece"), [batch, sample]),
        (("batch", "piece"), [batch]),
        (("sample", "piece"), [sample]),
        (("piece",), []),
    ):
        if "batch" in names and frame["batch"].has_nulls():
            continue
        layout = nested_layout(y, columns, k)
        if layout.df_within >= 1 and layout.ss_within > 0 and all(d >= 1 for d in layout.df):
            return names, columns
    return (), []


def _no_batches(frame: pl.DataFrame, known: int) -> str:
    if frame["batch"].has_nulls():
        return "not known: no batch sheet says which batch each weight is of"
    if known < 2:
        return f"too few: needs 2 batches, has {known}"
    return "not known: no batch has two weighings"


def _untold(frame: pl.DataFrame, y: Floats, k: Floats, counts: tuple[int, int, int]) -> WeightSpread:
    """The mean alone, with why there is no spread."""
    n = frame.height
    why = f"too few: needs 2, has {n}" if n < 2 else f"not known: all {n} weights are equal, as if the scale was stuck"
    none = Estimate.unknown(why)
    nothing = np.zeros(0)
    return WeightSpread(
        float(np.average(y, weights=k)),
        None,
        None,
        none,
        none,
        none,
        none,
        none,
        (),
        *counts,
        nothing,
        nothing,
        nothing,
    )


#: The outer quantiles lie one in 740 apiece: fewer values than this do not reach them.
LEAST_FOR_QUANTILES = 1000
LEAST_FOR_SHAPE = 50
RESAMPLES = 300


@dataclass(frozen=True)
class WeightShape:
    """Skewness and excess kurtosis within batches, whether normal, and Pp, Ppk by quantiles."""

    skewness: float | None
    kurtosis: float | None
    normal: bool | None
    pp: Estimate
    ppk: Estimate


def within_offsets(weighings: pl.DataFrame) -> Floats:
    """Give single pieces less their batch's mean [g], stretched for the mean taken out."""
    frame = (
        weighings.filter((pl.col("pieces") == 1) & pl.col("batch").is_not_null())
        .with_columns(_n=pl.len().over("batch"), _mean=pl.col("net_g").mean().over("batch"))
        .filter(pl.col("_n") > 1)
    )
    off = (frame["net_g"] - frame["_mean"]).to_numpy()
    n = frame["_n"].to_numpy()
    return np.asarray(off * np.sqrt(n / (n - 1)), dtype=np.float64)


def weight_shape(weighings: pl.DataFrame) -> WeightShape:
    """Describe the shape of the pieces' spread.

    Source: iso-22514-2
    """
    off = within_offsets(weighings)
    scaled = weighings.filter(pl.col("pieces") == 1).with_columns(
        _z=(pl.col("net_g") - pl.col("target_g")) / pl.col("tolerance_g")
    )
    pp, ppk = _by_quantiles(scaled)
    if off.size < LEAST_FOR_SHAPE or not float(np.ptp(off)) > 0:
        return WeightShape(None, None, None, pp, ppk)
    shape = shape_of(off)
    return WeightShape(shape.skewness, shape.kurtosis, shape.p_normal > 0.001, pp, ppk)


def _by_quantiles(scaled: pl.DataFrame) -> tuple[Estimate, Estimate]:
    if scaled.height < LEAST_FOR_QUANTILES:
        none = Estimate.unknown(f"too few: needs {LEAST_FOR_QUANTILES} single pieces, has {scaled.height}")
        return none, none
    z = scaled["_z"].to_numpy()
    found = quantile_indices(z, -1.0, 1.0)
    first = scaled.with_row_index("_row").select(pl.col("_row").first().over("batch"))
    batches, batch = np.unique(first.to_series().to_numpy(), return_inverse=True)
    if batches.size < 5:
        return Estimate(found.c), Estimate(found.ck)
    order = np.argsort(z)
    z, batch = z[order], batch[order]
    rng = np.random.default_rng(22514)
    drawn = []
    for _ in range(RESAMPLES):
        times = np.bincount(rng.integers(0, batches.size, batches.size), minlength=batches.size)
        again = quantile_indices(np.repeat(z, times[batch]), -1.0, 1.0)
        drawn.append((again.c, again.ck))
    both = np.array(drawn)
    return Estimate(found.c, *percentiles(both[:, 0])), Estimate(found.ck, *percentiles(both[:, 1]))


#: One point a batch: mean net mass of a piece and spread within [g]; `low` and `high` are the 95 % limits
#: of this batch's own mean.
BATCH_POINTS: dict[str, pl.DataType] = {
    "at": UTC_US,
    "batch": pl.String(),
    "product": pl.String(),
    "mean_g": pl.Float64(),
    "sd_g": pl.Float64(),
    "n": pl.Int64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "target_g": pl.Float64(),
    "deviation_g": pl.Float64(),
}


def batch_points(weighings: pl.DataFrame, sd_within_g: float | None, df_within: int) -> pl.DataFrame:
    """One point a batch, by time."""
    pieces = pl.col("pieces").cast(pl.Float64)
    mean = (pl.col("net_g") * pieces).sum() / pieces.sum()
    half = coverage_factor(df_within) * sd_within_g if sd_within_g is not None and df_within > 0 else None
    return (
        weighings.filter(pl.col("batch").is_not_null())
        .group_by("batch", "product", maintain_order=True)
        .agg(
            pl.col("at").mean().alias("at"),
            mean.alias("mean_g"),
            ((pieces * (pl.col("net_g") - mean) ** 2).sum() / (pl.len() - 1)).sqrt().alias("sd_g"),
            pieces.sum().cast(pl.Int64).alias("n"),
            (pl.col("target_g") * pieces).sum().truediv(pieces.sum()).alias("target_g"),
            pl.len().alias("_weighings"),
        )
        .with_columns(
            pl.when(pl.col("_weighings") > 1).then(pl.col("sd_g")).alias("sd_g"),
            (pl.col("mean_g") - pl.col("target_g")).alias("deviation_g"),
            (pl.col("mean_g") - pl.lit(half, pl.Float64) / pl.col("n").sqrt()).alias("low"),
            (pl.col("mean_g") + pl.lit(half, pl.Float64) / pl.col("n").sqrt()).alias("high"),
        )
        .sort("at")
        .select([pl.col(name).cast(kind) for name, kind in BATCH_POINTS.items()])
    )


def piece_points(weighings: pl.DataFrame, most: int = 5000) -> pl.DataFrame:
    """Give weighings as points, thinned evenly where there are very many."""
    points = weighings.select("at", pl.col("net_g").alias("mass_g"), "batch", "product")
    if points.height <= most:
        return points
    return points[np.linspace(0, points.height - 1, most).round().astype(np.int64)]
