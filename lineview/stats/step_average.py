"""A fit averaged over whether its doubtful steps are there, so that intervals carry that doubt too."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lineview.stats.change_points import SEARCH_NOISES, StepScan, step_limit
from lineview.stats.correlated_regression import CorrelatedFit, correlated_regression

Floats = NDArray[np.float64]

#: A step and none are equally likely where its gain is what chance reaches in this share of series.
EVEN_SHARE = 0.01
#: Alternatives less likely than this against the fit with the steps found are left out.
LEAST_ODDS = 0.003


def averaged_over_steps(
    y: Floats,
    x: Floats,
    steps: Floats,
    doubtful: tuple[int, ...],
    next_best: StepScan | None,
    swaps: Sequence[tuple[int, Floats, float]] = (),
) -> CorrelatedFit:
    """Fit y on x, averaged over the noises, over leaving out doubtful steps and over one more step.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order.
    x : numpy.ndarray, shape (n, p)
        Columns, the steps found among them.
    steps : numpy.ndarray, shape (n − 1,)
        Steps from each point to the next.
    doubtful : tuple of int
        Columns of x that are steps found, not recorded.
    next_best : StepScan or None
        The best step that was not found.
    swaps : sequence of (int, numpy.ndarray, float)
        Columns that might as well stand in another's place: which, its values, and the odds.

    Returns
    -------
    CorrelatedFit
        With x's columns; where a step is left out its coefficient is 0.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(30.0)
    >>> x = np.column_stack([np.ones(30), t])
    >>> fit = averaged_over_steps(0.5 * t + np.sin(7 * t), x, np.ones(29), (), None)
    >>> round(fit.mean(np.array([0.0, 1.0])), 1)
    0.5
    """
    full = correlated_regression(y, x, steps)
    even = step_limit(y.size, EVEN_SHARE)
    fits, odds = [full], [1.0]
    for column in doubtful:
        kept = [i for i in range(x.shape[1]) if i != column]
        without = correlated_regression(y, x[:, kept], steps)
        chance = float(np.exp((even - 2 * (full.likelihood - without.likelihood)) / 2))
        if chance >= LEAST_ODDS:
            fits.append(_widened(without, kept, x.shape[1]))
            odds.append(chance)
    if next_best is not None and y.size > x.shape[1] + 3:
        chance = float(np.exp((next_best.gain - even) / 2))
        if chance >= LEAST_ODDS:
            # 1 before the step and 0 after it, so that the level stays the level after it
            before = (np.arange(y.size) < next_best.at).astype(np.float64)
            more = correlated_regression(y, np.column_stack([x, before]), steps)
            fits.append(_narrowed(more, x.shape[1]))
            odds.append(chance)
    for column, values, chance in swaps:
        other = x.copy()
        other[:, column] = values
        fits.append(correlated_regression(y, other, steps, SEARCH_NOISES))
        odds.append(chance)
    return _mixed(fits, np.array(odds) / sum(odds))


def _widened(fit: CorrelatedFit, kept: list[int], p: int) -> CorrelatedFit:
    g = fit.weight.size
    beta, covariance = np.zeros((g, p)), np.zeros((g, p, p))
    beta[:, kept] = fit.beta
    covariance[np.ix_(range(g), kept, kept)] = fit.covariance
    return CorrelatedFit(fit.noises, fit.weight, beta, covariance, fit.variance, fit.df, fit.likelihood)


def _narrowed(fit: CorrelatedFit, p: int) -> CorrelatedFit:
    return CorrelatedFit(
        fit.noises, fit.weight, fit.beta[:, :p], fit.covariance[:, :p, :p], fit.variance, fit.df,
        fit.likelihood
    )  # fmt: skip


def _mixed(fits: list[CorrelatedFit], odds: Floats) -> CorrelatedFit:
    if len(fits) == 1:
        return fits[0]
    return CorrelatedFit(
        tuple(noise for fit in fits for noise in fit.noises),
        np.concatenate([fit.weight * share for fit, share in zip(fits, odds, strict=True)]),
        np.concatenate([fit.beta for fit in fits]),
        np.concatenate([fit.covariance for fit in fits]),
        np.concatenate([fit.variance for fit in fits]),
        np.concatenate([fit.df for fit in fits]),
        fits[0].likelihood,
    )
