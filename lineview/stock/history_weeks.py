"""History by week, and the coming weeks forecast from it: season of the works, level of each web."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.plant import Plant
from lineview.stock.demand import MOST_UNSEEN, Ahead
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
    totals = np.sum([table.known.sum(axis=0) for table in tables.values()], axis=0)
    season = learn_season(totals, len(starts))
    keys, rows, groups = [], [], []
    for line, table in tables.items():
        index = {product: k for k, product in enumerate(table.products)}
        for web_id, own in factors.items():
            used = [(index[p], factor) for p, factor in own.items() if p in index]
            if not used:
                continue
            series = np.sum([table.good[k] * factor for k, factor in used], axis=0)
            first = int(np.flatnonzero(series)[0]) if series.any() else n
            keys.append((line, web_id))
            rows.append(np.where((np.arange(n) >= first) & ~table.dark, series, np.nan))
            groups.append(f"{line} {_base(plant, own)} {_kind(plant, web_id)}")
    if not rows:
        return {}
    told = weekly_forecast(np.array(rows), season, groups)
    seen = {line: np.sqrt(max(table.seen_share, 1e-9)) for line, table in tables.items()}
    return {
        key: Ahead(told.mean[k], told.sd[k] / seen[key[0]], float(told.level_cv[k]) / seen[key[0]])
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
    def known(self) -> Floats:
        """The pieces, nan in weeks that were mostly not seen."""
        return np.where(self.dark, np.nan, self.good)


def _by_week(past: pl.DataFrame, line: str, now: datetime, n: int) -> _Weeks:
    """Sum a line's products in each of the last n weeks, the newest last."""
    own = past.filter((pl.col("line") == line) & (pl.col("good") > 0)).with_columns(
        week=n - 1 - (pl.lit(now.date()) - pl.col("date")).dt.total_days().clip(0) // 7
    )
    own = own.filter(pl.col("week") >= 0)
    products = own["product"].unique().sort().to_list()
    good, unseen = np.zeros((len(products), n)), np.zeros(n)
    index = {product: k for k, product in enumerate(products)}
    for product, week, pieces, dark in own.select("product", "week", "good", "unseen").iter_rows():
        good[index[product], int(week)] += pieces
        unseen[int(week)] += dark
    totals = good.sum(axis=0)
    dark_weeks = unseen > MOST_UNSEEN * totals
    kept = float(totals[~dark_weeks].sum())
    share = 1.0 - float(unseen[~dark_weeks].sum()) / kept if kept > 0 else 1.0
    return _Weeks(products, good, dark_weeks, share)


def _base(plant: Plant, own: Mapping[str, float]) -> str:
    bases = {product.base for product in plant.products if product.id in own}
    return next(iter(bases)) if len(bases) == 1 else "several"


def _kind(plant: Plant, web_id: str) -> str:
    web = plant.web(web_id)
    return "" if web is None else web.kind
