"""Steps and slope changes of a series in correlated noise, beside other columns of the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lineview.stats.correlated_regression import (
    NOISES,
    PLAIN,
    WANDERING,
    CorrelatedFit,
    FitExtras,
    correlated_regression,
    inverse_times,
)
from lineview.stats.step_scan import SEARCH_NOISES, StepScan, StepScanner

Floats = NDArray[np.float64]

#: Share of series without a step in which the search reports one, about.
FALSE_SHARE = 0.05
#: Places of a slope change less likely than this against the likeliest are left out.
LEAST_PLACE_ODDS = 0.02
#: A step and none are equally likely where its gain is what chance reaches in this share of series.
EVEN_SHARE = 0.01
#: Noises that are averaged over; a level may wander.
GRID = (*NOISES, *WANDERING)
#: Alternatives less likely than this against the fit with the steps are left out.
LEAST_STEP_ODDS = 0.003


@dataclass(frozen=True)
class StepSearch:
    """Steps, as indices of the first points after them, and the likeliest one that was rejected."""

    steps: tuple[int, ...]
    next_best: StepScan | None


def find_steps(
    y: Floats,
    x: Floats,
    steps: Floats,
    *,
    false_share: float = FALSE_SHARE,
    most: int = 20,
    margin: int = 3,
    recorded: tuple[int, ...] = (),
) -> StepSearch:
    """Find steps one after another until none is left that chance does not explain.

    Parameters
    ----------
    y, x, steps : numpy.ndarray
        As in scan_steps.
    false_share : float
        Share of series without a step in which the search reports one, about.
    most : int
        Steps at most.
    margin : int
        Points between two steps, at least.
    recorded : tuple of int
        Points before which a step stands already (they are in `x`); none is looked for near them.

    Returns
    -------
    StepSearch
        The steps, and the likeliest one more.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> y = np.sin(np.arange(60.0) * 9) + np.repeat([0.0, 6.0, 1.0], 20)
    >>> find_steps(y, np.ones((60, 1)), np.ones(59)).steps
    (20, 40)
    """
    n = y.size
    limit = step_limit(n, false_share)
    at: list[int] = []
    scanner = StepScanner(y, x, steps)
    while len(at) < most and n - x.shape[1] - len(at) > 5:
        scan = scanner.scan(at, margin, (*at, *recorded))
        if scan.gain < limit:
            return StepSearch(tuple(sorted(at)), scan)
        at = _refine(scanner, [*at, scan.at], margin, recorded)
    return StepSearch(tuple(sorted(at)), None)


def step_limit(n: int, false_share: float) -> float:
    """Gain in twice the log likelihood that chance reaches in some share of series, about.

    Parameters
    ----------
    n : int
        Points of the series.
    false_share : float
        The share.

    Returns
    -------
    float
        The gain, about.
    """
    from scipy.special import ndtri

    return float(ndtri(false_share / 2 / n) ** 2) * (1 + 6 / n)


def _refine(scanner: StepScanner, at: list[int], margin: int, recorded: tuple[int, ...]) -> list[int]:
    """Move each step to its best place with the others in, once."""
    if len(at) < 2:
        return at
    for i in range(len(at)):
        others = at[:i] + at[i + 1 :]
        at[i] = scanner.scan(others, margin, (*others, *recorded)).at
    return at


@dataclass(frozen=True)
class SlopeChange:
    """The likeliest slope change: its time, and twice the gain in log likelihood over none.

    `others` are other places nearly as likely, each with the odds against the likeliest.
    """

    at: float
    gain: float
    others: tuple[tuple[float, float], ...] = ()


def slope_change_column(t: Floats, at: float) -> Floats:
    """Column of a slope change: time up to it, counted back from it, and 0 from it on.

    With it in the model the coefficient of time is the slope after the change.

    Parameters
    ----------
    t : numpy.ndarray, shape (n,)
        Times.
    at : float
        Time of the slope change.

    Returns
    -------
    numpy.ndarray, shape (n,)
        min(t − at, 0).

    Examples
    --------
    >>> import numpy as np
    >>> slope_change_column(np.arange(4.0), 2.0).tolist()
    [-2.0, -1.0, 0.0, 0.0]
    """
    return np.minimum(t - at, 0.0)


def find_slope_change(y: Floats, x: Floats, t: Floats, steps: Floats, places: Floats) -> SlopeChange | None:
    """Find the likeliest slope change among some times.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order.
    x : numpy.ndarray, shape (n, p)
        Columns already in the model, time among them.
    t : numpy.ndarray, shape (n,)
        Times.
    steps : numpy.ndarray, shape (n − 1,)
        Steps between points.
    places : numpy.ndarray, shape (m,)
        Times at which the slope may change.

    Returns
    -------
    SlopeChange or None
        None where there are no places or too few points.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(60.0)
    >>> y = np.sin(9 * t) + np.maximum(t - 30, 0)
    >>> find_slope_change(y, np.column_stack([np.ones(60), t]), t, np.ones(59), np.arange(10.0, 50.0, 5.0)).at
    30.0
    """
    n, p = x.shape
    if places.size == 0 or n < p + 6:
        return None
    both = np.vstack([x.T, y, *(slope_change_column(t, float(at)) for at in places)]).T
    without, best = -np.inf, np.full(places.size, -np.inf)
    for noise in SEARCH_NOISES:
        solved, log_det = inverse_times(noise, steps, both)
        cross = both[:, : p + 1].T @ solved
        inverse = np.linalg.inv(cross[:p, :p])
        beta = inverse @ cross[:p, p:]
        residual = max(float(cross[p, p] - cross[:p, p] @ beta[:, 0]), 1e-300)
        without = max(without, -0.5 * (log_det + n * float(np.log(residual))))
        total = np.sum(both[:, p + 1 :] * solved[:, p + 1 :], axis=0)
        partial = total - np.sum(cross[:p, p + 1 :] * beta[:, 1:], axis=0)
        shared = cross[p, p + 1 :] - cross[:p, p] @ beta[:, 1:]
        explained = np.where(partial > 1e-9 * total, shared**2 / np.maximum(partial, 1e-300), 0.0)
        remains = np.maximum(residual - explained, 1e-12 * residual)
        best = np.maximum(best, -0.5 * (log_det + n * np.log(remains)))
    place = int(np.argmax(best))
    odds = np.exp(best - best[place])
    near = [i for i in range(places.size) if i != place and odds[i] >= LEAST_PLACE_ODDS]
    others = tuple((float(places[i]), float(odds[i])) for i in near)
    return SlopeChange(float(places[place]), 2 * float(best[place] - without), others)


def averaged_over_steps(
    y: Floats,
    x: Floats,
    steps: Floats,
    doubtful: tuple[int, ...],
    next_best: StepScan | None,
    swaps: Sequence[tuple[int, Floats, float]] = (),
    extras: FitExtras = PLAIN,
) -> CorrelatedFit:
    """Fit y on x, averaged over the noises, over leaving out doubtful steps, one or all, and over one more step.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order.
    x : numpy.ndarray, shape (n, p)
        Columns, the steps among them.
    steps : numpy.ndarray, shape (n − 1,)
        Steps from each point to the next.
    doubtful : tuple of int
        Columns of x that are steps which the search reported.
    next_best : StepScan or None
        The likeliest step that was rejected.
    swaps : sequence of (int, numpy.ndarray, float)
        Columns that might as well stand in another's place: which, its values, and the odds.
    extras : FitExtras
        As in correlated_regression.

    Returns
    -------
    CorrelatedFit
        With x's columns and the places; where a step is left out its coefficient is 0.

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
    extras = replace(extras, careful=bool(doubtful))
    full = correlated_regression(y, x, steps, GRID, extras)
    even, k = step_limit(y.size, EVEN_SHARE), x.shape[1] + len(extras.places)
    fits, odds = [full], [1.0]
    together = [doubtful] if len(doubtful) > 1 else []
    for subset in (*((column,) for column in doubtful), *together):
        columns = [i for i in range(x.shape[1]) if i not in subset]
        without = correlated_regression(y, x[:, columns], steps, GRID, extras)
        chance = float(np.exp((len(subset) * even - 2 * (full.likelihood - without.likelihood)) / 2))
        if chance >= LEAST_STEP_ODDS:
            fits.append(_widen(without, [*columns, *range(x.shape[1], k)], k))
            odds.append(chance)
    if next_best is not None and y.size > x.shape[1] + 3:
        chance = float(np.exp((next_best.gain - even) / 2))
        if chance >= LEAST_STEP_ODDS:
            # 1 before the step and 0 after it, so that the level stays the level after it
            before = (np.arange(y.size) < next_best.at).astype(np.float64)
            p = x.shape[1] - extras.smooth
            both = np.column_stack([x[:, :p], before, x[:, p:]])
            fits.append(_narrow(correlated_regression(y, both, steps, GRID, extras), p))
            odds.append(chance)
    for column, values, chance in swaps:
        other = x.copy()
        other[:, column] = values
        fits.append(correlated_regression(y, other, steps, SEARCH_NOISES, extras))
        odds.append(chance)
    return _mix(fits, np.array(odds) / sum(odds))


def _widen(fit: CorrelatedFit, columns: list[int], p: int) -> CorrelatedFit:
    g = fit.weight.size
    beta, covariance = np.zeros((g, p)), np.zeros((g, p, p))
    beta[:, columns] = fit.beta
    covariance[np.ix_(range(g), columns, columns)] = fit.covariance
    return replace(fit, beta=beta, covariance=covariance)


def _narrow(fit: CorrelatedFit, p: int) -> CorrelatedFit:
    columns = [i for i in range(fit.beta.shape[1]) if i != p]
    return replace(fit, beta=fit.beta[:, columns], covariance=fit.covariance[:, columns][:, :, columns])


def _mix(fits: list[CorrelatedFit], odds: Floats) -> CorrelatedFit:
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
        fits[0].straight,
        np.concatenate([fit.bent for fit in fits]),
    )
