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

    `values`: reconciled, one a thing; `adjustments`, `standardized`, a row a view: what they are more than the measured
    ones, and that over its own standard deviation (0 where none can be); `statistic`: sum of their squares, weighted by
    the covariance; `df`: views less things; `sum_sd`: standard uncertainty of the sum of reconciled values.
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


def reconcile_views(measured: Floats, own_sd: Floats, shared_sd: Floats) -> AgreedViews:
    """Adjust measurements so that all views of one thing agree.

    Parameters
    ----------
    measured : array, shape (v, n)
        Each view's measurement of each thing, nan where there is none; at least one of each thing, two of one.
    own_sd : array, shape (v, n)
        Standard uncertainty of each measurement alone.
    shared_sd : array, shape (k, v, n)
        What each measurement takes of k errors that are common to many, as standard uncertainties.

    Returns
    -------
    AgreedViews
        x − V Aᵀ (A V Aᵀ)⁻¹ A x with V = diag(own_sd²) + shared_sdᵀ shared_sd and a balance in A between each
        two successive views of a thing, as the same least squares in each thing's value and the k shared errors:
        given those a value is a weighted mean. In time in proportion to the number of measurements.

    Notes
    -----
    Source: vdi-2048, narasimhan-jordache-2000

    Examples
    --------
    >>> metres = np.array([[10.0], [10.2]])
    >>> reconcile_views(metres, np.full((2, 1), 0.1), np.zeros((1, 2, 1))).values.round(2).tolist()
    [10.1]
    """
    there, k = ~np.isnan(measured), len(shared_sd)
    weight, known = np.where(there, own_sd, np.inf) ** -2.0, np.where(there, measured, 0.0)
    total = weight.sum(axis=0)
    # Weighted means of each thing's measurements and of what they take of each shared error, one error a row.
    level, of_level = (weight * known).sum(axis=0) / total, (weight * shared_sd).sum(axis=1) / total
    off, off_shares = known - level, shared_sd - of_level[:, None]
    weighted = (weight * off_shares).reshape(k, -1)
    covariance = np.linalg.inv(np.eye(k) + weighted @ off_shares.reshape(k, -1).T)
    by_shares = weighted @ off.ravel()
    errors = covariance @ by_shares
    values = level - errors @ of_level
    adjustments = values - measured
    before = np.where(there, own_sd**2 + (shared_sd**2).sum(axis=0), 0.0)
    after = 1.0 / total + (of_level * (covariance @ of_level)).sum(axis=0)
    adjustment_sd = np.sqrt(np.maximum(before - after, 0.0))
    tiny = adjustment_sd <= TINY * np.sqrt(before.max())
    sums = of_level.sum(axis=1)
    return AgreedViews(
        values,
        adjustments,
        np.where(tiny, 0.0, adjustments / np.where(tiny, 1.0, adjustment_sd)),
        float((weight * off**2).sum() - by_shares @ errors),
        int(there.sum()) - len(total),
        float(np.sqrt((1.0 / total).sum() + sums @ covariance @ sums)),
    )
