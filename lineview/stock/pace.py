"""The pace of history: so much for each planned minute, with its spread from day to day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

#: Spread of a week's need over its mean where history is too short to show it: an assumption.
ASSUMED_WEEK_CV = 0.2
#: Days of history that a spread is learned from at least.
LEAST_DAYS = 5
#: Days of history below which season and mix cannot show, and the spread of the level that is then assumed.
SHORT_DAYS = 28
ASSUMED_LEVEL_CV = 0.1


@dataclass(frozen=True)
class Pace:
    """An amount (pieces, reels) for each planned minute.

    `day_sd` is the standard deviation of a day's amount about the pace; `level_cv` that of the pace itself
    over the pace. Both rest on an assumption where `learned` is False; a level learned from less than
    SHORT_DAYS has ASSUMED_LEVEL_CV in it, for season and mix cannot show in so short a time.
    """

    per_planned_min: float
    day_sd: float
    level_cv: float
    days: int
    learned: bool


def pace(amounts: Sequence[float], planned_min: Sequence[float], *, seen_share: float = 1.0) -> Pace | None:
    """Learn the pace from days.

    Parameters
    ----------
    amounts : sequence of float
        Of each day with planned time.
    planned_min : sequence of float
        Planned minutes of each of these days [min].
    seen_share : float
        Share of the time that readings tell of; what stands in the rest is itself a pace and shows no spread,
        so variances are divided by it.

    Returns
    -------
    Pace or None
        None where there was no planned time. Sums of amounts over sums of minutes: a short day counts for
        little.

    Examples
    --------
    >>> pace([100, 110, 90, 100, 100], [480] * 5).per_planned_min
    0.20833333333333334
    """
    amount, minutes = np.asarray(amounts, dtype=float), np.asarray(planned_min, dtype=float)
    if minutes.sum() <= 0:
        return None
    rate = float(amount.sum() / minutes.sum())
    n = len(amount)
    if n < LEAST_DAYS or rate <= 0:
        day_sd = ASSUMED_WEEK_CV * rate * float(minutes.mean()) * math.sqrt(5.0)
        return Pace(rate, day_sd, ASSUMED_WEEK_CV, n, learned=False)
    rest = amount - rate * minutes
    day_sd = float(np.sqrt((rest**2).sum() / (n - 1) / max(seen_share, 1e-9)))
    level = day_sd * math.sqrt(n) / (rate * float(minutes.sum()))
    if n < SHORT_DAYS:
        level = math.hypot(level, ASSUMED_LEVEL_CV)
    return Pace(rate, day_sd, level, n, learned=True)
