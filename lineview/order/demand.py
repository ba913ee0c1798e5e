"""What will be wrapped in the coming weeks: the plan where there is one, else history's pace."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.core.language import mark, tr
from lineview.plant import Plant, Web

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Need:
    """Cumulative need of one web from now on.

    `week_mean`, `week_sd`: reels needed in each coming week of 7 days, and the standard deviation from week to
    week; the last week's figures go on for ever; `level_cv`: standard deviation of the level as a whole over its
    mean: how far off the pace may be, in the same direction in every week.

    The sum up to a day is taken as gamma-distributed with the sum's mean and variance: never negative, and near
    the normal distribution where the spread is small.
    """

    week_mean: Floats
    week_sd: Floats
    level_cv: float

    def mean(self, days: npt.ArrayLike) -> Floats:
        """The expected need up to so many days from now [reels]."""
        return _cumulative(self.week_mean, days)

    def sd(self, days: npt.ArrayLike) -> Floats:
        """The need's standard deviation up to so many days from now [reels]."""
        variance = _cumulative(self.week_sd**2, days)
        return np.sqrt(variance + (self.level_cv * self.mean(days)) ** 2)

    def week(self, number: int) -> Need:
        """The need of one coming week alone (0 is the first)."""
        at = min(number, len(self.week_mean) - 1)
        return Need(self.week_mean[at : at + 1], self.week_sd[at : at + 1], self.level_cv)

    def quantile(self, days: npt.ArrayLike, share: float) -> Floats:
        """The need that is not exceeded with this chance, up to so many days from now [reels]."""
        from scipy.special import gammaincinv

        mean, sd = self.mean(days), self.sd(days)
        sure = sd <= 1e-12 + 1e-9 * mean
        shape = np.where(sure, 1.0, (mean / np.where(sure, 1.0, sd)) ** 2)
        scale = np.where(sure, 0.0, sd**2 / np.where(mean > 0, mean, 1.0))
        return np.asarray(np.where(sure, mean, gammaincinv(shape, share) * scale))

    def exceeds(self, days: npt.ArrayLike, reels: npt.ArrayLike) -> Floats:
        """The chance that more than `reels` are needed up to so many days from now."""
        return gamma_beyond(self.mean(days), self.sd(days), np.asarray(reels, dtype=float))


def gamma_beyond(mean: Floats, sd: Floats, amount: Floats) -> Floats:
    """The chance that a gamma-distributed sum of this mean and spread passes an amount.

    Where there is no spread, the chance is 0 or 1; below 0 it is 1.
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
    over the pace. Both rest on an assumption where `is_learned` is False; a level learned from less than
    SHORT_DAYS has ASSUMED_LEVEL_CV in it, for season and mix cannot show in so short a time.
    """

    per_planned_min: float
    day_sd: float
    level_cv: float
    days: int
    is_learned: bool


def pace(amounts: Sequence[float], planned_min: Sequence[float], *, seen_share: float = 1.0) -> Pace | None:
    """Learn the pace from days."""
    amount, minutes = np.asarray(amounts, dtype=float), np.asarray(planned_min, dtype=float)
    if minutes.sum() <= 0:
        return None
    rate = float(amount.sum() / minutes.sum())
    n = len(amount)
    if n < LEAST_DAYS or rate <= 0:
        day_sd = ASSUMED_WEEK_CV * rate * float(minutes.mean()) * math.sqrt(5.0)
        return Pace(rate, day_sd, ASSUMED_WEEK_CV, n, is_learned=False)
    residual = amount - rate * minutes
    day_sd = float(np.sqrt((residual**2).sum() / (n - 1) / max(seen_share, 1e-9)))
    level = day_sd * math.sqrt(n) / (rate * float(minutes.sum()))
    if n < SHORT_DAYS:
        level = math.hypot(level, ASSUMED_LEVEL_CV)
    return Pace(rate, day_sd, level, n, is_learned=True)


#: Spread of the pieces made about the pieces planned, over the plan: an assumption until learned.
ASSUMED_PLAN_CV = 0.1
#: Time without a row that a plan may have within it.
GAP = timedelta(days=4)
#: A day or week with more than this share unseen is left out.
MOST_UNSEEN = 0.5


@dataclass(frozen=True)
class Demand:
    """What the coming weeks will wrap.

    `by_web` is each web's need in reels, `by_product` each product's in pieces, `basis` what the webs' rest
    on; `borrowed` names webs whose flavours were never made and that borrow from their base's; `unknown`
    names products that plant.toml has not, `without_web` says which product has no web of a kind.
    """

    weeks: tuple[datetime, ...]
    by_web: Mapping[str, Need]
    by_product: Mapping[str, Need]
    basis: Mapping[str, str]
    borrowed: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    without_web: tuple[str, ...] = ()


def week_starts(now: datetime, weeks: int) -> tuple[datetime, ...]:
    """The starts of the coming weeks of seven days, the first being now."""
    return tuple(now + timedelta(days=7 * k) for k in range(weeks))


