"""Intervals for nested variance components by generalized pivots, and the shares that other quantities explain.

Each level's weighted sum of squares about its parents, taken with the true variances, is chi-square with
that level's degrees of freedom. Drawing the chi-squares and solving for the variances, from the single
piece outwards, gives draws whose percentiles are the limits. For the innermost level, and for the mean of a
balanced layout, they are the exact textbook limits.

With y = x₁ + x₂ + rest, independent of each other, cov(y, xᵢ) = var(xᵢ): the share cov / var holds however
noisy the reading of xᵢ is, as noise of the gauge has no covariance with y.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.stats.variance_components import Floats, Layout, fold, nested_layout

Where = Literal["all", "between", "within"]
_SHARES_SEED = 4


@dataclass(frozen=True)
class Level:
    """Sums of squares and products of one level with its degrees of freedom.

    `weight` is what its mean square counts in the covariance of a single piece, `above` what it counts in
    the component between batches alone.

    `even` is 1 where all means of the level are equally sure, and less where some rest on fewer values: the
    sum of squares then strays as if it had that share of its degrees of freedom.
    """

    ss: Floats
    df: int
    weight: float
    above: float
    even: float = 1.0

    @property
    def effective_df(self) -> float:
        """Degrees of freedom by Satterthwaite."""
        return self.df * self.even


def levels_of(values: Floats, batch: NDArray[np.int64], sample: NDArray[np.int64]) -> list[Level]:
    """Split sums of squares into levels whose weighted mean squares add up to the covariance of a piece.

    Parameters
    ----------
    values : numpy.ndarray, shape (n, p)
        One row a piece; the explained quantity first.
    batch, sample : numpy.ndarray, shape (n,)
        Number of its batch, and of its sample time (each sample within one batch).

    Returns
    -------
    list of Level
        Between batches, between sample times in a batch, within a sample; levels without degrees of
        freedom are left out.

    Raises
    ------
    MeasureError
        Where there are fewer than three batches.

    Notes
    -----
    Unweighted means: the mean square of batch means holds the batch component once, the sample component
    over the harmonic mean number of samples, and so on down, whatever the numbers are.
    Source: burdick-graybill
    """
    sample_ids, sample_index = np.unique(sample, return_inverse=True)
    first = np.unique(sample_index, return_index=True)[1]
    pieces = np.bincount(sample_index).astype(np.float64)
    sample_mean = _means(values, sample_index, pieces)
    _, parent = np.unique(batch[first], return_inverse=True)
    samples = np.bincount(parent).astype(np.float64)
    batch_mean = _means(sample_mean, parent, samples)
    if samples.size < 3:
        raise MeasureError(Fault(f"{samples.size} batches", "batch", "three or more"))
    top = batch_mean - batch_mean.mean(axis=0)
    middle = sample_mean - batch_mean[parent]
    low = values - sample_mean[sample_index]
    over_samples, over_pieces = _harmonic(samples), _harmonic(pieces)
    df_middle, df_low = sample_ids.size - samples.size, values.shape[0] - sample_ids.size
    piece = float(low[:, 0] @ low[:, 0]) / df_low if df_low > 0 else 0.0
    at_sample = float(middle[:, 0] @ middle[:, 0]) / df_middle if df_middle > 0 else piece * over_pieces
    of_sample = max(at_sample - piece * over_pieces, 0.0) + piece / pieces
    of_batch = np.bincount(parent, weights=of_sample) / samples**2
    of_batch += max(float(top[:, 0] @ top[:, 0]) / (samples.size - 1) - float(of_batch.mean()), 0.0)
    levels = [Level(top.T @ top, samples.size - 1, 1.0, 1.0, _even_weight(of_batch))]
    if df_middle > 0:
        levels.append(Level(middle.T @ middle, df_middle, 1 - over_samples, -over_samples, _even_weight(of_sample)))
    if df_low > 0:
        # With one sample a batch the batch's mean square holds the pieces' over their number itself.
        levels.append(Level(low.T @ low, df_low, 1 - over_pieces, 0.0 if df_middle > 0 else -over_pieces))
    return levels


def _means(values: Floats, index: NDArray[np.int64], count: Floats) -> Floats:
    sums = np.zeros((count.size, values.shape[1]))
    np.add.at(sums, index, values)
    return np.asarray(sums / count[:, None], dtype=np.float64)


def _even_weight(variances: Floats) -> float:
    """Compute how evenly sure means with these variances are, from 0 to 1."""
    squares = float(np.mean(variances**2))
    return float(np.mean(variances)) ** 2 / squares if squares > 0 else 1.0


def _harmonic(count: Floats) -> float:
    """Compute 1 over the harmonic mean of counts."""
    return float(np.mean(1.0 / count))


def _covariance_draws(level: Level, draws: int, seed: int) -> Floats:
    """Draw the covariance matrices, shape (draws, p, p), behind one level's sums of squares.

    Generalized pivots (weerahandi-1993), exact for the first quantity's variance and for slopes on it: with
    S = C Cᵀ and S ~ Wishart(Σ), C = L A for Σ = L Lᵀ and Bartlett's A; so L = C A⁻¹.
    """
    rng = np.random.default_rng(seed)
    p = level.ss.shape[0]
    df = level.effective_df
    root = _root(level.ss * level.even)
    a = np.zeros((draws, p, p))
    for i in range(p):
        a[:, i, i] = np.sqrt(rng.chisquare(max(df - i, 1.0), draws))
        for j in range(i):
            a[:, i, j] = rng.standard_normal(draws)
    lower = root @ np.linalg.inv(a)
    return np.asarray(lower @ np.swapaxes(lower, 1, 2), dtype=np.float64)


def _root(ss: Floats) -> Floats:
    """Compute the lower root of a matrix that may have rows of zeros."""
    p = ss.shape[0]
    root = np.zeros((p, p))
    for i in range(p):
        for j in range(i + 1):
            remainder = ss[i, j] - float(root[i, :j] @ root[j, :j])
            if i == j:
                root[i, i] = np.sqrt(max(remainder, 0.0))
            elif root[j, j] > 1e-12 * np.sqrt(max(ss[j, j], 1e-300)):
                root[i, j] = remainder / root[j, j]
    return root


@dataclass(frozen=True)
class VarianceShare:
    """A share with its 95 % limits; it may stray beyond 0 and 1 where little is known."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Part:
    """A part of the variance: at which levels, and the coefficients of the quantities there.

    `sign` times the variance that was measured by itself is added, and `shift`, a small variance that belongs
    to another level than the one it shows at.
    """

    where: Where
    coefficients: Floats
    sign: float = 0.0
    shift: float = 0.0


