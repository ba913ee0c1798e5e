"""Coming weeks of many series at once: season of the works, own level, intermittent ones apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineview.stats.croston import croston
from lineview.stock.season import Season

Floats = npt.NDArray[np.float64]
#: Weights of the newest week that are tried for each series.
ALPHAS = np.array([0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5])
#: Weeks that an order looks ahead, lead time and cover: over these the level's doubt is reckoned.
ORDER_WEEKS = 13
#: A series that is 0 in more than this share of weeks comes now and then.
INTERMITTENT_SHARE = 0.4
#: Weeks of history that weigh as much as what the base tells of a new flavour.
BORROWED_WEEKS = 8.0


@dataclass(frozen=True)
class WeeklyForecast:
    """Mean and standard deviation of each series in each coming week, and its level's share of doubt.

    `borrowed` tells which series lean on their group's, for they have little history of their own.
    """

    mean: Floats
    sd: Floats
    level_cv: Floats
    borrowed: npt.NDArray[np.bool_]


def weekly_forecast(history: Floats, season: Season, groups: list[str]) -> WeeklyForecast:
    """Forecast many series.

    Parameters
    ----------
    history : numpy.ndarray, shape (k, n)
        Amount of each series in each past week, the last one the newest; nan before it existed.
    season : Season
        Factors of the n past and the m coming weeks.
    groups : list of str
        Of each series: a series new to the works borrows from the others of its group.

    Returns
    -------
    WeeklyForecast
        Of shapes (k, m), (k, m), (k,), (k,).

    Notes
    -----
    Levels by simple smoothing of what season leaves, its weight α chosen by the one-step errors; series that
    come now and then by Croston's method with Syntetos and Boylan's correction. Smoothing is the filter of a
    level that wanders: its own variance is α (1 − α) times that of the one-step errors and grows by α² a
    week, of which the mean over w weeks has (w − 1) ÷ 3. The season's standard error is common to all.

    Source: croston-1972, nist-handbook
    """
    flat = history / season.then
    known = np.isfinite(flat)
    weeks = known.sum(axis=1)
    level, spread, level_sd = _levels(np.where(known, flat, 0.0), known)
    level, spread, level_sd, borrowed = _borrow(level, spread, level_sd, weeks, groups)
    mean = level[:, None] * season.ahead[None, :]
    sd = spread[:, None] * season.ahead[None, :]
    cv = np.where(level > 0, level_sd / np.where(level > 0, level, 1.0), 0.0)
    cv = np.hypot(cv, np.sqrt((season.ahead_cv[:ORDER_WEEKS] ** 2).mean()) if len(season.ahead) else 0.0)
    return WeeklyForecast(mean, sd, cv, borrowed)


def _levels(flat: Floats, known: npt.NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Give each series' level, its spread from week to week, and the standard deviation of the level."""
    alpha, level, rmse = _smooth(flat, known)
    weeks = np.maximum(known.sum(axis=1), 1)
    wander = alpha**2 * (ORDER_WEEKS - 1) / 3.0
    level_sd = rmse * np.sqrt(np.maximum(alpha * (1.0 - alpha), 1.0 / weeks) + wander)
    rare = ((flat == 0) & known).sum(axis=1) > INTERMITTENT_SHARE * weeks
    for k in np.flatnonzero(rare):
        own = flat[k][known[k]]
        if own.any():
            level[k] = croston(own, 0.1).unbiased
            rmse[k] = float(np.sqrt(((own - level[k]) ** 2).mean()))
            level_sd[k] = rmse[k] / np.sqrt(max(len(own), 1))
    return level, rmse, level_sd


def _smooth(flat: Floats, known: npt.NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Smooth all series at once with every weight, and keep each one's best."""
    first = np.argmax(known, axis=1)
    rows = np.arange(len(flat))
    counts = np.minimum(known.sum(axis=1), 8)
    start = np.array(
        [flat[k, f : f + max(int(c), 1)].mean() for k, f, c in zip(rows, first, counts, strict=True)]
    )
    levels = np.repeat(start[:, None], len(ALPHAS), axis=1)
    squared = np.zeros_like(levels)
    for week in range(flat.shape[1]):
        here = known[:, week][:, None]
        error = np.where(here, flat[:, week][:, None] - levels, 0.0)
        squared += error**2
        levels = levels + ALPHAS * error
    best = squared.argmin(axis=1)
    n = np.maximum(known.sum(axis=1) - 1, 1)
    return ALPHAS[best], levels[rows, best], np.sqrt(squared[rows, best] / n)


def _borrow(
    level: Floats, spread: Floats, level_sd: Floats, weeks: npt.NDArray[np.int_], groups: list[str]
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    """Draw series with little history towards the mean of their group, or of all where it has none."""
    old = weeks >= 2 * BORROWED_WEEKS
    borrowed = ~old & (old.any() if len(old) else False)
    level, spread, level_sd = level.copy(), spread.copy(), level_sd.copy()
    names = np.array(groups)
    for k in np.flatnonzero(borrowed):
        kin = old & (names == names[k])
        kin = kin if kin.any() else old
        weight = weeks[k] / (weeks[k] + BORROWED_WEEKS)
        among = float(level[kin].std()) if kin.sum() > 1 else float(level[kin].mean()) * 0.5
        level[k] = weight * level[k] + (1.0 - weight) * float(level[kin].mean())
        # A handful of weeks cannot show its own spread, so the kin's stands in for it.
        spread[k] = max(float(spread[k]), float(spread[kin].mean()))
        own_sd = max(float(level_sd[k]), float(spread[k]) / np.sqrt(max(weeks[k], 1)))
        level_sd[k] = np.hypot(weight * own_sd, (1.0 - weight) * among)
    return level, spread, level_sd, np.asarray(borrowed)
