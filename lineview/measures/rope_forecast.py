"""When the rope leaves its tolerance, in running hours and by the planned shifts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.measures.rope_model import RopeModel
from lineview.stats.optimum import root_between

Floats = NDArray[np.float64]

#: Running hours beyond which "will not" is the answer [h]; level of the forecast's interval; draws.
HORIZON_H, FORECAST_LEVEL, DRAWS = 200.0, 0.90, 8000


@dataclass(frozen=True)
class TimeToLeave:
    """Running hours from now until something leaves tolerance; None stands for "not within the horizon"."""

    value_h: float | None
    low_h: float | None
    high_h: float | None
    share_within: float


def time_to_leave(
    model: RopeModel, now_h: float, low_mm: float, high_mm: float, horizon_h: float = HORIZON_H
) -> TimeToLeave:
    """Give the running hours until the batch mean leaves a band, if wear goes on as it does.

    Parameters
    ----------
    model : RopeModel
        The fitted model.
    now_h : float
        Running hours now [h].
    low_mm, high_mm : float
        The band for the deviation from target [mm].
    horizon_h : float
        Hours looked ahead [h].

    Returns
    -------
    TimeToLeave
        Median and 90 % interval over the levels and wears that the data allow; `share_within` is the share
        of them that leave within the horizon.

    Notes
    -----
    Source: derived-rope
    """
    beta = model.fit.draws(DRAWS)[0]
    level = beta @ model.at(now_h)
    hours = hours_to_edge(level, beta[:, 1], low_mm, high_mm, horizon_h)
    tail = (1 - FORECAST_LEVEL) / 2
    low, middle, high = (float(q) for q in np.quantile(hours, [tail, 0.5, 1 - tail], method="lower"))
    within = float(np.mean(np.isfinite(hours)))
    return TimeToLeave(_finite(middle), _finite(low), _finite(high), within)


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def hours_to_edge(level: Floats, wear: Floats, low_mm: float, high_mm: float, horizon_h: float) -> Floats:
    """Give the hours until lines leave a band; infinite where they do not within the horizon.

    Parameters
    ----------
    level, wear : numpy.ndarray, shape (n,)
        Deviation now [mm] and its change an hour [mm/h].
    low_mm, high_mm : float
        The band [mm].
    horizon_h : float
        Hours looked ahead [h].

    Returns
    -------
    numpy.ndarray, shape (n,)
        Hours [h], 0 where already outside.

    Examples
    --------
    >>> import numpy as np
    >>> hours_to_edge(np.array([0.0, 0.4]), np.array([-0.01, 0.0]), -0.3, 0.3, 200.0).tolist()
    [30.0, 0.0]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.where(wear < 0, low_mm - level, high_mm - level)
        hours = np.where(wear == 0, np.inf, room / wear)
    hours = np.where((level < low_mm) | (level > high_mm), 0.0, hours)
    return np.where(hours <= horizon_h, hours, np.inf)


def band_for_share(
    spread_mm: float, low_mm: float, high_mm: float, share: float
) -> tuple[float, float] | None:
    """Give the band the mean must keep so that no more than a share of pieces is out of tolerance.

    Parameters
    ----------
    spread_mm : float
        Standard deviation of a single piece's diameter about the mean [mm].
    low_mm, high_mm : float
        Tolerance of the deviation from target [mm].
    share : float
        Share of pieces, such as 0.05.

    Returns
    -------
    tuple of float or None
        Band for the mean [mm]; None where even a centred mean has more outside.

    Examples
    --------
    >>> band = band_for_share(0.1, -0.3, 0.3, 0.05)
    >>> [round(v, 3) for v in band]
    [-0.136, 0.136]
    """
    from scipy.special import ndtr

    middle = (low_mm + high_mm) / 2

    def excess(mean: float) -> float:
        return float(ndtr((low_mm - mean) / spread_mm) + ndtr((mean - high_mm) / spread_mm)) - share

    if spread_mm <= 0:
        return low_mm, high_mm
    if excess(middle) > 0:
        return None
    reach = high_mm - middle + 10 * spread_mm
    half = root_between(lambda d: excess(middle + d), 0.0, reach)
    return middle - half, middle + half


def fan(model: RopeModel, now_h: float, until_h: float, level: float = 0.95) -> pl.DataFrame:
    """Give the expected deviation ahead with its interval, for the picture.

    Parameters
    ----------
    model : RopeModel
        The fitted model.
    now_h, until_h : float
        From and to, in running hours [h].
    level : float
        Of the interval.

    Returns
    -------
    polars.DataFrame
        Columns running_h [h], low, mid, high: deviation from target [mm].
    """
    rows = []
    for hours in np.linspace(now_h, until_h, 25):
        contrast = model.at(float(hours))
        low, high = model.fit.interval(contrast, level)
        rows.append({"running_h": float(hours), "low": low, "mid": model.fit.mean(contrast), "high": high})
    return pl.DataFrame(rows)


def planned_moment(hours: float, calendar: pl.DataFrame, start: datetime, uptime: float) -> datetime | None:
    """Give the calendar moment at which some running hours will have passed under the planned shifts.

    Parameters
    ----------
    hours : float
        Running hours from `start` [h].
    calendar : polars.DataFrame
        CALENDAR from `start` on.
    start : datetime
        From when [UTC].
    uptime : float
        Running hours a planned hour, above 0.

    Returns
    -------
    datetime or None
        The moment [UTC]; None where the calendar ends before.

    Notes
    -----
    Source: derived-rope

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> import polars as pl
    >>> day = lambda h: datetime(2026, 6, 9, h, tzinfo=UTC)
    >>> ends = {"start": [day(6), day(14)], "end": [day(10), day(18)]}
    >>> shifts = pl.DataFrame({**ends, "part": ["planned"] * 2})
    >>> planned_moment(5.0, shifts, day(6), 1.0).hour
    15
    """
    left = timedelta(hours=hours / uptime)
    planned = calendar.filter((pl.col("part") == "planned") & (pl.col("end") > start)).sort("start")
    for begin, end in planned.select("start", "end").iter_rows():
        from_here = max(begin, start)
        if end - from_here >= left:
            moment: datetime = from_here + left
            return moment
        left -= end - from_here
    return None
