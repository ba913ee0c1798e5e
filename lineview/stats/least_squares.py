"""Ordinary least squares of several series on the same columns, with what correlated noise makes of it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from lineview.stats.correlated_regression import COARSE, CorrelatedFit, Floats, Noise, check_columns, inverse_times


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
    tried = tuple(noises)
    inner = np.linalg.inv(x.T @ x)
    beta = inner @ x.T @ y
    place = np.concatenate(([0.0], np.cumsum(steps)))
    apart = np.abs(place[:, None] - place[None, :])
    log_weight, variance = np.empty((len(tried), y.shape[1])), np.empty((len(tried), y.shape[1]))
    shape = np.empty((len(tried), p, p))
    for g, noise in enumerate(tried):
        solved, log_det = inverse_times(noise, steps, np.column_stack([x, y]))
        cross = x.T @ solved[:, :p]
        gls = np.linalg.solve(cross, x.T @ solved[:, p:])
        left = np.einsum("ij,ij->j", y, solved[:, p:]) - np.einsum("ij,ij->j", x.T @ solved[:, p:], gls)
        left = np.maximum(left, 1e-300)
        variance[g] = left / (n - p)
        log_weight[g] = -0.5 * (log_det + float(np.linalg.slogdet(cross)[1]) + (n - p) * np.log(left))
        log_weight[g] += float(np.log(white_odds)) if noise.phi == 0.0 else 0.0
        spread = (1 - noise.white) * np.abs(noise.phi) ** apart + noise.white * np.eye(n)
        shape[g] = inner @ x.T @ spread @ x @ inner
    df = np.full(len(tried), float(n - p))
    fits = []
    for k in range(y.shape[1]):
        weight = np.exp(log_weight[:, k] - log_weight[:, k].max())
        covariance = shape * variance[:, k, None, None]
        all_beta = np.broadcast_to(beta[:, k], (len(tried), p))
        likelihood = float(log_weight[:, k].max())
        fits.append(CorrelatedFit(tried, weight / weight.sum(), all_beta, covariance, variance[:, k], df, likelihood))
    return fits
