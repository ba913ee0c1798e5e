"""Straight least squares by orthogonal factors, with refinement, for ill-conditioned columns too."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.errors import Fault, MeasureError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LeastSquares:
    """Coefficients, their standard deviations, the residuals' and the share of variance explained."""

    beta: Floats
    sd: Floats
    residual_sd: float
    r2: float
    residuals: Floats
    df: int


def least_squares(y: Floats, x: Floats) -> LeastSquares:
    """Fit y on the columns of x.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values.
    x : numpy.ndarray, shape (n, p)
        Columns, the constant among them, n above p.

    Returns
    -------
    LeastSquares
        R² is about the mean.

    Raises
    ------
    MeasureError
        Where there are no more points than columns.

    Notes
    -----
    Columns are scaled, and the fit refined on residuals in extended precision.

    Source: nist-strd

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(4.0)
    >>> least_squares(1 + 2 * t, np.column_stack([np.ones(4), t])).beta.round(9).tolist()
    [1.0, 2.0]
    """
    n, p = x.shape
    if n <= p:
        raise MeasureError(Fault(f"{n} points for {p} coefficients", "x", "more points"))
    scale = np.linalg.norm(x, axis=0)
    q, r = np.linalg.qr(x / scale)
    wide_x, wide_y = x.astype(np.longdouble), y.astype(np.longdouble)
    beta = np.zeros(p, dtype=np.longdouble)
    for _ in range(4):
        left = wide_y - wide_x @ beta
        beta = beta + np.linalg.solve(r, q.T @ left.astype(np.float64)) / scale
    residuals = (wide_y - wide_x @ beta).astype(np.float64)
    squares, df = float(residuals @ residuals), n - p
    inverse = np.linalg.inv(r)
    sd = np.sqrt(squares / df * np.sum(inverse**2, axis=1)) / scale
    about = y - y.mean()
    return LeastSquares(
        beta.astype(np.float64), sd, float(np.sqrt(squares / df)), 1 - squares / float(about @ about),
        residuals, df
    )  # fmt: skip
