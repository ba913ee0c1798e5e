"""Where the pace of a series changes: a search for one bend, in correlated noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.stats.change_points import SEARCH_NOISES
from lineview.stats.tridiagonal_noise import inverse_times

Floats = NDArray[np.float64]

#: Places less likely than this against the likeliest are left out.
LEAST_ODDS = 0.02


@dataclass(frozen=True)
class Bend:
    """The likeliest bend: its time, and twice the gain in log likelihood over none, noise fitted anew.

    `others` are other places nearly as likely, each with the odds against the likeliest.
    """

    at: float
    gain: float
    others: tuple[tuple[float, float], ...] = ()


def bend_column(t: Floats, at: float) -> Floats:
    """Give the column of a bend: time up to it, counted back from it, and 0 from it on.

    With it in the model the pace's own coefficient is the pace after the bend.

    Parameters
    ----------
    t : numpy.ndarray, shape (n,)
        Times.
    at : float
        Time of the bend.

    Returns
    -------
    numpy.ndarray, shape (n,)
        min(t − at, 0).

    Examples
    --------
    >>> import numpy as np
    >>> bend_column(np.arange(4.0), 2.0).tolist()
    [-2.0, -1.0, 0.0, 0.0]
    """
    return np.minimum(t - at, 0.0)


def find_bend(y: Floats, x: Floats, t: Floats, steps: Floats, places: Floats) -> Bend | None:
    """Find the likeliest bend among some places.

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
        Times at which the pace may change.

    Returns
    -------
    Bend or None
        None where there are no places or too few points.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(60.0)
    >>> y = np.sin(9 * t) + np.maximum(t - 30, 0)
    >>> find_bend(y, np.column_stack([np.ones(60), t]), t, np.ones(59), np.arange(10.0, 50.0, 5.0)).at
    30.0
    """
    n, p = x.shape
    if places.size == 0 or n < p + 6:
        return None
    bends = np.column_stack([bend_column(t, float(at)) for at in places])
    every = np.column_stack([x, y, bends])
    without, best = -np.inf, np.full(places.size, -np.inf)
    for noise in SEARCH_NOISES:
        solved, log_det = inverse_times(noise, steps, every)
        cross = every[:, : p + 1].T @ solved
        inverse = np.linalg.inv(cross[:p, :p])
        beta = inverse @ cross[:p, p:]
        left = max(float(cross[p, p] - cross[:p, p] @ beta[:, 0]), 1e-300)
        without = max(without, -0.5 * (log_det + n * float(np.log(left))))
        own = np.sum(bends * solved[:, p + 1 :], axis=0)
        partial = own - np.sum(cross[:p, p + 1 :] * beta[:, 1:], axis=0)
        shared = cross[p, p + 1 :] - cross[:p, p] @ beta[:, 1:]
        taken = np.where(partial > 1e-9 * own, shared**2 / np.maximum(partial, 1e-300), 0.0)
        remains = np.maximum(left - taken, 1e-12 * left)
        best = np.maximum(best, -0.5 * (log_det + n * np.log(remains)))
    place = int(np.argmax(best))
    odds = np.exp(best - best[place])
    near = [i for i in range(places.size) if i != place and odds[i] >= LEAST_ODDS]
    others = tuple((float(places[i]), float(odds[i])) for i in near)
    return Bend(float(places[place]), 2 * float(best[place] - without), others)
