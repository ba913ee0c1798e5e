"""Intervals for nested variance components by generalized pivots, balanced or not.

Each level's weighted sum of squares about its parents, taken with the true variances, is chi-square with
that level's degrees of freedom. Drawing the chi-squares and solving for the variances, from the single
piece outwards, gives draws whose percentiles are the limits. For the innermost level, and for the mean of a
balanced layout, they are the exact textbook limits.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.stats.variance_components import Floats, Layout, fold, nested_layout

DRAWS = 4000
SEED = 20260609
_CHUNK_CELLS = 400_000


@dataclass(frozen=True)
class Draws:
    """Draws of a nested layout's parameters.

    Parameters
    ----------
    mean : numpy.ndarray, shape (draws,)
        Of the mean of all batches that could be made so.
    signed : numpy.ndarray, shape (levels, draws)
        Of the variances, outermost level first, the single piece last. They may come out negative: sums of
        them take them so, as setting them to 0 first would push the sums up.
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
    seed: int = SEED,
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
    layout = nested_layout(values, groups, pieces)
    if layout.df_within < 1 or any(d < 1 for d in layout.df):
        raise MeasureError(Fault("a level has no two values under one parent", "groups", "two or more at each level"))
    chi2 = _chi_squares((layout.df_within, *layout.df), draws, seed)
    normal = _spread_normals(draws, seed + 1)
    step = max(1, _CHUNK_CELLS // layout.mean.size)
    parts = [_solve(layout, chi2[:, i : i + step], normal[i : i + step]) for i in range(0, draws, step)]
    return Draws(np.concatenate([p.mean for p in parts]), np.concatenate([p.signed for p in parts], axis=1))


def _even(draws: int, seed: int) -> Floats:
    """Draw uniformly, once in each nth of the range, shuffled: less noise in the limits."""
    rng = np.random.default_rng(seed)
    return np.asarray((rng.permutation(draws) + rng.random(draws)) / draws, dtype=np.float64)


def _chi_squares(df: tuple[int, ...], draws: int, seed: int) -> Floats:
    from scipy.special import chdtri

    return np.stack([chdtri(d, 1.0 - _even(draws, seed + 10 * i)) for i, d in enumerate(df, start=1)])


def _spread_normals(draws: int, seed: int) -> Floats:
    from scipy.special import ndtri

    return np.asarray(ndtri(_even(draws, seed)), dtype=np.float64)


def _solve(layout: Layout, chi2: Floats, normal: Floats) -> Draws:
    """Solve for the variances that would have given these chi-squares, from the inside out."""
    piece = layout.ss_within / chi2[0]
    below = piece[:, None] / layout.pieces[None, :]
    mean = np.broadcast_to(layout.mean, below.shape)
    signed = [piece]
    alike: tuple[Floats | float, Floats | float] = layout.count, layout.spread
    for parent, wanted in zip(layout.parents, chi2[1:], strict=True):
        variance = _level_variance(mean, below, parent, wanted, alike)
        signed.insert(0, variance)
        mean, below, _ = fold(mean, np.maximum(variance, 0.0)[:, None] + below, parent, *alike)
        alike = 1.0, 0.0
    return Draws(mean[:, 0] - normal * np.sqrt(below[:, 0]), np.stack(signed))


def _level_variance(
    mean: Floats, below: Floats, parent: NDArray[np.int64], wanted: Floats, alike: tuple[Floats | float, Floats | float]
) -> Floats:
    """Find the variance at which the weighted sum of squares is as wanted.

    Where it is less than wanted even at 0, the tangent at 0 gives how far below 0 the answer lies.
    """
    variance = np.zeros(wanted.size)
    tiny = np.finfo(float).tiny
    negative = np.zeros(wanted.size)
    for turn in range(60):
        spread = np.maximum(variance[:, None] + below, tiny)
        _, _, off = fold(mean, spread, parent, *alike)
        ss, slope = off.sum(axis=1), (off / spread).sum(axis=1)
        # 1 / ss is almost a straight line in the variance, so Newton's step on it lands at once.
        step = np.where(slope > 0, (ss / wanted - 1.0) * ss / np.maximum(slope, tiny), 0.0)
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
