"""The exponentially weighted moving average chart (ISO 7870-6)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.errors import Fault, MeasureError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ewma:
    """An EWMA chart: a value, a lower and an upper limit a point, and where it is outside."""

    value: Floats
    low: Floats
    high: Floats
    outside: NDArray[np.bool_]


def ewma(
    x: Floats, *, smoothing: float, centre: float, sd: float, width: float = 3.0, exact: bool = True
) -> Ewma:
    """Chart values as an exponentially weighted moving average.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
        Independent values, in order.
    smoothing : float
        Lambda, above 0 and up to 1.
    centre, sd : float
        Mean and standard deviation of x in control.
    width : float
        Limits' distance in standard deviations of the average (L).
    exact : bool
        Limits that widen from the first point on; else the constant ones they tend to.

    Returns
    -------
    Ewma
        One entry a point.

    Raises
    ------
    MeasureError
        Where smoothing is not in (0, 1] or sd not above 0.

    Notes
    -----
    Source: nist-handbook, iso-7870-6

    Examples
    --------
    >>> import numpy as np
    >>> ewma(np.array([52.0, 47.0]), smoothing=0.3, centre=50.0, sd=2.0).value.round(2).tolist()
    [50.6, 49.52]
    """
    if not 0 < smoothing <= 1 or sd <= 0:
        raise MeasureError(Fault("smoothing or spread", "ewma", "0 < smoothing <= 1 and sd > 0"))
    from scipy.signal import lfilter

    value = centre + np.asarray(lfilter([smoothing], [1, smoothing - 1], x - centre))
    share = smoothing / (2 - smoothing)
    growth = 1 - (1 - smoothing) ** (2.0 * np.arange(1, x.size + 1)) if exact else np.ones(x.size)
    half = width * sd * np.sqrt(share * growth)
    return Ewma(value, centre - half, centre + half, np.abs(value - centre) > half)
