"""What will be wrapped in the coming weeks: the plan where there is one, else history's pace."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import polars as pl

from lineview.plant import Plant, Web
from lineview.stock.need import Need
from lineview.stock.pace import Pace, pace

Floats = npt.NDArray[np.float64]
#: Spread of the pieces made about the pieces planned, over the plan: an assumption until learned.
ASSUMED_PLAN_CV = 0.1
#: Time without a row that a plan may have within it.
GAP = timedelta(days=4)
#: A day or week of which more than this share was not seen is left aside.
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
    """Give the starts of the coming weeks of seven days, the first being now.

    Parameters
    ----------
    now : datetime
        Latest moment known [UTC].
    weeks : int
        How many.
    """
    return tuple(now + timedelta(days=7 * k) for k in range(weeks))


def planned_pieces(plan: pl.DataFrame, starts: Sequence[datetime]) -> dict[tuple[str, str], Floats]:
    """Share the plan's pieces out over weeks of seven days, evenly within each row's time.

    Parameters
    ----------
    plan : polars.DataFrame
        PLAN.
    starts : sequence of datetime
        Starts of the weeks [UTC].

    Returns
    -------
    dict
        From (line, product as the plan names it) to pieces in each week.
    """
    edges = np.array([s.timestamp() for s in starts] + [(starts[-1] + timedelta(days=7)).timestamp()])
    out: dict[tuple[str, str], Floats] = {}
    for row in plan.iter_rows(named=True):
        if row["pieces"] is None or row["start"] is None:
            continue
        start = row["start"].timestamp()
        end = row["end"].timestamp() if row["end"] is not None else start + 86400.0
        covered = np.clip(np.minimum(edges[1:], end) - np.maximum(edges[:-1], start), 0.0, None)
        share = covered / max(end - start, 1.0)
        key = (row["line"] or "", row["product"] or "")
        out[key] = out.get(key, np.zeros(len(starts))) + row["pieces"] * share
    return {key: pieces for key, pieces in out.items() if pieces.sum() > 0}


def plan_cover(plan: pl.DataFrame, line: str, starts: Sequence[datetime]) -> Floats:
    """Give the share of each week that a line's plan speaks of; 0 where it has none.

    Parameters
    ----------
    plan : polars.DataFrame
        PLAN.
    line : str
        Id of the line.
    starts : sequence of datetime
        Starts of the weeks [UTC].

    Returns
    -------
    numpy.ndarray
        Between two rows of a plan, or before its first, a time of up to GAP (a weekend) belongs to it; a
        longer one is not planned yet, and says nothing.
    """
    covered = np.zeros(len(starts))
    week, until = timedelta(days=7), starts[0]
    rows = plan.filter((pl.col("line") == line) & pl.col("start").is_not_null())
    ends = pl.coalesce("end", pl.col("start") + pl.duration(days=1))
    for start, end in rows.select("start", ends.alias("end")).sort("start").iter_rows():
        if end <= until:
            continue
        first = until if start - until <= GAP else start
        for k, at in enumerate(starts):
            covered[k] += max(min(end, at + week) - max(first, at), timedelta()) / week
        until = end
    return np.minimum(covered, 1.0)


def history_pace(made: pl.DataFrame, line: str, reels_a_piece: Mapping[str, float]) -> Pace | None:
    """Learn the pace at which a line uses something, from the products that take it.

    Parameters
    ----------
    made : polars.DataFrame
        DAILY_OUTPUT.
    line : str
        Id of the line.
    reels_a_piece : mapping
        From product to amount a piece; other products take none.

    Returns
    -------
    Pace or None
        None where the line has no history.
    """
    own = made.filter(pl.col("line") == line)
    if own.is_empty():
        return None
    factor = pl.col("product").replace_strict(dict(reels_a_piece), default=0.0, return_dtype=pl.Float64)
    days = own.group_by("date").agg(
        amount=(pl.col("good") * factor).sum(),
        unseen=pl.col("unseen").sum() / pl.col("good").sum(),
        planned_min=pl.col("planned_min").max(),
    )
    days = days.with_columns(pl.col("unseen").fill_nan(0.0)).sort("date")
    # A day that was mostly not seen tells nothing of its own: what stands in it is the pace around.
    days = days.filter(pl.col("unseen") <= MOST_UNSEEN)
    weight = days["planned_min"] / max(float(days["planned_min"].sum()), 1e-9)
    seen = 1.0 - float((days["unseen"] * weight).sum())
    return pace(days["amount"].to_list(), days["planned_min"].to_list(), seen_share=seen)


@dataclass(frozen=True)
class Ahead:
    """What history says of each coming week: mean, standard deviation, and the level's doubt over it."""

    mean: Floats
    sd: Floats
    level_cv: float


