"""Least squares: coefficients that cannot be negative, and several series in correlated noise."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineview.core.errors import Fault, MeasureError
from lineview.stats.correlated_regression import COARSE, CorrelatedFit, Floats, Noise, check_columns, inverse_times

#: Of what bears on a coefficient less than this share left over is rounding.
LEAST_SHARE = 1e-6


@dataclass(frozen=True)
class NonNegativeFit:
    """A fit y = X b + error with b ≥ 0.

    `low` and `high` are the ends of each coefficient's interval, cut off at 0; `n` rows and each one's `df`
    degrees of freedom stand behind them.
    """

    coefficients: Floats
    low: Floats
    high: Floats
    n: int
    df: Floats


def nonnegative_fit(
    design: npt.ArrayLike, response: npt.ArrayLike, *, groups: npt.ArrayLike | None = None, level: float = 0.95
) -> NonNegativeFit:
    """Fit by least squares with no coefficient below 0.

    Parameters
    ----------
    design : array_like, shape (n, k)
        One column a cause, no intercept unless it is a column.
    response : array_like, shape (n,)
        What is to be explained.
    groups : array_like, shape (n,), optional
        Rows of one group share a spread; each group is weighted by its own.
    level : float
        Confidence of the intervals.

    Returns
    -------
    NonNegativeFit
        Estimates under the constraint; intervals from the unconstrained fit with a sandwich variance
        (HC2) and Student's t, cut off at 0, which keeps their coverage for a truth that is not negative.

    Raises
    ------
    MeasureError
        Where there are no more rows than columns, or columns depend on each other.

    Notes
    -----
    HC2 divides each squared residual by one less its leverage, so that the spread may differ from row to row;
    it is unbiased where it does not. Degrees of freedom are Satterthwaite's for that variance, as Bell and
    McCaffrey have it: few where few rows bear on a coefficient; 0, and no upper limit, where one alone does.
    (HC3's larger variance makes up for few rows in its own way; with these degrees of freedom it would do so twice.)

    Source: lawson-hanson-1974, mackinnon-white-1985, bell-mccaffrey-2002

    Examples
    --------
    >>> fit = nonnegative_fit([[1, 0], [1, 1], [1, 2], [1, 3]], [2.0, 1.9, 2.1, 1.8])
    >>> fit.coefficients.round(2).tolist()
    [1.95, 0.0]
    """
    from scipy.special import stdtrit

    x, y = np.asarray(design, dtype=float), np.asarray(response, dtype=float)
    _check(x, y)
    weights = np.ones(len(y)) if groups is None else _weights(x, y, np.asarray(groups))
    root = np.sqrt(weights)
    xw, yw = x * root[:, None], y * root
    scale = np.sqrt((xw**2).sum(axis=0))
    constrained = _non_negative(xw / scale, yw) / scale
    inverse = np.linalg.inv(xw.T @ xw)
    free = inverse @ (xw.T @ yw)
    residual = yw - xw @ free
    sd, df = _sandwich(xw, inverse, residual)
    half, is_free = np.full(df.size, np.inf), df > 0
    half[is_free] = stdtrit(df[is_free], 0.5 + level / 2.0) * sd[is_free]
    low, high = np.maximum(free - half, 0.0), np.maximum(free + half, 0.0)
    return NonNegativeFit(
        coefficients=constrained, low=np.minimum(low, constrained), high=np.maximum(high, constrained), n=len(y), df=df
    )


def _non_negative(x: Floats, y: Floats) -> Floats:
    """Least squares with no coefficient below 0: the best of the fits of every set of columns that has none.

    The causes are a handful, so all sets are looked at; scipy.optimize.nnls gives the same, and takes an
    eighth of a second of processor time to load.
    """
    k = x.shape[1]
    gram, right = x.T @ x, x.T @ y
    best, least = np.zeros(k), 0.0
    for chosen in range(1, 2**k):
        columns = [j for j in range(k) if chosen >> j & 1]
        fit = np.linalg.solve(gram[np.ix_(columns, columns)], right[columns])
        loss = -float(right[columns] @ fit)
        if (fit >= 0.0).all() and loss < least:
            best, least = np.zeros(k), loss
            best[columns] = fit
    return best


def _sandwich(x: Floats, inverse: Floats, residual: Floats) -> tuple[Floats, Floats]:
    """Compute each coefficient's standard deviation and its degrees of freedom."""
    bears = inverse @ x.T
    leverage = np.einsum("ik,ki->i", x, bears)
    complement = np.clip(1.0 - leverage, 1e-9, None)
    sd = np.sqrt((bears**2) @ (residual**2 / complement))
    df = []
    for row in bears:
        # Trace and squares of diag(g) (1 - H) diag(g), by the few columns that the hat matrix is made of.
        weight = row**2 / complement
        pulled = inverse @ ((x.T * weight) @ x)
        squares = float(weight**2 @ (1.0 - 2.0 * leverage)) + float(np.trace(pulled @ pulled))
        free = float(weight @ (1.0 - leverage))
        # a row that a coefficient rests on alone is fitted exactly: nothing says how far it is off
        df.append(free**2 / squares if free > LEAST_SHARE * weight.sum() else 0.0)
    return sd, np.array(df)


def _weights(x: Floats, y: Floats, groups: npt.NDArray[np.generic]) -> Floats:
    """Weigh each row by one over its group's variance about a first unweighted fit; small groups share."""
    first = np.linalg.lstsq(x, y, rcond=None)[0]
    squared = (y - x @ first) ** 2
    overall = float(squared.mean())
    out = np.full(len(y), 1.0)
    for group in np.unique(groups):
        rows = groups == group
        variance = float(squared[rows].mean()) if rows.sum() >= 5 else overall
        out[rows] = 1.0 / max(variance, 1e-6 * overall, 1e-300)
    return np.asarray(out / out.mean())


def _check(x: Floats, y: Floats) -> None:
    faults = []
    if x.ndim != 2 or y.ndim != 1 or len(x) != len(y):
        raise MeasureError(Fault("the design and the response do not match", "design", "n rows, k columns"))
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        faults.append(Fault("a value is missing or infinite", "design", "numbers"))
    if len(y) <= x.shape[1]:
        faults.append(Fault(f"{len(y)} rows for {x.shape[1]} causes", "design", "more rows than causes"))
    elif not faults and np.linalg.matrix_rank(x) < x.shape[1]:
        faults.append(Fault("two causes always come together", "design", "causes that vary apart", "Leave one out."))
    if faults:
        raise MeasureError(faults)


def least_squares_fits(
    y: Floats, x: Floats, steps: Floats, noises: Iterable[Noise] = COARSE, white_odds: float = 1.0
) -> list[CorrelatedFit]:
    """Fit several series on the same columns by ordinary least squares, their noise correlated.

    Parameters
    ----------
    y : numpy.ndarray, shape (n, m)
        Series in order, a column each.
    x : numpy.ndarray, shape (n, p)
        Columns of full rank, n above p + 1.
    steps : numpy.ndarray, shape (n − 1,)
        Steps from each point to the next.
    noises : iterable of Noise
        The grid, equally likely beforehand.
    white_odds : float
        How many times as likely as each of the others independent points are beforehand.

    Returns
    -------
    list of CorrelatedFit
        One a series. Coefficients are those of least squares, so that a difference of means is just that and
        those of series that add up add up; their covariance is what the noise makes of them.

    Raises
    ------
    MeasureError
        Where there are too few points or columns depend on each other.

    Notes
    -----
    Source: restricted-likelihood

    Examples
    --------
    >>> import numpy as np
    >>> x = np.column_stack([np.ones(12), np.repeat([0.0, 1.0], 6)])
    >>> y = np.column_stack([np.arange(12.0)])
    >>> round(float(least_squares_fits(y, x, np.ones(11))[0].beta[0, 1]), 6)
    6.0
    """
    n, p = x.shape
    check_columns(x)
    grid = tuple(noises)
    inner = np.linalg.inv(x.T @ x)
    beta = inner @ x.T @ y
    place = np.concatenate(([0.0], np.cumsum(steps)))
    gaps, which = np.unique(np.abs(place[:, None] - place[None, :]), return_inverse=True)  # few differ: powers are slow
    log_weight, variance = np.empty((len(grid), y.shape[1])), np.empty((len(grid), y.shape[1]))
    shape = np.empty((len(grid), p, p))
    for g, noise in enumerate(grid):
        solved, log_det = inverse_times(noise, steps, np.column_stack([x, y]))
        cross = x.T @ solved[:, :p]
        gls = np.linalg.solve(cross, x.T @ solved[:, p:])
        residual = np.einsum("ij,ij->j", y, solved[:, p:]) - np.einsum("ij,ij->j", x.T @ solved[:, p:], gls)
        residual = np.maximum(residual, 1e-300)
        variance[g] = residual / (n - p)
        log_weight[g] = -0.5 * (log_det + float(np.linalg.slogdet(cross)[1]) + (n - p) * np.log(residual))
        log_weight[g] += float(np.log(white_odds)) if noise.phi == 0.0 else 0.0
        spread = (1 - noise.white) * (np.abs(noise.phi) ** gaps)[which] + noise.white * np.eye(n)
        shape[g] = inner @ x.T @ spread @ x @ inner
    df = np.full(len(grid), float(n - p))
    fits = []
    for k in range(y.shape[1]):
        weight = np.exp(log_weight[:, k] - log_weight[:, k].max())
        covariance = shape * variance[:, k, None, None]
        all_beta = np.broadcast_to(beta[:, k], (len(grid), p))
        best = float(log_weight[:, k].max())
        fits.append(CorrelatedFit(grid, weight / weight.sum(), all_beta, covariance, variance[:, k], df, best, best))
    return fits
