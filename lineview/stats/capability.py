"""Capability indices from quantiles, named as in ISO 22514."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lineview.errors import Fault, MeasureError


@dataclass(frozen=True)
class Indices:
    """Indices of a process against two limits, from one standard deviation.

    `c` is Cp (or Pp), `lower` and `upper` CpkL and CpkU (or PpkL, PpkU), `ck` the smaller of both.
    """

    c: float
    lower: float
    upper: float

    @property
    def ck(self) -> float:
        """Cpk, or Ppk where the standard deviation is the total one."""
        return min(self.lower, self.upper)


def quantile_indices(values: ArrayLike, low: float, high: float) -> Indices:
    """Give the indices of a process that need not be normal, by its quantiles.

    The range from the 0.135 % to the 99.865 % quantile stands for six standard deviations, the median for
    the mean.

    Parameters
    ----------
    values : array_like
        A thousand or more for the outer quantiles to mean anything.
    low, high : float
        Its limits.

    Returns
    -------
    Indices
        Pp, PpkL and PpkU by the general geometric method.

    Raises
    ------
    MeasureError
        Where values do not spread.

    Notes
    -----
    Source: iso-22514-2

    Examples
    --------
    >>> import numpy as np
    >>> round(quantile_indices(np.linspace(0.0, 1.0, 2001), -1.0, 2.0).c, 4)
    3.0081
    """
    least, middle, most = np.quantile(np.asarray(values, dtype=np.float64), [0.00135, 0.5, 0.99865])
    if not least < middle < most:
        raise MeasureError(Fault("values do not spread about their median", "values", "values that vary"))
    return Indices(
        float((high - low) / (most - least)),
        float((middle - low) / (middle - least)),
        float((high - middle) / (most - middle)),
    )