def variance_shares(
    levels: list[Level], parts: dict[str, Part], offset: tuple[float, float] = (0.0, 0.0), draws: int = 4000
) -> dict[str, VarianceShare]:
    """Estimate the share of the first quantity's variance that goes with each combination of quantities.

    Parameters
    ----------
    levels : list of Level
        As `levels_of` gives them.
    parts : dict of str to Part
        Each is cov(y, Σ cᵢ xᵢ) at "all" levels, "between" batches or "within" them, plus sign × apart.
    offset : tuple
        A variance measured by itself, and its standard uncertainty; taken as that of a chi-square with
        degrees of freedom to match, as a variance strays further up than down.
    draws : int
        Of the pivots.

    Returns
    -------
    dict of str to VarianceShare
        Each over the variance of y at all levels.

    Notes
    -----
    Source: derived-spread-sources, weerahandi-1993
    """
    covariances = [_covariance_draws(level, draws, _SHARES_SEED + i) for i, level in enumerate(levels)]
    squares = [level.ss / level.df for level in levels]
    everywhere = [level.weight for level in levels]
    total = sum(w * m[0, 0] for w, m in zip(everywhere, squares, strict=True))
    total_drawn = sum(w * m[:, 0, 0] for w, m in zip(everywhere, covariances, strict=True))
    out = {}
    value, u = offset
    offset_draws = np.full(draws, value)
    if value > 0 and u > 0:
        df = 2 * (value / u) ** 2
        offset_draws = value * df / np.random.default_rng(_SHARES_SEED + 100).chisquare(df, draws)
    for name, part in parts.items():
        weights = [_weight(level, part.where) for level in levels]
        c = part.coefficients
        share = part.shift + part.sign * value + sum(w * float(m[0] @ c) for w, m in zip(weights, squares, strict=True))
        share_drawn = (
            part.shift
            + part.sign * offset_draws
            + sum(w * (m[:, 0, :] @ c) for w, m in zip(weights, covariances, strict=True))
        )
        low, high = percentiles(np.asarray(share_drawn / total_drawn))
        out[name] = VarianceShare(float(share / total), low, high)
    return out


