"""What is left on the reels that are on a machine, and when each runs out; thickness from known reels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lineview.errors import Fault, MeasureError
from lineview.measures.reel_balance import ReelSpan
from lineview.measures.reel_length import wound_thickness_um
from lineview.measures.use_views import FEED_COMMON_SD, LABEL_SD


@dataclass(frozen=True)
class ReelLeft:
    """Metres left on a mounted reel [m] with bounds (k = 2), wraps they make, and minutes they last."""

    reel: str
    metres: float
    low_m: float
    high_m: float
    wraps: int
    minutes: float | None


def reel_left(span: ReelSpan, end_m: float, wraps_per_min: float | None) -> ReelLeft | None:
    """Give what is left on the reel that is on.

    Parameters
    ----------
    span : ReelSpan
        The last of its kind on the machine.
    end_m : float
        Metres that stay on the core [m].
    wraps_per_min : float or None
        Wraps a minute of the clock, stops included [1/min].

    Returns
    -------
    ReelLeft or None
        None where the reel was taken off, or its length, feed or cut length is not known.
    """
    if span.taken_off is not None or span.held_m is None or span.fed is None or span.cut_length_mm is None:
        return None
    left = max(span.held_m - span.fed.value - end_m, 0.0)
    doubt = 2.0 * math.hypot(LABEL_SD * (span.label_m or span.held_m), FEED_COMMON_SD * span.fed.value)
    wraps = math.floor(left * 1000.0 / span.cut_length_mm)
    minutes = wraps / wraps_per_min if wraps_per_min else None
    return ReelLeft(span.reel, left, max(left - doubt, 0.0), left + doubt, wraps, minutes)


@dataclass(frozen=True)
class Thickness:
    """Thickness as wound [µm] with a 95 % interval and the number of reels behind it."""

    um: float
    low_um: float
    high_um: float
    n: int


def learned_thickness(reels: Sequence[tuple[float, float, float]]) -> Thickness:
    """Learn the thickness from reels of known length.

    Parameters
    ----------
    reels : sequence of (float, float, float)
        Outer and core diameter [mm] and known length [m] of each reel.

    Returns
    -------
    Thickness
        Mean over the reels with Student's interval; from one reel the interval is open (nan).

    Raises
    ------
    MeasureError
        Where there is no reel.

    Notes
    -----
    An error of 5 % in thickness is 4.8 % in length, so a known reel is better than a micrometer.

    Source: reel-formula

    Examples
    --------
    >>> learned_thickness([(300, 76, 2876.06), (299, 76, 2855.3)]).n
    2
    """
    if not reels:
        raise MeasureError(Fault("no reel of known length", "reels", "one or more"))
    told = np.array([wound_thickness_um(outer, core, length) for outer, core, length in reels])
    mean, n = float(told.mean()), len(told)
    if n < 2:
        return Thickness(mean, math.nan, math.nan, n)
    from scipy.stats import t

    half = float(t.ppf(0.975, n - 1) * told.std(ddof=1) / math.sqrt(n))
    return Thickness(mean, mean - half, mean + half, n)
