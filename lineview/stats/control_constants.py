"""Constants of control charts for subgroups of normal values, worked out, not looked up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, lgamma, pi, sqrt

import numpy as np

from lineview.errors import Fault, MeasureError

#: Relative ranges are integrated on [-LIMIT, LIMIT] standard deviations with this many nodes.
LIMIT, NODES = 8.5, 801


@dataclass(frozen=True)
class ControlConstants:
    """Constants for subgroups of `n`; names as the standards print them."""

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def range_limits(self) -> tuple[float, float]:
        """D3 and D4, multiples of the mean range."""
        width = 3 * self.d3 / self.d2
        return max(0.0, 1 - width), 1 + width

    @property
    def sd_limits(self) -> tuple[float, float]:
        """B3 and B4, multiples of the mean standard deviation."""
        width = 3 * sqrt(1 - self.c4**2) / self.c4
        return max(0.0, 1 - width), 1 + width


@lru_cache(maxsize=256)
def control_constants(n: int) -> ControlConstants:
    """Give the constants for subgroups of n normal values.

    Parameters
    ----------
    n : int
        Size of the subgroups, 2 or more.

    Returns
    -------
    ControlConstants
        d2 and d3 are the mean and standard deviation of the relative range, c4 the mean of the sample
        standard deviation over the true one.

    Raises
    ------
    MeasureError
        Where n is below 2.

    Notes
    -----
    Source: nist-handbook, iso-7870-2

    Examples
    --------
    >>> round(control_constants(5).d2, 3), round(control_constants(10).c4, 4)
    (2.326, 0.9727)
    """
    if n < 2:
        raise MeasureError(Fault(f"subgroups of {n}", "n", "2 or more"))
    d2, d3 = _relative_range(n)
    return ControlConstants(n, d2, d3, sqrt(2 / (n - 1)) * exp(lgamma(n / 2) - lgamma((n - 1) / 2)))


def _relative_range(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of n standard normal values.

    E W = 2 ∫∫(x<y) p and E W² = 2 ∫∫(x<y) (y−x) n(n−1) f(x) f(y) (F(y)−F(x))^(n−2), by the trapezium
    rule, which is exact to rounding for functions that vanish smoothly at both ends.
    """
    from scipy.special import ndtr

    x = np.linspace(-LIMIT, LIMIT, NODES)
    step = x[1] - x[0]
    f = np.exp(-(x**2) / 2) / sqrt(2 * pi)
    upper = ndtr(x)
    mean = float(np.sum(1 - upper**n - (1 - upper) ** n) * step)
    gap = x[None, :] - x[:, None]
    inside = np.clip(upper[None, :] - upper[:, None], 0, None)
    joint = np.where(gap > 0, n * (n - 1) * f[:, None] * f[None, :] * inside ** (n - 2), 0.0)
    square = float(np.sum(gap**2 * joint) * step**2)
    return mean, sqrt(square - mean**2)
