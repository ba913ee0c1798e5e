"""A level that wanders as a random walk under noise: the variances of both, by exact likelihood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LocalLevel:
    """Variance of the noise and of the level's steps, and the log likelihood at them."""

    noise: float
    wander: float
    log_likelihood: float


def _profile(y: Floats, ratio: float) -> tuple[float, float]:
    """Diffuse log likelihood at wander / noise = ratio, and the noise variance that goes with it."""
    level, spread = float(y[0]), 1.0
    total, logs = 0.0, 0.0
    for value in y[1:]:
        ahead = spread + ratio
        surprise = ahead + 1
        error = float(value) - level
        total += error * error / surprise
        logs += float(np.log(surprise))
        level += ahead / surprise * error
        spread = ahead / surprise
    n = y.size - 1
    noise = total / n
    # the first point is taken up by the diffuse start; it leaves its ln 2π only
    return -0.5 * float(n * (np.log(2 * np.pi * noise) + 1) + logs + np.log(2 * np.pi)), noise


def local_level(y: Floats) -> LocalLevel:
    """Fit the local-level model with an exactly diffuse start.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Values in order.

    Returns
    -------
    LocalLevel
        At the likelihood's maximum.

    Notes
    -----
    Source: durbin-koopman

    Examples
    --------
    >>> import numpy as np
    >>> local_level(np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -1.0])).wander < 1e-3
    True
    """
    from scipy.optimize import minimize_scalar

    best = minimize_scalar(
        lambda q: -_profile(y, float(np.exp(q)))[0],
        bounds=(-16.0, 8.0),
        method="bounded",
        options={"xatol": 1e-10},
    )
    ratio = float(np.exp(best.x))
    likelihood, noise = _profile(y, ratio)
    return LocalLevel(noise, ratio * noise, likelihood)
