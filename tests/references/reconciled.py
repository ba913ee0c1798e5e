"""Reconciling measurements by matrices as textbooks write it, to compare the quick way of reels with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Reconciled:
    """Values, their uncertainties, what was adjusted and how much of that is chance."""

    values: Floats
    sd: Floats
    covariance: Floats
    adjustments: Floats
    standardized: Floats
    statistic: float
    df: int


def reconcile(measured: npt.ArrayLike, covariance: npt.ArrayLike, balances: npt.ArrayLike) -> Reconciled:
    """x - V A' (A V A')^-1 A x of measurements x, their covariance V or deviations, and balances A x = 0.

    Source: vdi-2048, narasimhan-jordache-2000 in data/sources.toml.
    """
    x = np.asarray(measured, dtype=float)
    v = np.asarray(covariance, dtype=float)
    a = np.atleast_2d(np.asarray(balances, dtype=float))
    if v.ndim == 1:
        v = np.diag(v**2)
    gap = a @ x
    spread = a @ v @ a.T
    gain = v @ a.T @ np.linalg.inv(spread)
    adjust = -gain @ gap
    adjust_cov = gain @ a @ v
    adjust_sd = np.sqrt(np.clip(np.diag(adjust_cov), 0.0, None))
    tiny = adjust_sd <= 1e-9 * np.sqrt(np.clip(np.diag(v), 0.0, None)).max()
    return Reconciled(
        x + adjust,
        np.sqrt(np.clip(np.diag(v - adjust_cov), 0.0, None)),
        v - adjust_cov,
        adjust,
        np.where(tiny, 0.0, adjust / np.where(tiny, 1.0, adjust_sd)),
        float(gap @ np.linalg.solve(spread, gap)),
        len(a),
    )
