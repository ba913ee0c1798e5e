"""Reconciling measurements that must balance: weighted least squares, adjustments, gross errors named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
#: A standard deviation that is so small a share of the largest is none: differences of variances are rounded.
TINY = 1e-7


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
    sum_sd : float
        Standard uncertainty of the sum of the things' reconciled values.
    """

    values: Floats
    adjustments: Floats
    standardized: Floats
    statistic: float
    df: int
    sum_sd: float

    @property
    def p(self) -> float:
        """Chance of such a statistic if there is no gross error."""
        from scipy.special import chdtrc

        return float(chdtrc(self.df, self.statistic))


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
        two successive views of a thing, as the same least squares in each thing's value and the k shared errors:
        given those a value is a weighted mean. In time in proportion to the number of measurements.

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
    starts = np.flatnonzero(np.concatenate(([True], thing[1:] != thing[:-1])))
    of = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(thing))))
    weight = own_sd**-2.0
    total = np.add.reduceat(weight, starts)
    # Weighted means of each thing's measurements and of what they take of each shared error, one error a row.
    shares = np.ascontiguousarray(shared_sd.T)
    level = np.add.reduceat(weight * measured, starts) / total
    of_level = np.add.reduceat(weight * shares, starts, axis=1) / total
    off, off_shares = measured - level[of], shares - of_level[:, of]
    weighted = weight * off_shares
    covariance = np.linalg.inv(np.eye(len(shares)) + weighted @ off_shares.T)
    by_shares = weighted @ off
    errors = covariance @ by_shares
    values = (level - errors @ of_level)[of]
    before = own_sd**2 + (shares**2).sum(axis=0)
    after = 1.0 / total + (of_level * (covariance @ of_level)).sum(axis=0)
    adjustment_sd = np.sqrt(np.clip(before - after[of], 0.0, None))
    tiny = adjustment_sd <= TINY * np.sqrt(before).max()
    statistic = float(weight @ off**2 - by_shares @ errors)
    sums = of_level.sum(axis=1)
    return AgreedViews(
        values,
        values - measured,
        np.where(tiny, 0.0, (values - measured) / np.where(tiny, 1.0, adjustment_sd)),
        statistic,
        len(thing) - len(starts),
        float(np.sqrt((1.0 / total).sum() + sums @ covariance @ sums)),
    )
