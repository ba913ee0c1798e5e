"""What is left on the reels that are on a machine, and when each runs out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lineview.measures.reel_balance import ReelSpan
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
    left = max(span.held_m - span.fed.number - end_m, 0.0)
    doubt = 2.0 * math.hypot(LABEL_SD * (span.label_m or span.held_m), FEED_COMMON_SD * span.fed.number)
    wraps = math.floor(left * 1000.0 / span.cut_length_mm)
    minutes = wraps / wraps_per_min if wraps_per_min else None
    return ReelLeft(span.reel, left, max(left - doubt, 0.0), left + doubt, wraps, minutes)
