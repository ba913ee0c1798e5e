"""Reconciling measurements that must balance: weighted least squares, adjustments, gross errors named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def critical_adjustment(candidates: int, level: float = 0.95) -> float:
    """Compute how large a standardized adjustment must be among so many to name a gross error.

    Parameters
    ----------
    candidates : int
        Measurements that are looked at.
    level : float
        Chance that none is named where there is no gross error.

    Returns
    -------
    float
        Normal quantile with Šidák's correction for looking at several; 1.96 for one.

    Notes
    -----
    Source: narasimhan-jordache-2000

    Examples
    --------
    >>> round(critical_adjustment(1), 2), round(critical_adjustment(40), 2)
    (1.96, 3.22)
    """
    from scipy.special import ndtri

    return -float(ndtri((1.0 - level ** (1.0 / max(candidates, 1))) / 2.0))


@dataclass(frozen=True)
class AgreedViews:
    """Measurements of the same things in several views, adjusted so that each thing's views agree.

    Parameters
    ----------
    values, adjustments, standardized : array, shape (n,)
        Reconciled values, what they are more than the measured ones, and that over its own standard
        deviation; 0 where a value cannot be adjusted.
    statistic : float
        Sum of squared adjustments weighted by the covariance.
    df : int
        Balances: views less things.
    p : float
        Chance of such a statistic if there is no gross error.
    sum_sd : float
        Standard uncertainty of the sum of the things' reconciled values.
    """

    values: Floats
    adjustments: Floats
    standardized: Floats
    statistic: float
    df: int
    p: float
    sum_sd: float


def reconcile_views(measured: Floats, thing: npt.NDArray[np.int64], own_sd: Floats, shared_sd: Floats) -> AgreedViews:
    """Adjust measurements so that all views of one thing agree.

    Parameters
    ----------
    measured : array, shape (n,)
        Thing by thing, up to three views each; at least one thing has two.
    thing : array of int, shape (n,)
        Which thing each is of, never falling.
    own_sd : array, shape (n,)
        Standard uncertainty of each measurement alone.
    shared_sd : array, shape (n, k)
        What each measurement takes of k errors that are common to many, as standard uncertainties.

    Returns
    -------
    AgreedViews
        x − V Aᵀ (A V Aᵀ)⁻¹ A x with V = diag(own_sd²) + shared_sd shared_sdᵀ and a balance in A between each
        two successive views of a thing, without a matrix of all measurements: by the rank of what is shared,
        in time in proportion to their number.

    Notes
    -----
    Source: vdi-2048, narasimhan-jordache-2000

    Examples
    --------
    >>> metres, same = np.array([10.0, 10.2]), np.array([0, 0])
    >>> out = reconcile_views(metres, same, np.array([0.1, 0.1]), np.zeros((2, 1)))
    >>> out.values.round(2).tolist()
    [10.1, 10.1]
    """
    from scipy.special import chdtrc

    pairs = np.flatnonzero(thing[1:] == thing[:-1])
    d = own_sd**2
    # Balances A x = 0: x[p] − x[p + 1] for each pair; B = A D Aᵀ is made of blocks of one or two per thing.
    gap = measured[pairs] - measured[pairs + 1]
    u = shared_sd[pairs] - shared_sd[pairs + 1]
    inverse = _BlockInverse(d[pairs] + d[pairs + 1], np.where(np.diff(pairs) == 1, -d[pairs[1:]], 0.0))
    w = inverse.times(u)
    q = u.T @ w
    small = np.asarray(np.linalg.inv(np.eye(u.shape[1]) + q), dtype=np.float64)

    def solve(right: Floats) -> Floats:
        first = inverse.times(right)
        return np.asarray(first - w @ (small @ (u.T @ first)))

    force = solve(gap[:, None])[:, 0]
    pushed = _balance_sums(force, pairs, len(measured))
    adjust = -(d * pushed + shared_sd @ (shared_sd.T @ pushed))
    adjustment_sd = _adjusted_variance(d, shared_sd, pairs, inverse, w, q, small)
    adjustment_sd = np.sqrt(np.clip(adjustment_sd, 0.0, None))
    tiny = adjustment_sd <= 1e-9 * np.sqrt(d + _row_products(shared_sd, shared_sd)).max()
    statistic = float(gap @ force)
    first = np.flatnonzero(np.concatenate(([True], thing[1:] != thing[:-1])))
    pick = np.zeros(len(measured))
    pick[first] = 1.0
    common = shared_sd.T @ pick
    imbalance = (d * pick)[pairs] - (d * pick)[pairs + 1] + u @ common
    variance = float((pick * d) @ pick + common @ common - imbalance @ solve(imbalance[:, None])[:, 0])
    return AgreedViews(
        measured + adjust,
        adjust,
        np.where(tiny, 0.0, adjust / np.where(tiny, 1.0, adjustment_sd)),
        statistic,
        len(pairs),
        float(chdtrc(len(pairs), statistic)),
        float(np.sqrt(max(variance, 0.0))),
    )


class _BlockInverse:
    """The inverse of a symmetric matrix of blocks of one or two: its diagonal and what stands beside it."""

    def __init__(self, diagonal: Floats, beside: Floats) -> None:
        before, after = np.append(0.0, beside), np.append(beside, 0.0)
        other = np.where(
            after != 0.0, np.append(diagonal[1:], 1.0), np.where(before != 0.0, np.append(1.0, diagonal[:-1]), 1.0)
        )
        both = before + after
        determinant = diagonal * other - both**2
        self.diagonal = other / determinant
        self.beside = -beside / determinant[:-1] if len(beside) else beside

    def times(self, right: Floats) -> Floats:
        """The inverse times columns."""
        out = self.diagonal[:, None] * right
        out[:-1] += self.beside[:, None] * right[1:]
        out[1:] += self.beside[:, None] * right[:-1]
        return np.asarray(out)


def _balance_sums(force: Floats, pairs: npt.NDArray[np.int64], n: int) -> Floats:
    """What the balances' forces put on each measurement: Aᵀ force."""
    out = np.zeros(n)
    np.add.at(out, pairs, force)
    np.add.at(out, pairs + 1, -force)
    return out


