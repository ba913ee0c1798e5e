"""Spread of piece weight: between batches, between sample times in a batch, and piece to piece."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.estimate import Estimate
from lineview.core.frames import UTC_US
from lineview.core.language import tr
from lineview.stats.batch_correlation import LEAST_GROUPS, MemoryFit, fit_memory
from lineview.stats.capability import quantile_indices, repeated_indices, shape_of
from lineview.stats.generalized_intervals import Draws, draw_components, percentiles
from lineview.stats.means import coverage_factor, summarize
from lineview.stats.tailed_spread import TailCheck, draw_variance
from lineview.stats.variance_components import Components, Layout, nested_layout, reml

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SpreadChecks:
    """What the limits were checked for.

    `memory` is the fit of how closely batches follow their neighbours, None where there are too few of them;
    `follow` their lag-1 autocorrelation. `tails` is None where no spread within is known. `step_share` is the
    scale's step over the spread within.
    """

    memory: MemoryFit | None = None
    follow: float | None = None
    tails: TailCheck | None = None
    step_share: float = 0.0
    why_no_mean: str = ""

    @property
    def why_no_spread(self) -> str:
        """Why a spread within has no limits; "" where it has."""
        if self.step_share <= COARSEST:
            return ""
        return tr("no limits: the scale's steps are {steps:.1f} times the spread within batches", steps=self.step_share)

    @property
    def why_not_normal(self) -> str:
        """Why a share that takes pieces for normal has no limits; "" where they may be normal."""
        tails = self.tails
        if tails is None or abs(tails.kurtosis) <= 3.0 * tails.kurtosis_sd:
            return ""
        return tr("no limits: pieces are not normal, excess kurtosis {kurtosis:+.2f}", kurtosis=tails.kurtosis)

    @property
    def words(self) -> str:
        """The checks and their values, for a working."""
        parts = []
        if self.memory is not None:
            parts.append(tr("batches follow each other with correlation {memory:.2f}", memory=self.memory.memory))
        elif self.follow is not None:
            parts.append(tr("batches taken as independent, too few to check: needs {needs}", needs=LEAST_GROUPS))
        if (tails := self.tails) is not None:
            parts.append(
                tr("excess kurtosis within {kurtosis:+.2f} ± {sd:.2f}", kurtosis=tails.kurtosis, sd=tails.kurtosis_sd)
            )
        if self.step_share > FINE:
            parts.append(
                tr("scale's steps {steps:.2f} of the spread within, step²/12 taken off", steps=self.step_share)
            )
        return "; ".join(parts)


@dataclass(frozen=True)
class WeightSpread:
    """Mean of a value of the pieces and its spread by level.

    `draws_mean`, `draws_within` and `draws_total` (variances) are draws of the same unknowns, for intervals
    of anything made from them; empty where none could be made. `levels` are those that could be separated,
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
    checks: SpreadChecks = SpreadChecks()

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


#: Steps of the scale up to this share of the spread within do not matter; beyond the other they hide it.
FINE, COARSEST = 0.1, 2.2
#: So closely may fewer batches than memory can be seen in follow each other, in standard errors.
_FOLLOWS = 2.576


def spread_of(
    weighings: pl.DataFrame, value: pl.Expr, draws: int = 2500, *, per: pl.Expr | None = None
) -> WeightSpread:
    """Split the spread of a value of the pieces by batch, sample time and piece.

    Takes `value` [g] and `per`, by which it is divided.

    The mean of k pieces weighed together has a kth of the pieces' variance. The limits of the mean take the
    batches, not the pieces, as what was drawn at random, and batches as following each other as closely as
    they seem to. Limits of spreads hold for heavy tails and uneven batches; a scale's step adds step²/12.
    Source: searle-casella-mcculloch, weerahandi-1993, derived-batch-memory, derived-tailed-spread
    """
    unit = pl.lit(1.0) if per is None else per
    frame = weighings.with_columns(_value=value / unit, _unit=unit).filter(pl.col("_value").is_not_null())
    y, k = frame["_value"].to_numpy(), frame["pieces"].to_numpy().astype(np.float64)
    names, columns, layout = _levels(frame, y, k)
    known_batches = frame["batch"].drop_nulls().n_unique()
    counts = (known_batches, frame.height, int(k.sum()))
    if y.size < 2 or float(np.ptp(y)) == 0 or names == ():
        return _unknown(frame, y, k, counts)
    components = reml(y, columns, k, layout=layout)
    draws_of = draw_components(y, columns, k, draws=draws, layout=layout)
    by_draws, checks = _sound_draws(frame, y, k, names, columns, components, draws_of)
    return _assemble(frame, names, counts, components, by_draws, checks)


