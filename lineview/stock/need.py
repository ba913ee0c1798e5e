"""How much of a web will be needed by a day, as a distribution that cannot go below nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Need:
    """Cumulative need of one web from now on.

    Parameters
    ----------
    week_mean, week_sd : numpy.ndarray
        Reels needed in each coming week of 7 days, and the standard deviation from week to week; the last
        week's figures go on for ever.
    level_cv : float
        Standard deviation of the level as a whole over its mean: how far off the pace may be, in the same
        direction in every week.

    Notes
    -----
    The sum up to a day is taken as gamma-distributed with the sum's mean and variance: never negative, and
    near the normal distribution where the spread is small.
    """

    week_mean: Floats
    week_sd: Floats
    level_cv: float

    def mean(self, days: npt.ArrayLike) -> Floats:
        """Give the expected need up to so many days from now [reels]."""
        return _cumulative(self.week_mean, days)

    def sd(self, days: npt.ArrayLike) -> Floats:
        """Give the need's standard deviation up to so many days from now [reels]."""
        own = _cumulative(self.week_sd**2, days)
        return np.sqrt(own + (self.level_cv * self.mean(days)) ** 2)

    def week(self, number: int) -> Need:
        """Give the need of one coming week alone (0 is the first)."""
        at = min(number, len(self.week_mean) - 1)
        return Need(self.week_mean[at : at + 1], self.week_sd[at : at + 1], self.level_cv)

    def quantile(self, days: npt.ArrayLike, share: float) -> Floats:
        """Give the need that is not exceeded with this chance, up to so many days from now [reels]."""
        from scipy.special import gammaincinv

        mean, sd = self.mean(days), self.sd(days)
        sure = sd <= 1e-12 + 1e-9 * mean
        shape = np.where(sure, 1.0, (mean / np.where(sure, 1.0, sd)) ** 2)
        scale = np.where(sure, 0.0, sd**2 / np.where(mean > 0, mean, 1.0))
        return np.asarray(np.where(sure, mean, gammaincinv(shape, share) * scale))

    def exceeds(self, days: npt.ArrayLike, reels: npt.ArrayLike) -> Floats:
        """Give the chance that more than `reels` are needed up to so many days from now."""
        return gamma_beyond(self.mean(days), self.sd(days), np.asarray(reels, dtype=float))


def gamma_beyond(mean: Floats, sd: Floats, amount: Floats) -> Floats:
    """Give the chance that a gamma-distributed sum of this mean and spread passes an amount.

    Where there is no spread, the chance is 0 or 1; below 0 it is 1.

    Parameters
    ----------
    mean : numpy.ndarray
        Means of the sums.
    sd : numpy.ndarray
        Their standard deviations.
    amount : numpy.ndarray
        What is there.
    """
    from scipy.special import gammaincc

    sure = sd <= 1e-12 + 1e-9 * mean
    shape = np.where(sure, 1.0, (mean / np.where(sure, 1.0, sd)) ** 2)
    scale = np.where(sure, 1.0, sd**2 / np.where(mean > 0, mean, 1.0))
    chance = gammaincc(shape, np.maximum(amount, 0.0) / scale)
    certain = (mean > amount).astype(float)
    return np.asarray(np.where(sure, certain, np.where(amount < 0, 1.0, chance)))


def _cumulative(weekly: Floats, days: npt.ArrayLike) -> Floats:
    """Sum weekly figures up to so many days; within a week in proportion, beyond the last week as in it."""
    at = np.maximum(np.asarray(days, dtype=float) / 7.0, 0.0)
    edges = np.arange(len(weekly) + 1, dtype=float)
    sums = np.concatenate([[0.0], np.cumsum(weekly)])
    inside = np.interp(at, edges, sums)
    return np.asarray(inside + np.maximum(at - edges[-1], 0.0) * weekly[-1])
