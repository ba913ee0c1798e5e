"""Variance components of nested, unbalanced data by restricted maximum likelihood (REML).

Batches hold samples, samples hold weighings. The layout is folded from the inside out: at each level the
units under one parent are averaged with weights 1 / (variance of the level + variance the unit brings along);
the average and its variance are the unit of the next level. The same fold gives the likelihood and the sums
of squares for intervals.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.stats.optimum import least_value

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
#: Below this share of the variance of all values lies only the rounding of equal ones.
LEAST_SHARE = 1e-12


@dataclass(frozen=True)
class Layout:
    """A nested layout, ready to be folded.

    `mean`: mean of the innermost units that are alike, which have one parent and as many pieces each; `pieces`:
    pieces behind each unit of a kind; `count`: units of a kind; `spread`: sum of squares of their means about
    `mean`; `units`: innermost units, all kinds together; `ss_within`: weighted sum of squares of single values
    about their unit's mean; `df_within`: its degrees of freedom; `parents`: for each level from the innermost,
    the index of each unit's parent (each kind's, in the first); the last is all zeros; `log_pieces`: sum of the
    logarithms of the pieces of the single values.
    """

    mean: Floats
    pieces: Floats
    count: Floats
    spread: Floats
    units: int
    ss_within: float
    df_within: int
    parents: tuple[Ints, ...]
    log_pieces: float

    @property
    def df(self) -> tuple[int, ...]:
        """Degrees of freedom of each grouping level, innermost first."""
        sizes = (self.units, *(p.size for p in self.parents[1:]))
        return tuple(n - (int(p.max()) + 1) for n, p in zip(sizes, self.parents, strict=False))


def nested_layout(values: ArrayLike, groups: Sequence[ArrayLike], pieces: ArrayLike | None = None) -> Layout:
    """Lay values out in nested groups, which may be unbalanced.

    Parameters
    ----------
    values : array_like, shape (n,)
        One a weighing: the mean of its pieces.
    groups : sequence of array_like, shape (n,) each
        Names of the groups of each value, outermost level first. A name counts within its outer group.
    pieces : array_like, shape (n,), optional
        Pieces in each value (1 where not given): the mean of k pieces has a kth of their variance.

    Returns
    -------
    Layout
        Units of the innermost level with the way up to the root. Those that are alike are put together: at
        any variances, the sums over them are those over their number, mean and spread.

    Raises
    ------
    MeasureError
        Where there is no value, or lengths differ.

    Examples
    --------
    >>> nested_layout([1.0, 2.0, 4.0], [["a", "a", "b"]]).df_within
    1
    """
    y = np.asarray(values, dtype=np.float64)
    k = np.ones_like(y) if pieces is None else np.asarray(pieces, dtype=np.float64)
    columns = [np.unique(np.asarray(g), return_inverse=True)[1].astype(np.int64) for g in groups]
    if not y.size or k.size != y.size or any(c.size != y.size for c in columns):
        raise MeasureError(Fault("values, groups and pieces differ in length, or are none", "values"))
    parents: list[Ints] = []
    unit = np.zeros(y.size, dtype=np.int64)
    for column in columns:
        key = unit * (int(column.max()) + 1) + column
        _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
        parents.insert(0, unit[first])
        unit = inverse.astype(np.int64)
    total = np.bincount(unit, weights=k).astype(np.float64)
    mean = np.asarray(np.bincount(unit, weights=k * y) / total, dtype=np.float64)
    ss = float(np.sum(k * (y - mean[unit]) ** 2))
    log_pieces = float(np.sum(np.log(k)))
    if not parents:
        weights = np.ones(mean.size)
        return Layout(mean, total, weights, np.zeros(mean.size), mean.size, ss, y.size - mean.size, (), log_pieces)
    order = np.lexsort((total, parents[0]))
    same = (np.diff(parents[0][order]) == 0) & (np.diff(total[order]) == 0)
    kind = np.empty(mean.size, dtype=np.int64)
    kind[order] = np.concatenate(([0], np.cumsum(~same)))
    first = order[np.concatenate(([True], ~same))]
    count = np.bincount(kind).astype(np.float64)
    middle = np.bincount(kind, weights=mean) / count
    spread = np.bincount(kind, weights=(mean - middle[kind]) ** 2).astype(np.float64)
    above = (parents[0][first], *parents[1:])
    return Layout(middle, total[first], count, spread, mean.size, ss, y.size - mean.size, above, log_pieces)


def fold(
    mean: Floats, variance: Floats, parent: Ints, count: Floats | float = 1.0, spread: Floats | float = 0.0
) -> tuple[Floats, Floats, Floats]:
    """Average units under their parents."""
    starts = np.flatnonzero(np.concatenate(([True], parent[1:] != parent[:-1])))
    weight = 1.0 / variance
    total = np.add.reduceat(weight * count, starts, axis=-1)
    above = np.add.reduceat(weight * count * mean, starts, axis=-1) / total
    off = weight * (count * (mean - above[..., parent]) ** 2 + spread)
    return above, 1.0 / total, off


@dataclass(frozen=True)
class Components:
    """Generalized least squares mean, its variance with the components taken as known, and the components.

    `variances`: outermost level first, the single piece last; 0 where the data show none.
    """

    mean: float
    mean_variance: float
    variances: tuple[float, ...]

    @property
    def sds(self) -> tuple[float, ...]:
        """Standard deviations, outermost level first."""
        return tuple(float(np.sqrt(v)) for v in self.variances)


def reml(
    values: ArrayLike,
    groups: Sequence[ArrayLike],
    pieces: ArrayLike | None = None,
    *,
    maximum_likelihood: bool = False,
    layout: Layout | None = None,
) -> Components:
    """Estimate the variance of each level of a nested layout.

    Parameters
    ----------
    values : array_like, shape (n,)
        One a weighing: the mean of its pieces.
    groups : sequence of array_like, shape (n,) each
        Names of the groups, outermost level first (batch, then sample time).
    pieces : array_like, shape (n,), optional
        Pieces in each weighing, 1 where not given.
    maximum_likelihood : bool
        Plain instead of restricted likelihood.
    layout : Layout, optional
        What `nested_layout` gives of them, where that is known.

    Returns
    -------
    Components
        Mean and variances.

    Raises
    ------
    MeasureError
        Where a level has nothing to be estimated from.

    Notes
    -----
    Source: searle-casella-mcculloch, davies-goldsmith

    Examples
    --------
    >>> components = reml([1.0, 2.0, 3.0, 4.0, 8.0, 9.0], [["a", "a", "b", "b", "c", "c"]])
    >>> round(components.mean, 6), [round(v, 4) for v in components.variances]
    (4.5, [12.75, 0.5])
    """
    layout = layout or nested_layout(values, groups, pieces)
    if layout.df_within < 1 or any(d < 1 for d in layout.df):
        raise MeasureError(Fault("a level has no two values under one parent", "groups", "two or more at each level"))
    scale = max(float(np.var(np.asarray(values, dtype=np.float64))), 1e-300)
    best = _minimize(layout, scale, maximum_likelihood)
    _, mean, variance = _minus_twice_loglikelihood(best, layout, maximum_likelihood)
    return Components(float(mean), float(variance), tuple(float(v) for v in best[::-1]))


def _minus_twice_loglikelihood(
    variances: Floats, layout: Layout, maximum_likelihood: bool
) -> tuple[Floats, Floats, Floats]:
    """Compute -2 log likelihood (less a constant), mean and its variance; innermost variance first, a row a case."""
    piece = variances[..., :1]
    total = layout.df_within * np.log(piece[..., 0]) + layout.ss_within / piece[..., 0] - layout.log_pieces
    total += float(layout.count @ np.log(layout.pieces))
    mean, below = layout.mean, piece / layout.pieces
    alike: tuple[Floats | float, Floats | float] = layout.count, layout.spread
    for level, parent in enumerate(layout.parents, start=1):
        spread = variances[..., level, None] + below
        mean, below, off = fold(mean, spread, parent, *alike)
        total += np.sum(alike[0] * np.log(spread) + off, axis=-1) - np.sum(np.log(below), axis=-1)
        alike = 1.0, 0.0
    if maximum_likelihood:
        total += np.log(below[..., 0])
    return total, mean[..., 0], below[..., 0]


def _minimize(layout: Layout, scale: float, maximum_likelihood: bool) -> Floats:
    """Find the variances, innermost first, that are most likely; none below 0."""
    levels = len(layout.parents)
    within = layout.ss_within / layout.df_within
    floor = 1e-9 * within
    if within < LEAST_SHARE * scale:  # values of a unit are alike: the variance of pieces is 0
        floor = LEAST_SHARE * scale
        layout = replace(layout, ss_within=floor / 2 * layout.df_within)

    def unlikely(variances: Floats) -> Floats:
        return _minus_twice_loglikelihood(variances, layout, maximum_likelihood)[0]

    start = np.array([max(within, floor), *levels * [0.5 * scale]])
    best, lowest = None, np.inf
    for vanished in chain.from_iterable(combinations(range(1, levels + 1), n) for n in range(levels + 1)):
        variances = _with_vanished(unlikely, start, list(vanished))
        if variances is not None and (value := float(unlikely(variances))) < lowest - 1e-9:
            best, lowest = variances, value
        # Only where a level may have vanished has more to be tried.
        if best is not None and not vanished and np.all(best > floor):
            break
    if best is None:
        raise MeasureError(Fault("the likelihood has no maximum", "values", "values that vary"))
    return np.asarray(np.where(best < floor, 0.0, best), dtype=np.float64)


def _with_vanished(unlikely: Callable[[Floats], Floats], start: Floats, vanished: list[int]) -> Floats | None:
    """The likeliest variances with those of some levels at 0, found by their logarithms; None where there are none."""
    places = [level - n for n, level in enumerate(vanished)]

    def whole(logs: Floats) -> Floats:
        return np.insert(np.exp(logs), places, 0.0, axis=-1)

    logs = least_value(lambda at: unlikely(whole(at)), np.log(np.delete(start, vanished)))
    return None if logs is None else whole(logs)