@dataclass(frozen=True)
class _LevelDraws:
    """Draws of the mean, and of the variance at each level; `batch` those shown, `between` those summed."""

    mean: Floats
    batch: Floats
    between: Floats
    samples: Floats
    piece: Floats
    within: Floats
    step: float


def _sound_draws(
    frame: pl.DataFrame,
    y: Floats,
    k: Floats,
    names: tuple[str, ...],
    columns: list[Floats],
    components: Components,
    draws_of: Draws,
) -> tuple[_LevelDraws, SpreadChecks]:
    """Draws that know memory, tails and steps, and what they were checked for."""
    n = draws_of.mean.size
    of = dict(zip(names, draws_of.signed, strict=True))
    nothing = np.zeros(n)
    variances = dict(zip(names, components.variances, strict=True))
    piece, tails = _piece_draws(y, k, columns, n)
    within = piece
    if "sample" in of:
        within, tails = _with_samples(of["piece"] + of["sample"], y, k, columns[:1], piece)
    step = _step_variance(frame, k)
    mean, between = draws_of.mean, of.get("batch", nothing)
    batch, memory, follow, why = np.maximum(between, 0.0), None, None, ""
    if "batch" in names:
        means, mean_variances = _batch_means(y, k, columns, variances)
        follow = summarize(means.tolist()).r1
        if means.size >= LEAST_GROUPS:
            memory = fit_memory(means, mean_variances)
            mean, between = memory.draws(n)
            between = _widen(between, means)
            batch = _envelope(batch, between)
        elif follow is not None and follow * means.size**0.5 > _FOLLOWS:
            why = tr(
                "no interval: batches follow each other (lag-1 autocorrelation {follow:.2f}), and {size} "
                "are too few to tell how much that matters: needs {needs}",
                follow=follow,
                size=means.size,
                needs=LEAST_GROUPS,
            )
    inside = variances["piece"] - step + variances.get("sample", 0.0)
    share = float(np.sqrt(12.0 * step / inside)) if inside > 0 else np.inf
    # What steps may shift a mean by, at most: the first term of the rounding error's series.
    spread2 = max(inside, 0.0) + variances.get("batch", 0.0)
    shift = np.sqrt(12.0 * step) / np.pi * np.exp(-2.0 * np.pi**2 * spread2 / (12.0 * step)) if step > 0 else 0.0
    shift = np.sqrt(3.0 * step) if share > COARSEST else shift  # half a step where steps hide the spread
    mean = mean + shift * np.sign(mean - np.median(mean))
    within = np.maximum(within - step, 0.0)
    levels = _LevelDraws(mean, batch, between, of.get("sample", nothing), np.maximum(piece - step, 0.0), within, step)
    return levels, SpreadChecks(memory, follow, tails, share, why)


def _piece_draws(y: Floats, k: Floats, columns: list[Floats], n: int) -> tuple[Floats, TailCheck]:
    """Draws of the variance of a single piece about its sample, or its batch."""
    key = np.zeros(y.size)
    for column in columns:
        key = key * (float(column.max()) + 1.0) + column
    order = np.argsort(key, kind="stable")
    group = np.unique(key[order], return_inverse=True)[1]
    off = y[order] - (np.bincount(group, k[order] * y[order]) / np.bincount(group, k[order]))[group]
    return draw_variance(off * np.sqrt(k[order]), group, n)


def _with_samples(normal: Floats, y: Floats, k: Floats, batch: list[Floats], piece: Floats) -> tuple[Floats, TailCheck]:
    """Draws of the variance of samples and pieces together: the normal ones, wider as pooled pieces ask for."""
    from scipy.special import chdtri

    pooled, tails = _piece_draws(y, k, batch, piece.size)
    df = float(y.size - np.unique(batch[0]).size) if batch else float(y.size - 1)
    place = (np.arange(piece.size) + 0.5) / piece.size
    wider = np.sort(pooled) * chdtri(df, place)
    wider /= np.median(wider)
    order = np.argsort(np.argsort(normal))
    return np.maximum(np.sort(normal) * wider, 0.0)[order], tails


def _step_variance(frame: pl.DataFrame, k: Floats) -> float:
    """What the scale's steps add to the variance of a single piece: step² / 12, Sheppard's correction."""
    if "mass_g" not in frame.columns:
        return 0.0
    step = scale_step(frame["mass_g"].to_numpy())
    return float(np.mean((step / frame["_unit"].to_numpy()) ** 2 / (12.0 * k)))


