"""Analysis of variance: one-way, exactly summed, and nested balanced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from lineview.errors import Fault, MeasureError
from lineview.statistics.as_written import whole_numbers


@dataclass(frozen=True)
class OneWay:
    """A one-way analysis of variance; `f` and `p` are None where nothing varies within groups."""

    ss_between: float
    ss_within: float
    df_between: int
    df_within: int
    f: float | None
    p: float | None

    @property
    def ms_between(self) -> float:
        """Mean square between groups."""
        return self.ss_between / self.df_between

    @property
    def ms_within(self) -> float:
        """Mean square within groups."""
        return self.ss_within / self.df_within


def one_way(groups: Sequence[Sequence[float]]) -> OneWay:
    """Analyse the variance of groups that may differ in size.

    Sums are exact on the decimals as written, and rounded once.

    Parameters
    ----------
    groups : sequence of sequence of float
        Two or more, none empty, at least one with two values.

    Returns
    -------
    OneWay
        Sums of squares, degrees of freedom, F and its probability.

    Raises
    ------
    MeasureError
        Where there are too few groups or values.

    Notes
    -----
    Source: nist-strd

    Examples
    --------
    >>> one_way([[1.0, 2.0], [2.0, 3.0]]).f
    2.0
    """
    sizes = [len(g) for g in groups]
    if len(sizes) < 2 or min(sizes) < 1 or sum(sizes) <= len(sizes):
        raise MeasureError(
            Fault("too few groups or values for an analysis of variance", "groups", "two or more groups")
        )
    whole, decimals = whole_numbers([v for g in groups for v in g])
    grand, start = Fraction(sum(whole), len(whole)), 0
    within, between = Fraction(0), Fraction(0)
    for size in sizes:
        part = whole[start : start + size]
        start += size
        total = sum(part)
        within += sum(w * w for w in part) - Fraction(total * total, size)
        between += size * (Fraction(total, size) - grand) ** 2
    df_between, df_within = len(sizes) - 1, len(whole) - len(sizes)
    scale = 10 ** (2 * decimals)
    f = float(between / df_between / (within / df_within)) if within else None
    return OneWay(
        float(between / scale), float(within / scale), df_between, df_within, f,
        None if f is None else _tail(f, df_between, df_within),
    )  # fmt: skip


def _tail(f: float, df1: int, df2: int) -> float:
    from scipy.stats import f as f_distribution

    return float(f_distribution.sf(f, df1, df2))


@dataclass(frozen=True)
class NestedBalanced:
    """A balanced nested analysis, outermost level first; `components` may come out negative."""

    ss: tuple[float, ...]
    df: tuple[int, ...]
    ms: tuple[float, ...]
    f: tuple[float, ...]
    p: tuple[float, ...]
    components: tuple[float, ...]


def nested_balanced(values: NDArray[np.float64]) -> NestedBalanced:
    """Analyse a balanced nested layout, such as runs, zones in runs and wafers in zones.

    Parameters
    ----------
    values : numpy.ndarray, shape (a, b, ..., n)
        Outermost level first; every axis 2 or longer.

    Returns
    -------
    NestedBalanced
        One entry a level; F and p for all levels but the innermost, each against the level below it.

    Notes
    -----
    Source: nist-handbook

    Examples
    --------
    >>> import numpy as np
    >>> nested_balanced(np.array([[1.0, 2.0], [2.0, 3.0]])).ss
    (1.0, 1.0)
    """
    depth = values.ndim
    means = [values.mean(axis=tuple(range(level, depth))) for level in range(depth + 1)]
    ss, df = [], []
    for level in range(1, depth + 1):
        each = values.size / means[level].size
        ss.append(float(each * np.sum((means[level] - means[level - 1][..., None]) ** 2)))
        df.append(means[level].size - means[level - 1].size)
    ms = [s / d for s, d in zip(ss, df, strict=True)]
    f = [ms[i] / ms[i + 1] for i in range(depth - 1)]
    p = [_tail(f[i], df[i], df[i + 1]) for i in range(depth - 1)]
    parts = []
    for level in range(depth):
        below = ms[level + 1] if level + 1 < depth else 0.0
        parts.append((ms[level] - below) / (values.size / means[level + 1].size))
    return NestedBalanced(tuple(ss), tuple(df), tuple(ms), tuple(f), tuple(p), tuple(parts))
