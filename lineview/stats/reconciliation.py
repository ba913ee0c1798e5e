"""Reconciling measurements that must balance: weighted least squares, adjustments, gross errors named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineview.errors import Fault, MeasureError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Reconciled:
    """Measurements adjusted as little as their uncertainties allow, so that every balance closes.

    Parameters
    ----------
    values, sd : numpy.ndarray
        Reconciled values and their standard uncertainties.
    covariance : numpy.ndarray
        Of the reconciled values.
    adjustments : numpy.ndarray
        Reconciled less measured.
    standardized : numpy.ndarray
        Each adjustment over its own standard deviation; 0 where a value cannot be adjusted.
    statistic, df, p : float, int, float
        Sum of squared adjustments weighted by the covariance, its degrees of freedom (balances) and its
        chance if there is no gross error.
    """

    values: Floats
    sd: Floats
    covariance: Floats
    adjustments: Floats
    standardized: Floats
    statistic: float
    df: int
    p: float


def reconcile(measured: npt.ArrayLike, covariance: npt.ArrayLike, balances: npt.ArrayLike) -> Reconciled:
    """Adjust measurements so that linear balances hold.

    Parameters
    ----------
    measured : array_like, shape (n,)
        Measured values, all in one unit.
    covariance : array_like, shape (n,) or (n, n)
        Standard uncertainties, or their covariance where measurements share an error.
    balances : array_like, shape (m, n)
        Rows A of A x = 0.

    Returns
    -------
    Reconciled
        x − V Aᵀ (A V Aᵀ)⁻¹ A x, with the uncertainties that are left.

    Raises
    ------
    MeasureError
        Where shapes do not match, a standard uncertainty is negative, or balances repeat each other.

    Notes
    -----
    The idea of VDI 2048; law of propagation of uncertainty as in the GUM.

    Source: vdi-2048, narasimhan-jordache-2000

    Examples
    --------
    >>> out = reconcile([10.3, 4.0, 6.0], [0.2, 0.1, 0.1], [[1, -1, -1]])
    >>> out.values.round(3).tolist()
    [10.1, 4.05, 6.05]
    """
    x = np.asarray(measured, dtype=float)
    v = np.asarray(covariance, dtype=float)
    a = np.atleast_2d(np.asarray(balances, dtype=float))
    _check(x, v, a)
    if v.ndim == 1:
        v = np.diag(v**2)
    from scipy.special import chdtrc

    gap = a @ x
    spread = a @ v @ a.T
    gain = v @ a.T @ np.linalg.inv(spread)
    adjust = -gain @ gap
    adjust_cov = gain @ a @ v
    adjust_sd = np.sqrt(np.clip(np.diag(adjust_cov), 0.0, None))
    tiny = adjust_sd <= 1e-9 * np.sqrt(np.clip(np.diag(v), 0.0, None)).max()
    statistic = float(gap @ np.linalg.solve(spread, gap))
    return Reconciled(
        values=x + adjust,
        sd=np.sqrt(np.clip(np.diag(v - adjust_cov), 0.0, None)),
        covariance=v - adjust_cov,
        adjustments=adjust,
        standardized=np.where(tiny, 0.0, adjust / np.where(tiny, 1.0, adjust_sd)),
        statistic=statistic,
        df=len(a),
        p=float(chdtrc(len(a), statistic)),
    )


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


def _check(x: Floats, v: Floats, a: Floats) -> None:
    faults = []
    n = len(x)
    if v.shape not in ((n,), (n, n)):
        faults.append(
            Fault(f"{v.shape} uncertainties for {n} measurements", "covariance", f"({n},) or ({n}, {n})")
        )
    elif (v < 0).any() if v.ndim == 1 else (np.diag(v) < 0).any():
        faults.append(Fault("an uncertainty is negative", "covariance", "0 or more"))
    if a.shape[1] != n:
        faults.append(Fault(f"balances over {a.shape[1]} values", "balances", f"{n} columns"))
    elif np.linalg.matrix_rank(a) < len(a):
        faults.append(
            Fault("a balance follows from the others", "balances", "independent rows", "Leave it out.")
        )
    if faults:
        raise MeasureError(faults)
