"""Coming weeks of many series at once: season of the works, own level, intermittent ones apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.order.demand import MOST_UNSEEN, Ahead
from lineview.plant import Plant
from lineview.stats.croston import croston

Floats = npt.NDArray[np.float64]
WEEKS_A_YEAR = 365.25 / 7.0
#: A season is looked for in at least so many weeks; less than a year and a half cannot show one.
LEAST_WEEKS = 78
MOST_HARMONICS = 6


@dataclass(frozen=True)
class Season:
    """Each week's factor on the year's mean, of the weeks learned from and of those to come.

    `ahead_cv` is the standard error of each coming week's factor over the factor; `harmonics` how many waves
    of the year the season has, 0 where none shows.
    """

    past: Floats
    ahead: Floats
    ahead_cv: Floats
    harmonics: int = 0


def learn_season(totals: npt.ArrayLike, weeks_ahead: int) -> Season:
    """Learn the season from weekly totals.

    Regression on the logarithm of the totals by statsmodels, which is imported only where there is a season
    to learn. The standard error is that of the regression, so that a season learned from two years is not
    taken for sure.

    Source: harmonic-season
    """
    y = np.asarray(totals, dtype=float)
    productive = np.isfinite(y) & (y > 0)
    if productive.sum() < LEAST_WEEKS:
        return Season(np.ones(len(y)), np.ones(weeks_ahead), np.zeros(weeks_ahead))
    return _fit_season(y, productive, weeks_ahead)


def _fit_season(y: Floats, productive: npt.NDArray[np.bool_], weeks_ahead: int) -> Season:
    """Fit every number of harmonics and keep the one that the criterion likes best."""
    from statsmodels.regression.linear_model import OLS
    from statsmodels.tsa.deterministic import DeterministicProcess, Fourier

    n = len(y)
    fits = []
    for harmonics in range(MOST_HARMONICS + 1):
        waves = [Fourier(WEEKS_A_YEAR, harmonics)] if harmonics else []
        process = DeterministicProcess(range(n), constant=True, order=1, additional_terms=waves)
        terms = process.in_sample().to_numpy()
        fit = OLS(np.log(y[productive]), terms[productive]).fit()
        fits.append((float(fit.info_criteria("aicc", dk_params=1)), harmonics, process, terms, fit))
    _, harmonics, process, terms, fit = min(fits, key=lambda candidate: candidate[:2])
    if not harmonics:
        return Season(np.ones(n), np.ones(weeks_ahead), np.zeros(weeks_ahead))
    coming = process.out_of_sample(weeks_ahead).to_numpy()[:, 2:]
    wave, doubt = fit.params[2:], fit.cov_params()[2:, 2:]
    # Ten years of weeks meet every moment of the year evenly.
    year = process.out_of_sample(round(10 * WEEKS_A_YEAR)).to_numpy()[:, 2:]
    mean = float(np.exp(year @ wave).mean())
    return Season(
        past=np.exp(terms[:, 2:] @ wave) / mean,
        ahead=np.exp(coming @ wave) / mean,
        ahead_cv=np.sqrt(np.einsum("ij,jk,ik->i", coming, doubt, coming)),
        harmonics=harmonics,
    )


#: Weights of the newest week that are tried for each series.
ALPHAS = np.array([0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5])
#: Weeks that an order looks ahead, lead time and cover: over these the level's doubt is reckoned.
ORDER_WEEKS = 13
#: A series that is 0 in more than this share of weeks comes now and then.
INTERMITTENT_SHARE = 0.4
#: Weeks of history that weigh as much as what the base shows of a new flavour.
BORROWED_WEEKS = 8.0


@dataclass(frozen=True)
class WeeklyForecast:
    """Mean and standard deviation of each series in each coming week, and its level's share of doubt.

    `is_borrowed` marks the series that lean on their group, for want of history of their own.
    """

    mean: Floats
    sd: Floats
    level_cv: Floats
    is_borrowed: npt.NDArray[np.bool_]


def weekly_forecast(history: Floats, season: Season, groups: list[str]) -> WeeklyForecast:
    """Forecast many series.

    Levels by simple smoothing of what season leaves, its weight α chosen by the one-step errors; series that
    come now and then by Croston's method with Syntetos and Boylan's correction. Smoothing is the filter of a
    level that wanders: its own variance is α (1 − α) times that of the one-step errors and grows by α² a
    week, of which the mean over w weeks has (w − 1) ÷ 3. The season's standard error is common to all.

    Source: croston-1972, nist-handbook
    """
    flat = history / season.past
    with_value = np.isfinite(flat)
    weeks = with_value.sum(axis=1)
    level, spread, level_sd = _levels(np.where(with_value, flat, 0.0), with_value)
    level, spread, level_sd, is_borrowed = _borrow(level, spread, level_sd, weeks, groups)
    mean = level[:, None] * season.ahead[None, :]
    sd = spread[:, None] * season.ahead[None, :]
    cv = np.where(level > 0, level_sd / np.where(level > 0, level, 1.0), 0.0)
    cv = np.hypot(cv, np.sqrt((season.ahead_cv[:ORDER_WEEKS] ** 2).mean()) if len(season.ahead) else 0.0)
    return WeeklyForecast(mean, sd, cv, is_borrowed)


def _levels(flat: Floats, with_value: npt.NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Each series' level, its spread from week to week, and the standard deviation of the level."""
    alpha, level, rmse = _smooth(flat, with_value)
    weeks = np.maximum(with_value.sum(axis=1), 1)
    wander = alpha**2 * (ORDER_WEEKS - 1) / 3.0
    level_sd = rmse * np.sqrt(np.maximum(alpha * (1.0 - alpha), 1.0 / weeks) + wander)
    rare = ((flat == 0) & with_value).sum(axis=1) > INTERMITTENT_SHARE * weeks
    for k in np.flatnonzero(rare):
        values = flat[k][with_value[k]]
        if values.any():
            level[k] = croston(values, 0.1).unbiased
            rmse[k] = float(np.sqrt(((values - level[k]) ** 2).mean()))
            level_sd[k] = rmse[k] / np.sqrt(max(len(values), 1))
    return level, rmse, level_sd