def scale_step(mass_g: Floats) -> float:
    """The step of a scale: what all its readings are whole multiples of [g]; 0 where they show none."""
    readings = np.unique(np.round(mass_g, 6))
    if readings.size < 2:
        return 0.0
    step = float(np.diff(readings).min())
    multiples = readings / step
    return step if bool(np.all(np.abs(multiples - np.round(multiples)) < 1e-3)) else 0.0


def _batch_means(y: Floats, k: Floats, columns: list[Floats], variances: dict[str, float]) -> tuple[Floats, Floats]:
    """Means of the batches in order of time, and the variance of each by what varies within it."""
    sample = columns[1] if len(columns) > 1 else np.arange(y.size, dtype=np.float64)
    batch = columns[0]
    units, unit = np.unique(batch * (sample.max() + 1.0) + sample, return_inverse=True)
    pieces = np.bincount(unit, k)
    unit_mean = np.bincount(unit, k * y) / pieces
    unit_variance = variances.get("sample", 0.0) + variances["piece"] / pieces
    parent = np.empty(units.size)
    parent[unit] = batch
    names, of = np.unique(parent, return_inverse=True)
    weight = 1.0 / np.maximum(unit_variance, 1e-300)
    total = np.bincount(of, weight)
    means, variances_of = np.bincount(of, weight * unit_mean) / total, 1.0 / total
    first = np.full(names.size, y.size)
    np.minimum.at(first, np.searchsorted(names, batch), np.arange(y.size))
    order = np.argsort(first, kind="stable")
    return means[order], variances_of[order]


def _widen(variances: Floats, means: Floats) -> Floats:
    """Draws of a variance about their median, wider by how much heavier than normal the batches' tails are."""
    off = means - means.mean()
    excess = max(0.0, float(np.mean(off**4) / np.mean(off**2) ** 2) - 3.0)
    middle = float(np.median(variances))
    return np.asarray(middle * (variances / middle) ** np.sqrt(1.0 + excess / 2.0), dtype=np.float64)


def _envelope(first: Floats, other: Floats) -> Floats:
    """Draws whose percentiles are the lower of two below the middle, the higher of two above it."""
    a, b = np.sort(first), np.sort(other)
    half = a.size // 2
    return np.concatenate((np.minimum(a[:half], b[:half]), np.maximum(a[half:], b[half:])))


def _assemble(
    frame: pl.DataFrame,
    names: tuple[str, ...],
    counts: tuple[int, int, int],
    components: Components,
    level_draws: _LevelDraws,
    checks: SpreadChecks,
) -> WeightSpread:
    known_batches = counts[0]
    variances = dict(zip(names, components.variances, strict=True))
    variances["piece"] = max(variances["piece"] - level_draws.step, 0.0)
    # Samples of unknown batches may be of different ones, so they are no spread within a batch.
    sampled = "sample" in names and bool(known_batches)
    told_within = known_batches == 1 or len(names) > 1
    inside = variances["piece"] + (variances["sample"] if sampled else 0.0)
    within = _around(level_draws.within if sampled else level_draws.piece, inside)
    total = _around(np.maximum(level_draws.within + level_draws.between, 0.0), sum(variances.values()))
    why = checks.why_no_spread
    low, high = (None, None) if checks.why_no_mean else percentiles(level_draws.mean)
    unsplit = Estimate.unknown(tr("not known: no batch or sample has two weighings"))

    def sd(variance: float, draws: Floats, open_because: str = why) -> Estimate:
        value = float(np.sqrt(variance))
        return Estimate(value, interval=open_because) if open_because else Estimate(value, *_roots(draws, variance))

    no_mean = checks.why_no_mean
    return WeightSpread(
        components.mean, low, high,
        sd(variances["batch"], level_draws.batch, no_mean) if "batch" in names
        else Estimate.unknown(_no_batches(frame, known_batches)),
        sd(variances["sample"], np.maximum(level_draws.samples, 0.0)) if "sample" in names
        else Estimate.unknown(tr("no two sample times with two weighings in one batch")),
        sd(variances["piece"], level_draws.piece) if told_within else unsplit,
        sd(inside, within) if told_within else unsplit,
        sd(sum(variances.values()), total, why or no_mean),
        names, *counts, level_draws.mean, within if told_within else np.zeros(0), total, checks,
    )  # fmt: skip


def _around(draws: Floats, variance: float) -> Floats:
    """Draws of a variance whose limits hold its estimate: where they do not, as wide about the estimate too.

    Pieces of a batch that differ more than batches do, such as those of two lanes weighed in turn, spread about
    their batch's mean by more than about any mean: the estimate knows, the draws do not.
    """
    low, high = percentiles(draws)
    middle = float(np.median(draws))
    if low <= variance <= high or middle <= 0:
        return draws
    return _envelope(draws, draws * (variance / middle))


