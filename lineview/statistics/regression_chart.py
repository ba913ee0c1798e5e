"""The tool-wear chart: limits about a line through values that drift, and where to set them back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.statistics.least_squares import least_squares

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RegressionChart:
    """Centre line, limits and signals of a regression chart."""

    intercept: float
    slope: float
    sd: float
    centre: Floats
    low: Floats
    high: Floats
    outside: tuple[int, ...]


def regression_chart(t: Floats, y: Floats, *, width: float = 3.0, sd: float | None = None) -> RegressionChart:
    """Chart values about their own straight line.

    Parameters
    ----------
    t : numpy.ndarray, shape (n,)
        Time, or pieces, since the tool was set.
    y : numpy.ndarray, shape (n,)
        Values or subgroup means.
    width : float
        Limits' distance in standard deviations.
    sd : float, optional
        Standard deviation of a point about the line; by default that of the residuals.

    Returns
    -------
    RegressionChart
        Limits parallel to the line.

    Notes
    -----
    Source: regression-chart

    Examples
    --------
    >>> import numpy as np
    >>> chart = regression_chart(np.arange(5.0), np.array([1.0, 2.1, 2.9, 4.0, 5.1]))
    >>> round(chart.slope, 2)
    1.01
    """
    fit = least_squares(y, np.column_stack([np.ones(t.size), t]))
    intercept, slope = (float(b) for b in fit.beta)
    spread = fit.residual_sd if sd is None else sd
    centre = intercept + slope * t
    low, high = centre - width * spread, centre + width * spread
    outside = tuple(int(i) for i in np.flatnonzero((y < low) | (y > high)))
    return RegressionChart(intercept, slope, spread, centre, low, high, outside)


def start_and_reset(
    *, low: float, high: float, sd: float, slope: float, width: float = 3.0
) -> tuple[float, float, float]:
    """Give the level to start a wearing tool at, the level to reset it at, and the time between.

    Parameters
    ----------
    low, high : float
        Tolerance.
    sd : float
        Standard deviation of a single value about the line.
    slope : float
        Wear a unit of time, not 0.
    width : float
        Standard deviations kept from the tolerance.

    Returns
    -------
    tuple of float
        Start level, reset level, time from one to the other.

    Notes
    -----
    Source: regression-chart

    Examples
    --------
    >>> start, reset, time = start_and_reset(low=13.7, high=14.3, sd=0.04, slope=-0.01)
    >>> round(start, 2), round(reset, 2), round(time)
    (14.18, 13.82, 36)
    """
    lowest, highest = low + width * sd, high - width * sd
    start, reset = (lowest, highest) if slope > 0 else (highest, lowest)
    return start, reset, max(0.0, (reset - start) / slope)