def _smooth(flat: Floats, with_value: npt.NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Smooth all series at once with every weight, and keep each one's best."""
    first = np.argmax(with_value, axis=1)
    rows = np.arange(len(flat))
    counts = np.minimum(with_value.sum(axis=1), 8)
    start = np.array([flat[k, f : f + max(int(c), 1)].mean() for k, f, c in zip(rows, first, counts, strict=True)])
    levels = np.repeat(start[:, None], len(ALPHAS), axis=1)
    squares = np.zeros_like(levels)
    for week in range(flat.shape[1]):
        has_value = with_value[:, week][:, None]
        error = np.where(has_value, flat[:, week][:, None] - levels, 0.0)
        squares += error**2
        levels = levels + ALPHAS * error
    best = squares.argmin(axis=1)
    n = np.maximum(with_value.sum(axis=1) - 1, 1)
    return ALPHAS[best], levels[rows, best], np.sqrt(squares[rows, best] / n)


def _borrow(
    level: Floats, spread: Floats, level_sd: Floats, weeks: npt.NDArray[np.int_], groups: list[str]
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    """Draw series with little history towards the mean of their group, or of all where it has none."""
    old = weeks >= 2 * BORROWED_WEEKS
    is_borrowed = ~old & (old.any() if len(old) else False)
    level, spread, level_sd = level.copy(), spread.copy(), level_sd.copy()
    names = np.array(groups)
    for k in np.flatnonzero(is_borrowed):
        kin = old & (names == names[k])
        kin = kin if kin.any() else old
        weight = weeks[k] / (weeks[k] + BORROWED_WEEKS)
        among = float(level[kin].std()) if kin.sum() > 1 else float(level[kin].mean()) * 0.5
        level[k] = weight * level[k] + (1.0 - weight) * float(level[kin].mean())
        # A handful of weeks cannot show its own spread, so the kin's stands in for it.
        spread[k] = max(float(spread[k]), float(spread[kin].mean()))
        own_sd = max(float(level_sd[k]), float(spread[k]) / np.sqrt(max(weeks[k], 1)))
        level_sd[k] = np.hypot(weight * own_sd, (1.0 - weight) * among)
    return level, spread, level_sd, np.asarray(is_borrowed)


def history_weeks(past: pl.DataFrame, today: date) -> int:
    """The whole weeks of seven days before today that history covers."""
    first = past["date"].min()
    return max((today - first).days // 7, 0) if isinstance(first, date) else 0


def weeks_ahead(
    plant: Plant,
    past: pl.DataFrame,
    factors: Mapping[str, Mapping[str, float]],
    lines: Sequence[str],
    today: date,
    weeks: int,
) -> dict[tuple[str, str], Ahead]:
    """Forecast each line's use of each web in so many weeks from today, week by week."""
    n = history_weeks(past, today)
    tables = {line: _by_week(past, line, today, n) for line in lines}
    totals = np.sum([table.seen_pieces.sum(axis=0) for table in tables.values()], axis=0)
    season = learn_season(totals, weeks)
    keys, rows, groups = [], [], []
    for line, table in tables.items():
        index = {product: k for k, product in enumerate(table.products)}
        for web_id, by_product in factors.items():
            terms = [(index[p], factor) for p, factor in by_product.items() if p in index]
            if not terms:
                continue
            series = np.sum([table.good[k] * factor for k, factor in terms], axis=0)
            first = int(np.flatnonzero(series)[0]) if series.any() else n
            keys.append((line, web_id))
            rows.append(np.where((np.arange(n) >= first) & ~table.dark, series, np.nan))
            groups.append(f"{line} {_base(plant, by_product)} {_kind(plant, web_id)}")
    if not rows:
        return {}
    forecasts = weekly_forecast(np.array(rows), season, groups)
    seen_root = {line: np.sqrt(max(table.seen_share, 1e-9)) for line, table in tables.items()}
    return {
        key: Ahead(
            forecasts.mean[k], forecasts.sd[k] / seen_root[key[0]], float(forecasts.level_cv[k]) / seen_root[key[0]]
        )
        for k, key in enumerate(keys)
    }


@dataclass(frozen=True)
class _Weeks:
    """A line's good pieces by product and week, which weeks were mostly not seen, and the share seen."""

    products: list[str]
    good: Floats
    dark: npt.NDArray[np.bool_]
    seen_share: float

    @property
    def seen_pieces(self) -> Floats:
        """The pieces, nan in weeks that were mostly not seen."""
        return np.where(self.dark, np.nan, self.good)


def _by_week(past: pl.DataFrame, line: str, today: date, n: int) -> _Weeks:
    """Sum a line's products in each of the last n weeks of seven days before today, the newest last."""
    weeks = past.filter((pl.col("line") == line) & (pl.col("good") > 0) & (pl.col("date") < today)).with_columns(
        week=n - 1 - ((pl.lit(today) - pl.col("date")).dt.total_days() - 1) // 7
    )
    weeks = weeks.filter(pl.col("week") >= 0)
    products = weeks["product"].unique(maintain_order=True).sort().to_list()
    good, unseen = np.zeros((len(products), n)), np.zeros(n)
    index = {product: k for k, product in enumerate(products)}
    for product, week, pieces, dark in weeks.select("product", "week", "good", "unseen").iter_rows():
        good[index[product], int(week)] += pieces
        unseen[int(week)] += dark
    totals = good.sum(axis=0)
    dark_weeks = unseen > MOST_UNSEEN * totals
    total = float(totals[~dark_weeks].sum())
    share = 1.0 - float(unseen[~dark_weeks].sum()) / total if total > 0 else 1.0
    return _Weeks(products, good, dark_weeks, share)


def _base(plant: Plant, factors: Mapping[str, float]) -> str:
    bases = {product.base for product in plant.products if product.id in factors}
    return next(iter(bases)) if len(bases) == 1 else "several"


def _kind(plant: Plant, web_id: str) -> str:
    web = plant.web(web_id)
    return "" if web is None else web.kind
