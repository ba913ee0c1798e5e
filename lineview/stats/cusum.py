"""Cumulative sum charts (ISO 7870-4): the tabular form, two one-sided sums with a decision limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cusum:
    """Upper and lower sums, the decision limit and the points where either is beyond it."""

    upper: Floats
    lower: Floats
    limit: float
    outside: NDArray[np.bool_]


def cusum(x: Floats, *, target: float, allowance: float, limit: float, headstart: float = 0.0) -> Cusum:
    """Chart values as two one-sided cumulative sums.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
        Independent values, in order.
    target : float
        Mean in control.
    allowance : float
        K: half the shift to be found, in x's unit.
    limit : float
        H: the decision limit, in x's unit.
    headstart : float
        Where both sums start (fast initial response), often half the limit.

    Returns
    -------
    Cusum
        One entry a point.

    Notes
    -----
    Source: nist-handbook, lucas-crosier-1982

    Examples
    --------
    >>> import numpy as np
    >>> cusum(np.array([102.0, 94.8]), target=99, allowance=1, limit=10).lower.round(1).tolist()
    [0.0, 3.2]
    """
    upper = one_sided(x - target - allowance, headstart)
    lower = one_sided(target - allowance - x, headstart)
    return Cusum(upper, lower, limit, (upper > limit) | (lower > limit))


def one_sided(increments: Floats, start: float = 0.0) -> Floats:
    """Sum increments, never letting the sum fall below 0.

    Parameters
    ----------
    increments : numpy.ndarray, shape (n,)
        What each point adds.
    start : float
        The sum before the first point, 0 or more.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The sum after each point.

    Examples
    --------
    >>> import numpy as np
    >>> one_sided(np.array([1.0, -2.0, 3.0])).tolist()
    [1.0, 0.0, 3.0]
    """
    total = start + np.cumsum(increments)
    # S_i = C_i − min(0, min C): the running minimum replaces the step-by-step maximum with 0
    return np.asarray(total - np.minimum(0.0, np.minimum.accumulate(total)))