def _weight(level: Level, where: Where) -> float:
    if where == "between":
        return level.above
    return level.weight if where == "all" else level.weight - level.above


DRAWS = 4000
_DRAWS_SEED = 20260609
_CHUNK_CELLS = 400_000


@dataclass(frozen=True)
class Draws:
    """Draws of a nested layout's parameters.

    `mean`: of all batches that could be made so; `signed`: the variances, a row a level, outermost first, the single
    piece last. They may come out negative: sums of them take them so: setting them to 0 first would push the sums up.
    """

    mean: Floats
    signed: Floats

    @property
    def variances(self) -> Floats:
        """Draws of the variances, none below 0."""
        return np.maximum(self.signed, 0.0)

    @property
    def total(self) -> Floats:
        """Draws of the variance of one piece taken at random."""
        return self.sum_of(range(self.signed.shape[0]))

    def sum_of(self, levels: Iterable[int]) -> Floats:
        """Draw the sum of some levels' variances, none below 0."""
        return np.asarray(np.maximum(self.signed[list(levels)].sum(axis=0), 0.0), dtype=np.float64)


def draw_components(
    values: ArrayLike,
    groups: Sequence[ArrayLike],
    pieces: ArrayLike | None = None,
    *,
    draws: int = DRAWS,
    seed: int = _DRAWS_SEED,
    layout: Layout | None = None,
) -> Draws:
    """Draw mean and variance components from their generalized pivots.

    Parameters
    ----------
    values : array_like, shape (n,)
        One a weighing: the mean of its pieces.
    groups : sequence of array_like, shape (n,) each
        Names of the groups, outermost level first.
    pieces : array_like, shape (n,), optional
        Pieces in each weighing, 1 where not given.
    draws : int
        How many.
    seed : int
        Of the draws; the same data always give the same limits.
    layout : Layout, optional
        What `nested_layout` gives of them, where that is known.

    Returns
    -------
    Draws
        Of mean and variances.

    Raises
    ------
    MeasureError
        Where a level has no degrees of freedom.

    Notes
    -----
    Source: weerahandi-1993, burdick-graybill

    Examples
    --------
    >>> drawn = draw_components([1.0, 2.0, 3.0, 4.0, 8.0, 9.0], [["a", "a", "b", "b", "c", "c"]], draws=500)
    >>> drawn.variances.shape
    (2, 500)
    """
    layout = layout or nested_layout(values, groups, pieces)
    if layout.df_within < 1 or any(d < 1 for d in layout.df):
        raise MeasureError(Fault("a level has no two values under one parent", "groups", "two or more at each level"))
    chi2 = _chi_squares((layout.df_within, *layout.df), draws, seed)
    normal = _spread_normals(draws, seed + 1)
    step = max(1, _CHUNK_CELLS // layout.mean.size)
    parts = [_solve(layout, chi2[:, i : i + step], normal[i : i + step]) for i in range(0, draws, step)]
    return Draws(np.concatenate([p.mean for p in parts]), np.concatenate([p.signed for p in parts], axis=1))


def _even_draws(draws: int, seed: int) -> Floats:
    """Draw uniformly, once in each nth of the range, shuffled: less noise in the limits."""
    rng = np.random.default_rng(seed)
    return np.asarray((rng.permutation(draws) + rng.random(draws)) / draws, dtype=np.float64)


def _chi_squares(df: tuple[int, ...], draws: int, seed: int) -> Floats:
    from scipy.special import chdtri

    return np.stack([chdtri(d, 1.0 - _even_draws(draws, seed + 10 * i)) for i, d in enumerate(df, start=1)])


def _spread_normals(draws: int, seed: int) -> Floats:
    from scipy.special import ndtri

    return np.asarray(ndtri(_even_draws(draws, seed)), dtype=np.float64)


def _solve(layout: Layout, chi2: Floats, normal: Floats) -> Draws:
    """Solve for the variances that would have given these chi-squares, from the inside out."""
    piece = layout.ss_within / chi2[0]
    below = piece[:, None] / layout.pieces[None, :]
    mean = np.broadcast_to(layout.mean, below.shape)
    signed = [piece]
    count_spread: tuple[Floats | float, Floats | float] = layout.count, layout.spread
    for parent, target in zip(layout.parents, chi2[1:], strict=True):
        variance = _level_variance(mean, below, parent, target, count_spread)
        signed.insert(0, variance)
        mean, below, _ = fold(mean, np.maximum(variance, 0.0)[:, None] + below, parent, *count_spread)
        count_spread = 1.0, 0.0
    return Draws(mean[:, 0] - normal * np.sqrt(below[:, 0]), np.stack(signed))


def _level_variance(
    mean: Floats,
    below: Floats,
    parent: NDArray[np.int64],
    target: Floats,
    count_spread: tuple[Floats | float, Floats | float],
) -> Floats:
    """Find the variance at which the weighted sum of squares is as wanted.

    Where it is less than wanted even at 0, the tangent at 0 gives how far below 0 the answer lies.
    """
    variance = np.zeros(target.size)
    tiny = np.finfo(float).tiny
    negative = np.zeros(target.size)
    for turn in range(60):
        spread = np.maximum(variance[:, None] + below, tiny)
        _, _, off = fold(mean, spread, parent, *count_spread)
        ss, slope = off.sum(axis=1), (off / spread).sum(axis=1)
        # 1 / ss is almost a straight line in the variance, so Newton's step on it lands at once.
        step = np.where(slope > 0, (ss / target - 1.0) * ss / np.maximum(slope, tiny), 0.0)
        negative = np.minimum(step, 0.0) if turn == 0 else negative
        new = np.maximum(variance + step, 0.0)
        if np.all(np.abs(new - variance) <= 1e-9 * (np.abs(new) + below.mean(axis=1))):
            variance = new
            break
        variance = new
    return np.asarray(np.where(variance > 0, variance, negative), dtype=np.float64)


def percentiles(draws: Floats, level: float = 0.95) -> tuple[float, float]:
    """Compute the equal-tailed limits of draws.

    Parameters
    ----------
    draws : numpy.ndarray
        One number a draw.
    level : float
        Of confidence.

    Returns
    -------
    tuple of float
        Low and high.

    Examples
    --------
    >>> import numpy as np
    >>> [round(limit, 6) for limit in percentiles(np.arange(1001.0))]
    [25.0, 975.0]
    """
    low, high = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


#: Noises with less weight do not bear on a quantile.
LEAST_WEIGHT = 1e-6


def mixture_quantile(share: float, weight: Floats, centre: Floats, scale: Floats, df: Floats) -> Floats:
    """Quantiles of mixtures of t distributions, one a row: bisection between the parts', then a secant."""
    from scipy.special import stdtr, stdtrit

    keep = weight > LEAST_WEIGHT
    weight, centre, scale, df = weight[keep] / weight[keep].sum(), centre[:, keep], scale[:, keep], df[keep]
    parts = centre + scale * stdtrit(df, share)
    low, high = parts.min(axis=1), parts.max(axis=1)

    def excess(at: Floats) -> Floats:
        return np.asarray(stdtr(df, (at[:, None] - centre) / scale) @ weight) - share

    for _ in range(14):
        middle = (low + high) / 2
        below = excess(middle) < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    under, over = excess(low), excess(high)
    rises = over - under > 1e-12
    return np.asarray(np.where(rises, low - under * (high - low) / np.where(rises, over - under, 1.0), low))


def spread_quantile(share: float, weight: Floats, variance: Floats, df: float) -> float:
    """Quantile of a mixture of scaled inverse chi-squared distributions, by bisection."""
    from scipy.special import chdtrc, chdtri

    parts = df * variance / chdtri(df, share)
    weighty = weight > 1e-9
    low, high = float(parts[weighty].min()), float(parts[weighty].max())
    for _ in range(50):
        middle = (low + high) / 2
        if float(weight @ chdtrc(df, df * variance / middle)) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2
