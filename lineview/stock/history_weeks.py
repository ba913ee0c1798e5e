"""History by week, and the coming weeks forecast from it: season of the works, level of each web."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.plant import Plant
from lineview.stock.demand import Ahead
from lineview.stock.season import learn_season
from lineview.stock.weekly_forecast import weekly_forecast

Floats = npt.NDArray[np.float64]


def history_weeks(past: pl.DataFrame, now: datetime) -> int:
    """Give the whole weeks of seven days before `now` that history covers.

    Parameters
    ----------
    past : polars.DataFrame
        MADE with plant.toml's product ids.
    now : datetime
        Latest moment known [UTC].
    """
    if past.is_empty():
        return 0
    first: date = past["date"].to_list()[int(past["date"].arg_min() or 0)]
    return max((now.date() - first).days // 7, 0)


def weeks_ahead(
    plant: Plant,
    past: pl.DataFrame,
    factors: Mapping[str, Mapping[str, float]],
    lines: Sequence[str],
    starts: Sequence[datetime],
) -> dict[tuple[str, str], Ahead]:
    """Forecast each line's use of each web, week by week.

    Parameters
    ----------
    plant : Plant
        For the bases that new flavours borrow from.
    past : polars.DataFrame
        MADE with plant.toml's product ids.
    factors : mapping
        From web id to the amount that a piece of each product takes of it.
    lines : sequence of str
        Ids of the lines.
    starts : sequence of datetime
        Starts of the coming weeks [UTC]; the first is now.

    Returns
    -------
    dict
        By line and web id. A web whose products were never made on a line has none there.
    """
    now, n = starts[0], history_weeks(past, starts[0])
    tables = {line: _by_week(past, line, now, n) for line in lines}
    totals = np.sum([t.sum(axis=0) for _, t in tables.values()], axis=0)
    then = np.array([_week_of_year(now - timedelta(days=7 * (n - k))) for k in range(n)])
    ahead = np.array([_week_of_year(start) for start in starts])
    season = learn_season(totals, then)
    keys, rows, groups = [], [], []
    for line, (products, amounts) in tables.items():
        index = {product: k for k, product in enumerate(products)}
        for web_id, own in factors.items():
            used = [(index[p], factor) for p, factor in own.items() if p in index]
            if not used:
                continue
            series = np.sum([amounts[k] * factor for k, factor in used], axis=0)
            first = int(np.flatnonzero(series)[0]) if series.any() else n
            keys.append((line, web_id))
            rows.append(np.where(np.arange(n) >= first, series, np.nan))
            groups.append(f"{line} {_base(plant, own)} {_kind(plant, web_id)}")
    if not rows:
        return {}
    told = weekly_forecast(np.array(rows), season.factors(then), season.factors(ahead), groups)
    return {key: Ahead(told.mean[k], told.sd[k], float(told.level_cv[k])) for k, key in enumerate(keys)}


def _by_week(past: pl.DataFrame, line: str, now: datetime, n: int) -> tuple[list[str], Floats]:
    """Give a line's products and their good pieces in each of the last n weeks, the newest last."""
    own = past.filter((pl.col("line") == line) & (pl.col("good") > 0)).with_columns(
        week=n - 1 - (pl.lit(now.date()) - pl.col("date")).dt.total_days().clip(0) // 7
    )
    own = own.filter(pl.col("week") >= 0)
    products = own["product"].unique().sort().to_list()
    table = np.zeros((len(products), n))
    index = {product: k for k, product in enumerate(products)}
    for product, week, good in own.select("product", "week", "good").iter_rows():
        table[index[product], int(week)] += good
    return products, table


def _week_of_year(at: datetime) -> float:
    return (at.timetuple().tm_yday - 1) / 7.0


def _base(plant: Plant, own: Mapping[str, float]) -> str:
    bases = {product.base for product in plant.products if product.id in own}
    return next(iter(bases)) if len(bases) == 1 else "several"


def _kind(plant: Plant, web_id: str) -> str:
    web = plant.web(web_id)
    return "" if web is None else web.kind
