"""Limits of a standard deviation within groups that hold for heavy tails, skewed values and uneven groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Inverse degrees of freedom of Student's distribution that are tried: from normal to where a spread ends.
_INVERSE = np.array([0.0, 0.02, 0.05, 0.08, 0.11, 0.14, 0.17, 0.2, 0.23, 0.26, 0.29, 0.32, 0.35, 0.38, 0.41, 0.44])
_NU = 1.0 / np.maximum(_INVERSE, 1e-4)
#: From so many groups on they are what is drawn at random; below it is the values.
_LEAST_GROUPS = 10
#: With more values than this tails show in the kurtosis alone, and the likelihood is left out where they do not.
_MANY = 2000
_MOST = 20_000
_TURNS = 25


@dataclass(frozen=True)
class TailCheck:
    """How values spread about their group's mean: excess kurtosis, its standard error, equivalent degrees."""

    kurtosis: float
    kurtosis_sd: float
    degrees: float

    @property
    def heavy(self) -> bool:
        """Whether tails are heavier than a normal distribution's, at 1 in 20."""
        return self.kurtosis > 1.645 * self.kurtosis_sd


def tail_check(values: Floats, group: Ints) -> TailCheck:
    """Measure tails, and how many degrees of freedom the pooled variance within groups is worth.

    Source: derived-tailed-spread

    Examples
    --------
    >>> import numpy as np
    >>> check = tail_check(np.array([1.0, 2.0, 3.0, 2.0, 4.0, 6.0]), np.array([0, 0, 0, 1, 1, 1]))
    >>> 0 < check.degrees <= 4
    True
    """
    count = np.bincount(group).astype(np.float64)
    off = values - (np.bincount(group, values) / count)[group]
    squares, degrees = np.bincount(group, off**2).astype(np.float64), count - 1.0
    has_spread = count > 1
    squares, degrees = squares[has_spread], degrees[has_spread]
    df, total = float(degrees.sum()), float(squares.sum())
    several = count[group] > 1
    stretched = off[several] * np.sqrt(1.0 + 1.0 / (count[group][several] - 1.0))
    n = stretched.size
    kurtosis = float(np.mean(stretched**4) / np.mean(stretched**2) ** 2) - 3.0
    if squares.size < _LEAST_GROUPS:
        squares, degrees = stretched**2 * df / n, np.full(n, df / n)
    influence = (squares - degrees * total / df) / total
    variance = squares.size / max(squares.size - 1, 1) * float(influence @ influence)
    return TailCheck(kurtosis, float(np.sqrt(24.0 / n)), min(df, 2.0 / max(variance, 1e-12)))


def draw_variance(values: Floats, group: Ints, draws: int, seed: int = 1) -> tuple[Floats, TailCheck]:
    """Draw the variance within groups: what uneven groups allow and what Student's tails allow, whichever is wider.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        In groups, not all alike.
    group : numpy.ndarray, shape (n,)
        Number of each value's group, from 0, in ascending order.
    draws : int
        How many.
    seed : int
        Of the draws.

    Returns
    -------
    tuple
        The draws, in random order, and the check of the tails behind them.

    Notes
    -----
    A sample of a heavy-tailed process mostly lacks its largest values, so that its own kurtosis is too small:
    the likelihood over Student's degrees of freedom says what may lie beyond.
    Source: derived-tailed-spread
    """
    from scipy.special import chdtri

    check = tail_check(values, group)
    count = np.bincount(group).astype(np.float64)
    df = float((count - 1.0).sum())
    off = values - (np.bincount(group, values) / count)[group]
    rng = np.random.default_rng(seed)
    place = (np.arange(draws) + 0.5) / draws
    variance = float(off @ off) / df
    draws_even = variance * check.degrees / chdtri(check.degrees, place)
    if values.size <= _MANY or check.heavy:
        tailed = _student_draws(values[:_MOST], group[:_MOST], draws, rng)
        # Its upper end is taken at 3 instead of 2.5 %: it holds normal values too often by itself.
        raised = np.interp(np.minimum(place, 0.5 + (place - 0.5) * (0.47 / 0.475)), place, np.sort(tailed))
        draws_even = np.where(place < 0.5, np.minimum(draws_even, np.sort(tailed)), np.maximum(draws_even, raised))
    return np.asarray(rng.permutation(draws_even), dtype=np.float64), check


def _student_draws(values: Floats, group: Ints, draws: int, rng: np.random.Generator) -> Floats:
    """Variances of Student's distributions that the values allow, each group about a place of its own."""
    likelihood, scale2, df = _student_fits(values, group)
    weight = np.exp(likelihood - likelihood.max()) * np.gradient(_INVERSE)
    which = rng.choice(_NU.size, draws, p=weight / weight.sum())
    nu = _NU[which]
    log_scale2 = np.log(scale2[which]) + rng.standard_normal(draws) * np.sqrt(2.0 * (nu + 3.0) / (nu * df))
    return np.asarray(np.exp(log_scale2) / (1.0 - 2.0 * _INVERSE[which]))


def _student_fits(values: Floats, group: Ints) -> tuple[Floats, Floats, float]:
    """Log likelihood and squared scale for each number of degrees, places integrated out; degrees left."""
    from scipy.special import gammaln

    starts = np.flatnonzero(np.concatenate(([True], np.diff(group) > 0)))
    count = np.diff(np.append(starts, values.size))
    group_of = np.repeat(np.arange(starts.size), count)
    df = float(values.size - starts.size)
    nu = _NU[:, None]
    place = np.repeat((np.add.reduceat(values, starts) / count)[None], _NU.size, axis=0)
    scale2 = float(np.sum((values - place[0, group_of]) ** 2)) / df * np.maximum((nu - 2.0) / nu, 0.3)
    off2 = (values - place[:, group_of]) ** 2
    for _ in range(_TURNS):
        weight = (nu + 1.0) / (nu + off2 / scale2)
        place = np.add.reduceat(weight * values, starts, axis=1) / np.add.reduceat(weight, starts, axis=1)
        off2 = (values - place[:, group_of]) ** 2
        new = np.sum(weight * off2, axis=1, keepdims=True) / df
        done = bool(np.all(np.abs(new / scale2 - 1.0) < 1e-3))
        scale2 = new
        if done:
            break
    z = off2 / scale2
    at_values = gammaln((nu + 1.0) / 2.0) - gammaln(nu / 2.0) - 0.5 * np.log(nu * scale2)
    likelihood = np.sum(at_values - (nu + 1.0) / 2.0 * np.log1p(z / nu), axis=1)
    bend = np.add.reduceat((nu + 1.0) * (nu - z) / (nu + z) ** 2 / scale2, starts, axis=1)
    likelihood -= 0.5 * np.log(np.maximum(bend, 0.2 * count / scale2)).sum(axis=1)
    return likelihood, scale2[:, 0], df