def pace_ahead(learned: Pace, minutes: Floats, days: Floats) -> Ahead:
    """Turn a pace into coming weeks by their planned minutes [min] and planned days.

    Parameters
    ----------
    learned : Pace
        Of a line.
    minutes : numpy.ndarray
        Planned minutes of each coming week.
    days : numpy.ndarray
        Planned days of each coming week.
    """
    return Ahead(learned.per_planned_min * minutes, learned.day_sd * np.sqrt(days), learned.level_cv)


def web_need(lines: Sequence[tuple[Floats, Floats, Ahead | None]], weeks: int) -> tuple[Need, str]:
    """Put a web's need together from its lines.

    Parameters
    ----------
    lines : sequence of tuples
        For each line: planned amount a week, share of each week that the plan covers, and what history says.
    weeks : int
        How many.

    Returns
    -------
    (Need, str)
        The need, and "plan", "history", "plan, then history" or "nothing".
    """
    mean, variance, level_variance = np.zeros(weeks), np.zeros(weeks), 0.0
    said: set[str] = set()
    for planned, covered, ahead in lines:
        rest = 1.0 - covered
        mean += planned
        variance += (ASSUMED_PLAN_CV * planned) ** 2
        if planned.sum() > 0:
            said.add("plan")
        if ahead is not None and ahead.mean.sum() > 0:
            mean += ahead.mean * rest
            variance += ahead.sd**2 * rest
            level_variance += (ahead.level_cv * float((ahead.mean * rest).mean())) ** 2
            said |= {"history"} if (ahead.mean * rest).sum() > 0 else set()
        elif covered.any() and rest.any() and planned.sum() > 0:
            mean += planned.sum() / covered.sum() * rest
            variance += (2 * ASSUMED_PLAN_CV * planned.sum() / covered.sum()) ** 2 * rest
            said.add("plan's own pace")
    average = float(mean.mean())
    level = float(np.sqrt(level_variance)) / average if average > 0 else 0.0
    order = ("plan", "history", "plan's own pace")
    return Need(mean, np.sqrt(variance), level), ", then ".join(b for b in order if b in said) or "nothing"


def reels_a_piece(web: Web, *, reel_m: float, waste: float, lost_per_reel_m: float) -> float:
    """Give the reels that a good piece takes.

    Parameters
    ----------
    web : Web
        For its cut length.
    reel_m : float
        Length of a new reel [m].
    waste : float
        Metres used for each metre of geometry, as a ratio of 1 or more.
    lost_per_reel_m : float
        Metres lost with each reel [m].

    Returns
    -------
    float
        Reels.
    """
    return web.cut_length_mm / 1000.0 * waste / max(reel_m - lost_per_reel_m, 1e-9)


def products_of(plant: Plant, web: Web) -> list[str]:
    """Give the ids of the products that a web wraps; "" too where it is the only web of its kind.

    Parameters
    ----------
    plant : Plant
        The works.
    web : Web
        Of the plant description.

    Returns
    -------
    list of str
        Pieces whose product nobody wrote down ("") must have been wrapped by the only web there is.
    """
    own = [product.id for product in plant.products if web.id in product.webs]
    alone = sum(other.kind == web.kind for other in plant.webs) == 1
    return [*own, ""] if alone else own
