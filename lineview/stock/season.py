"""Season of a works: how each week of the year stands to the year's mean, from weekly totals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
WEEKS_A_YEAR = 365.25 / 7.0
#: A season is looked for in at least so many weeks; less than a year and a half cannot show one.
LEAST_WEEKS = 78
MOST_HARMONICS = 4


@dataclass(frozen=True)
class Season:
    """A season as harmonics of the year on the logarithm of a week's total; none where it does not show."""

    coefficients: Floats

    def factors(self, week_of_year: npt.ArrayLike) -> Floats:
        """Give each week's factor on the year's mean, by week of the year (a fraction is allowed)."""
        if not len(self.coefficients):
            return np.ones(len(np.asarray(week_of_year)))
        waves = _waves(np.asarray(week_of_year, dtype=float), len(self.coefficients) // 2)
        year = _waves(np.arange(0.0, WEEKS_A_YEAR, 0.1), len(self.coefficients) // 2)
        mean = float(np.exp(year @ self.coefficients).mean())
        return np.asarray(np.exp(waves @ self.coefficients) / mean)


def learn_season(totals: npt.ArrayLike, week_of_year: npt.ArrayLike) -> Season:
    """Learn the season from weekly totals.

    Parameters
    ----------
    totals : array_like, shape (n,)
        Pieces of each week.
    week_of_year : array_like, shape (n,)
        Week of the year of each.

    Returns
    -------
    Season
        With as many harmonics (0 to 4) as Akaike's corrected criterion asks for, a straight trend taken out;
        none from fewer than LEAST_WEEKS weeks. Weeks of nothing (the works stood) are left out.

    Notes
    -----
    Source: harmonic-season
    """
    y, week = np.asarray(totals, dtype=float), np.asarray(week_of_year, dtype=float)
    made = y > 0
    none = Season(np.zeros(0))
    if made.sum() < LEAST_WEEKS:
        return none
    log, n = np.log(y[made]), int(made.sum())
    base = np.column_stack([np.ones(n), np.flatnonzero(made) / n])
    best, found = math.inf, none
    for harmonics in range(MOST_HARMONICS + 1):
        design = np.column_stack([base, _waves(week[made], harmonics)])
        fit = np.linalg.lstsq(design, log, rcond=None)[0]
        k = design.shape[1] + 1
        rss = max(float(((log - design @ fit) ** 2).sum()), 1e-12)
        score = n * math.log(rss / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
        if score < best:
            best, found = score, Season(fit[2:])
    return found


def _waves(week: Floats, harmonics: int) -> Floats:
    """Give sine and cosine columns of the year's first harmonics."""
    angle = 2.0 * np.pi * week / WEEKS_A_YEAR
    columns = [f(angle * h) for h in range(1, harmonics + 1) for f in (np.sin, np.cos)]
    return np.column_stack(columns) if columns else np.zeros((len(week), 0))