def _roots(draws: Floats, variance: float) -> tuple[float, float]:
    """Limits of a spread, rounding kept from leaving its value outside them."""
    low, high = percentiles(_around(draws, variance))
    return float(np.sqrt(min(low, variance))), float(np.sqrt(max(high, variance)))


def _levels(frame: pl.DataFrame, y: Floats, k: Floats) -> tuple[tuple[str, ...], list[Floats], Layout | None]:
    """Choose the levels that the data can separate, outermost first, with their group columns and layout."""
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
        # Below this share of what there is lies only the rounding of equal weights.
        spread = layout.ss_within > 1e-18 * float(np.ptp(y)) ** 2
        if layout.df_within >= 1 and spread and all(d >= 1 for d in layout.df):
            return names, columns, layout
    return (), [], None


def _no_batches(frame: pl.DataFrame, count: int) -> str:
    if frame["batch"].has_nulls():
        return tr("not known: no batch sheet says which batch each weight is of")
    if count < 2:
        return tr("too few: needs 2 batches, has {count}", count=count)
    return tr("not known: no batch has two weighings")


def _unknown(frame: pl.DataFrame, y: Floats, k: Floats, counts: tuple[int, int, int]) -> WeightSpread:
    """The mean alone, with why there is no spread."""
    n = frame.height
    stuck = tr("not known: all {n} weights are equal, as if the scale was stuck", n=n)
    why = tr("too few: needs 2, has {n}", n=n) if n < 2 else stuck
    none = Estimate.unknown(why)
    nothing = np.zeros(0)
    mean = float(np.average(y, weights=k))
    return WeightSpread(mean, None, None, none, none, none, none, none, (), *counts, nothing, nothing, nothing)


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
    single = weighings.filter((pl.col("pieces") == 1) & pl.col("batch").is_not_null())
    frame = single.with_columns(_n=pl.len().over("batch"), _mean=pl.col("net_g").mean().over("batch"))
    frame = frame.filter(pl.col("_n") > 1)
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
        none = Estimate.unknown(
            tr("too few: needs {needs} single pieces, has {n}", needs=LEAST_FOR_QUANTILES, n=scaled.height)
        )
        return none, none
    z = scaled["_z"].to_numpy()
    quantiles = quantile_indices(z, -1.0, 1.0)
    first = scaled.with_row_index("_row").select(pl.col("_row").first().over("batch"))
    batches, batch = np.unique(first.to_series().to_numpy(), return_inverse=True)
    if batches.size < 5:
        return Estimate(quantiles.c), Estimate(quantiles.ck)
    drawn = np.random.default_rng(22514).integers(0, batches.size, (RESAMPLES, batches.size))
    drawn += batches.size * np.arange(RESAMPLES)[:, None]
    times = np.bincount(drawn.ravel(), minlength=drawn.size).reshape(drawn.shape).astype(np.float64)
    c, ck = repeated_indices(z, batch, times, -1.0, 1.0)
    return Estimate(quantiles.c, *percentiles(c)), Estimate(quantiles.ck, *percentiles(ck))


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
    sd = ((pieces * (pl.col("net_g") - mean) ** 2).sum() / (pl.len() - 1)).sqrt()
    batches = weighings.filter(pl.col("batch").is_not_null()).group_by("batch", "product", maintain_order=True)
    points = batches.agg(
        pl.col("at").mean(),
        mean_g=mean,
        sd_g=pl.when(pl.len() > 1).then(sd),
        n=pieces.sum().cast(pl.Int64),
        target_g=(pl.col("target_g") * pieces).sum() / pieces.sum(),
    ).with_columns(deviation_g=pl.col("mean_g") - pl.col("target_g"))
    reach = pl.lit(half, pl.Float64) / pl.col("n").sqrt()
    points = points.with_columns(low=pl.col("mean_g") - reach, high=pl.col("mean_g") + reach).sort("at")
    return points.select([pl.col(name).cast(kind) for name, kind in BATCH_POINTS.items()])


def piece_points(weighings: pl.DataFrame, most: int = 5000) -> pl.DataFrame:
    """Give weighings as points, thinned evenly where there are very many."""
    points = weighings.select("at", pl.col("net_g").alias("mass_g"), "batch", "product")
    if points.height <= most:
        return points
    return points[np.linspace(0, points.height - 1, most).round().astype(np.int64)]