def _adjusted_variance(
    d: Floats, shared: Floats, pairs: npt.NDArray[np.int64], inverse: _BlockInverse, w: Floats, q: Floats, small: Floats
) -> Floats:
    """Variance of each adjustment: the diagonal of V Aᵀ (A V Aᵀ)⁻¹ A V."""
    n = len(d)
    plus, minus = np.zeros(n), np.zeros(n)  # aᵀ B⁻¹ a of each measurement's column a of A
    row_of = np.full(n, -1)
    row_of[pairs] = np.arange(len(pairs))
    before = np.full(n, -1)
    before[pairs + 1] = np.arange(len(pairs))
    has, had = row_of >= 0, before >= 0
    plus[has] = inverse.diagonal[row_of[has]]
    minus[had] = inverse.diagonal[before[had]]
    both = has & had
    cross = np.zeros(n)
    cross[both] = inverse.beside[before[both]]
    quadratic = plus + minus - 2.0 * cross
    wa = np.zeros((n, w.shape[1]))  # Wᵀ a
    wa[has] += w[row_of[has]]
    wa[had] -= w[before[had]]
    by_shared = shared @ q
    spread = d[:, None] * wa + by_shared
    inner = d**2 * quadratic + 2.0 * d * _row_products(wa, shared) + _row_products(by_shared, shared)
    return np.asarray(inner - _row_products(spread @ small, spread))


def _row_products(one: Floats, other: Floats) -> Floats:
    """Sums of the products of rows with a few columns, at a tenth of the time of going along each row."""
    return sum((a * b for a, b in zip(one.T[1:], other.T[1:], strict=True)), one[:, 0] * other[:, 0])
