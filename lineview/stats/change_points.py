"""Where a series steps: a search that allows for correlated noise and for other columns in the model."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.stats.correlated_regression import COARSE
from lineview.stats.tridiagonal_noise import Noise, inverse_times, one_step

Floats = NDArray[np.float64]

#: Noises for the search: fewer than for the intervals, since it is repeated.
SEARCH_NOISES = COARSE
#: Share of series without a step in which one is found all the same, about.
FALSE_SHARE = 0.05


@dataclass(frozen=True)
class StepScan:
    """The likeliest step: the point it stands before, its score in standard errors and its evidence.

    `gain` is twice the gain in log likelihood over no step, the noise fitted anew for both; `noise` is that
    of the fit with the step.
    """

    at: int
    score: float
    gain: float
    noise: Noise


def scan_steps(y: Floats, x: Floats, steps: Floats, margin: int = 3, closed: Iterable[int] = ()) -> StepScan:
    """Find the likeliest step beyond the columns already in the model.

    The noise is fitted together with the step, since a step that is left out passes for long memory. Every
    candidate is scored in one pass: a step filtered by the noise's own moving-average form is a + b θʲ after
    j points, so all cross products are running sums.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order.
    x : numpy.ndarray, shape (n, p)
        Columns already in the model.
    steps : numpy.ndarray, shape (n − 1,)
        Steps between points.
    margin : int
        Points that must lie on either side.
    closed : iterable of int
        Points before and around which no step is looked for.

    Returns
    -------
    StepScan
        The likeliest step.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> y = np.sin(np.arange(40.0) * 9) + np.repeat([0.0, 6.0], 20)
    >>> scan_steps(y, np.ones((40, 1)), np.ones(39)).at
    20
    """
    n, p = x.shape
    without, chosen = -np.inf, (-np.inf, 0, 0.0, SEARCH_NOISES[0])
    both = np.column_stack([x, y])
    for noise in SEARCH_NOISES:
        solved, log_det = inverse_times(noise, steps, both)
        cross = both.T @ solved
        left = float(cross[p, p] - cross[:p, p] @ np.linalg.solve(cross[:p, :p], cross[:p, p]))
        left = max(left, 1e-300)
        without = max(without, -0.5 * (log_det + n * np.log(left)))
        score = _scores(y, x, noise, margin)
        for k in closed:
            score[max(0, k - margin + 1) : k + margin] = 0.0
        best = int(np.argmax(np.abs(score)))
        share = min(float(score[best]) ** 2 / (n - p), 1 - 1e-9)
        with_step = -0.5 * (log_det + n * np.log(left * (1 - share)))
        if with_step > chosen[0]:
            chosen = (with_step, best, float(score[best]), noise)
    return StepScan(chosen[1], chosen[2], 2 * (chosen[0] - without), chosen[3])


def _scores(y: Floats, x: Floats, noise: Noise, margin: int) -> Floats:
    from scipy.signal import lfilter

    theta, sd = one_step(noise)
    white = lfilter([1, -noise.phi], [1, -theta], np.column_stack([y, x]), axis=0) / sd
    white[0] *= sd  # the first point has no past: its own variance is 1
    basis, _ = np.linalg.qr(white[:, 1:])
    left = white[:, 0] - basis @ (basis.T @ white[:, 0])
    n, p = x.shape
    spread = float(left @ left) / (n - p)
    flat = (1 - noise.phi) / (1 - theta)
    decay = 1 - flat
    kinds = np.column_stack([left, basis])[::-1]
    summed = flat * np.cumsum(kinds, axis=0) + decay * lfilter([1], [1, -theta], kinds, axis=0)
    summed = np.asarray(summed)[::-1] / sd
    shape = (flat + decay * theta ** np.arange(n)) / sd
    own = np.cumsum(shape**2)[::-1]
    partial = own - np.sum(summed[:, 1:] ** 2, axis=1)
    score = np.where(partial > 1e-6 * own, summed[:, 0] / np.sqrt(np.maximum(partial, 1e-12) * spread), 0.0)
    score[:margin] = 0.0
    score[n - margin + 1 :] = 0.0
    return score


@dataclass(frozen=True)
class StepSearch:
    """Steps found, as indices of the first points after them, and the best of those not found."""

    found: tuple[int, ...]
    next_best: StepScan | None


def find_steps(
    y: Floats,
    x: Floats,
    steps: Floats,
    *,
    false_share: float = FALSE_SHARE,
    most: int = 20,
    margin: int = 3,
    known: tuple[int, ...] = (),
) -> StepSearch:
    """Find steps one after another until none is left that chance does not explain.

    Parameters
    ----------
    y, x, steps : numpy.ndarray
        As in scan_steps.
    false_share : float
        Share of series without a step in which one is found all the same, about.
    most : int
        Steps at most.
    margin : int
        Points between two steps, at least.
    known : tuple of int
        Points before which a step stands already (they are in `x`); none is looked for near them.

    Returns
    -------
    StepSearch
        The steps, and the likeliest place of one more.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> y = np.sin(np.arange(60.0) * 9) + np.repeat([0.0, 6.0, 1.0], 20)
    >>> find_steps(y, np.ones((60, 1)), np.ones(59)).found
    (20, 40)
    """
    n = y.size
    limit = step_limit(n, false_share)
    found: list[int] = []
    while len(found) < most and n - x.shape[1] - len(found) > 5:
        columns = np.column_stack([x, *(_step(n, k) for k in found)])
        scan = scan_steps(y, columns, steps, margin, (*found, *known))
        if scan.gain < limit:
            return StepSearch(tuple(sorted(found)), scan)
        found = _settled(y, x, steps, [*found, scan.at], margin, known)
    return StepSearch(tuple(sorted(found)), None)


def step_limit(n: int, false_share: float) -> float:
    """Give the gain in twice the log likelihood that chance reaches in some share of series.

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


def _step(n: int, k: int) -> Floats:
    return (np.arange(n) >= k).astype(np.float64)


def _settled(
    y: Floats, x: Floats, steps: Floats, found: list[int], margin: int, known: tuple[int, ...]
) -> list[int]:
    """Move each step to its best place with the others in, once."""
    if len(found) < 2:
        return found
    n = y.size
    for i in range(len(found)):
        others = found[:i] + found[i + 1 :]
        columns = np.column_stack([x, *(_step(n, k) for k in others)])
        found[i] = scan_steps(y, columns, steps, margin, (*others, *known)).at
    return found
