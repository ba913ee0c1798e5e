"""A nested layout that may be unbalanced, folded from the inside out.

Batches hold samples, samples hold weighings. At each level the units under one parent are averaged with
weights 1 / (variance of the level + variance the unit brings along); the average and its variance are the
unit of the next level. The same fold gives the likelihood and the sums of squares for intervals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.errors import Fault, MeasureError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Layout:
    """A nested layout, ready to be folded.

    Parameters
    ----------
    mean : numpy.ndarray, shape (units,)
        Mean of each innermost unit, weighted by pieces.
    pieces : numpy.ndarray, shape (units,)
        Pieces behind it.
    ss_within : float
        Weighted sum of squares of single values about their unit's mean.
    df_within : int
        Its degrees of freedom.
    parents : tuple of numpy.ndarray
        For each level from the innermost, the index of each unit's parent; the last is all zeros.
    log_pieces : float
        Sum of the logarithms of the pieces of the single values.
    """

    mean: Floats
    pieces: Floats
    ss_within: float
    df_within: int
    parents: tuple[Ints, ...]
    log_pieces: float

    @property
    def df(self) -> tuple[int, ...]:
        """Degrees of freedom of each grouping level, innermost first."""
        return tuple(p.size - (int(p.max()) + 1) for p in self.parents)


def lay_out(values: ArrayLike, groups: Sequence[ArrayLike], pieces: ArrayLike | None = None) -> Layout:
    """Lay values out in nested groups.

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
        Units of the innermost level with the way up to the root.

    Raises
    ------
    MeasureError
        Where there is no value, or lengths differ.

    Examples
    --------
    >>> lay_out([1.0, 2.0, 4.0], [["a", "a", "b"]]).df_within
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
    return Layout(mean, total, ss, y.size - mean.size, tuple(parents), float(np.sum(np.log(k))))


def fold(mean: Floats, variance: Floats, parent: Ints) -> tuple[Floats, Floats, Floats]:
    """Average units under their parents.

    Parameters
    ----------
    mean, variance : numpy.ndarray, shape (..., units)
        Of each unit, the level's own variance included.
    parent : numpy.ndarray, shape (units,)
        Index of each unit's parent, ascending.

    Returns
    -------
    numpy.ndarray, shape (..., parents)
        Weighted mean under each parent.
    numpy.ndarray, shape (..., parents)
        Variance of that mean.
    numpy.ndarray, shape (..., units)
        Weighted squared distance of each unit from its parent's mean.
    """
    weight = 1.0 / variance
    total = sum_under(weight, parent)
    above = sum_under(weight * mean, parent) / total
    off = weight * (mean - above[..., parent]) ** 2
    return above, 1.0 / total, off


def sum_under(values: Floats, parent: Ints) -> Floats:
    """Sum the last axis by parent.

    Parameters
    ----------
    values : numpy.ndarray, shape (..., units)
        What to sum.
    parent : numpy.ndarray, shape (units,)
        Index of each unit's parent, ascending, as `lay_out` numbers them.

    Returns
    -------
    numpy.ndarray, shape (..., parents)
        The sums.
    """
    starts = np.concatenate([[0], np.flatnonzero(np.diff(parent)) + 1])
    return np.asarray(np.add.reduceat(values, starts, axis=-1), dtype=np.float64)
