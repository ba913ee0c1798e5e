"""Lead times as a handful of equally likely values, so that chances can be averaged over them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
VALUES = 31


def lead_time_values(mean_days: float, sd_days: float, values: int = VALUES) -> Floats:
    """Give equally likely lead times [days] with this mean and spread.

    Parameters
    ----------
    mean_days, sd_days : float
        Lead time and its standard deviation [days].
    values : int
        How many values.

    Returns
    -------
    numpy.ndarray
        Middles of equally likely slices of a gamma distribution, which is never negative and has a longer
        tail of late deliveries than of early ones; one value where there is no spread.

    Examples
    --------
    >>> lead_time_values(0, 0).tolist()
    [0.0]
    >>> round(float(lead_time_values(21, 4).mean()), 1)
    21.0
    """
    if mean_days <= 0 or sd_days <= 0:
        return np.array([max(float(mean_days), 0.0)])
    from scipy.special import gammaincinv

    shape = (mean_days / sd_days) ** 2
    shares = (np.arange(values) + 0.5) / values
    return np.asarray(gammaincinv(shape, shares) * sd_days**2 / mean_days)