def planned_pieces(plan: pl.DataFrame, starts: Sequence[datetime]) -> dict[tuple[str, str], Floats]:
    """Share the plan's pieces out over weeks of seven days, evenly within each row's time."""
    edges = np.array([s.timestamp() for s in starts] + [(starts[-1] + timedelta(days=7)).timestamp()])
    out: dict[tuple[str, str], Floats] = {}
    for row in plan.iter_rows(named=True):
        if row["pieces"] is None or row["start"] is None:
            continue
        start = row["start"].timestamp()
        end = row["end"].timestamp() if row["end"] is not None else start + 86400.0
        overlap_s = np.clip(np.minimum(edges[1:], end) - np.maximum(edges[:-1], start), 0.0, None)
        share = overlap_s / max(end - start, 1.0)
        key = (row["line"] or "", row["product"] or "")
        out[key] = out.get(key, np.zeros(len(starts))) + row["pieces"] * share
    return {key: pieces for key, pieces in out.items() if pieces.sum() > 0}


def plan_cover(plan: pl.DataFrame, line: str, starts: Sequence[datetime]) -> Floats:
    """The share of each week that a line's plan speaks of; 0 where it has none."""
    cover = np.zeros(len(starts))
    week, until = timedelta(days=7), starts[0]
    rows = plan.filter((pl.col("line") == line) & pl.col("start").is_not_null())
    ends = pl.coalesce("end", pl.col("start") + pl.duration(days=1))
    for start, end in rows.select("start", ends.alias("end")).sort("start").iter_rows():
        if end <= until:
            continue
        first = until if start - until <= GAP else start
        for k, at in enumerate(starts):
            cover[k] += max(min(end, at + week) - max(first, at), timedelta()) / week
        until = end
    return np.minimum(cover, 1.0)


def history_pace(daily_output: pl.DataFrame, line: str, reels_a_piece: Mapping[str, float]) -> Pace | None:
    """Learn the pace at which a line uses something, from the products that take it."""
    of_line = daily_output.filter(pl.col("line") == line)
    if of_line.is_empty():
        return None
    factor = pl.col("product").replace_strict(dict(reels_a_piece), default=0.0, return_dtype=pl.Float64)
    days = of_line.group_by("date", maintain_order=True).agg(
        amount=(pl.col("good") * factor).sum(),
        unseen=pl.col("unseen").sum() / pl.col("good").sum(),
        planned_min=pl.col("planned_min").max(),
    )
    days = days.with_columns(pl.col("unseen").fill_nan(0.0)).sort("date")
    # A day that was mostly not read holds no output of its own: its sum is the pace around it.
    days = days.filter(pl.col("unseen") <= MOST_UNSEEN)
    weight = days["planned_min"] / max(float(days["planned_min"].sum()), 1e-9)
    seen_share = 1.0 - float((days["unseen"] * weight).sum())
    return pace(days["amount"].to_list(), days["planned_min"].to_list(), seen_share=seen_share)


@dataclass(frozen=True)
class Ahead:
    """Demand of each coming week from history: mean, standard deviation, and the level's uncertainty."""

    mean: Floats
    sd: Floats
    level_cv: float


def pace_ahead(pace_of_days: Pace, minutes: Floats, days: Floats) -> Ahead:
    """Turn a pace into coming weeks by their planned minutes [min] and planned days."""
    return Ahead(pace_of_days.per_planned_min * minutes, pace_of_days.day_sd * np.sqrt(days), pace_of_days.level_cv)


def web_need(lines: Sequence[tuple[Floats, Floats, Ahead | None]], weeks: int) -> tuple[Need, str]:
    """Put a web's need together from its lines."""
    mean, variance, level_variance = np.zeros(weeks), np.zeros(weeks), 0.0
    basis: set[str] = set()
    for planned, cover, ahead in lines:
        open_share = 1.0 - cover
        mean += planned
        variance += (ASSUMED_PLAN_CV * planned) ** 2
        if planned.sum() > 0:
            basis.add("plan")
        if ahead is not None and ahead.mean.sum() > 0:
            mean += ahead.mean * open_share
            variance += ahead.sd**2 * open_share
            level_variance += (ahead.level_cv * float((ahead.mean * open_share).mean())) ** 2
            basis |= {"history"} if (ahead.mean * open_share).sum() > 0 else set()
        elif cover.any() and open_share.any() and planned.sum() > 0:
            mean += planned.sum() / cover.sum() * open_share
            variance += (2 * ASSUMED_PLAN_CV * planned.sum() / cover.sum()) ** 2 * open_share
            basis.add("plan's pace")
    average = float(mean.mean())
    level = float(np.sqrt(level_variance)) / average if average > 0 else 0.0
    order = (mark("plan"), mark("history"), mark("plan's pace"))
    return Need(mean, np.sqrt(variance), level), tr(", then ").join(tr(b) for b in order if b in basis) or tr("nothing")


def reels_a_piece(web: Web, *, reel_m: float, waste: float, lost_per_reel_m: float) -> float:
    """The reels that a good piece takes."""
    return web.cut_length_mm / 1000.0 * waste / max(reel_m - lost_per_reel_m, 1e-9)


def products_of(plant: Plant, web: Web) -> list[str]:
    """The ids of the products that a web wraps; "" too where it is the only web of its kind."""
    names = [product.id for product in plant.products if web.id in product.webs]
    alone = sum(w.kind == web.kind for w in plant.webs) == 1
    return [*names, ""] if alone else names
