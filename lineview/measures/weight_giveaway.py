"""What is given away above target a week, product by product: each at its own pieces and its own price."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.measures.weight_spread import Spread, WeightSpread
from lineview.stats.means import student_interval


@dataclass(frozen=True)
class ProductGiveaway:
    """One product's part. What cannot be told says why; `price_per_kg` is None where none is declared."""

    product: str
    pieces_per_week: float
    off_g: Spread
    kg_per_week: Spread
    price_per_kg: float | None
    money_per_week: Spread


@dataclass(frozen=True)
class WeekGiveaway:
    """All products of a week.

    `kg` is the sum over products weighed, which made `covered` of all pieces. `money` is told only where
    each of them has a price; `money_priced` is then None, else the money of those in `priced` alone.
    `degrees` are those behind the limits; None where they are of the common mean.
    """

    rows: tuple[ProductGiveaway, ...]
    kg: Spread
    money: Spread
    money_priced: Spread | None
    priced: tuple[str, ...]
    no_price: tuple[str, ...]
    not_weighed: tuple[str, ...]
    covered: float
    degrees: int | None


@dataclass(frozen=True)
class OffTarget:
    """A product's mean deviation [g], its variance over the common variance, and its batches."""

    mean_g: float
    relative_variance: float
    batches: int


def off_targets(kept: pl.DataFrame, common: WeightSpread) -> tuple[dict[str, OffTarget], float, int]:
    """Give each product's mean deviation from its target, from its batches' means.

    Parameters
    ----------
    kept : polars.DataFrame
        WEIGHINGS that are kept, samples named.
    common : WeightSpread
        Of the deviations of all of them [g]: how batches and pieces weigh against each other.

    Returns
    -------
    dict of str to OffTarget
        By product.
    float
        Common variance that the relative ones refer to [g²]; 0 where there are no degrees of freedom.
    int
        Its degrees of freedom: batches less products.

    Notes
    -----
    A batch's mean counts by 1 / (between² + within² / pieces); the variance that scales these weights is
    pooled over all products, so that one with few batches still has an interval.
    Source: gum
    """
    return grouped_means(kept, "product", common.between.value, common.within.value)


def grouped_means(
    kept: pl.DataFrame, by: str, between_g: float | None, within_g: float | None
) -> tuple[dict[str, OffTarget], float, int]:
    """Give mean deviations from target by group, from batch means.

    Parameters
    ----------
    kept : polars.DataFrame
        WEIGHINGS that are kept, samples named, with the column `by`.
    by : str
        "product", or "line".
    between_g, within_g : float or None
        Spread between and within batches [g], for the weights; all batches weigh alike where not known.

    Returns
    -------
    tuple
        As `off_targets` gives it, by group.
    """
    pieces = pl.col("pieces").cast(pl.Float64)
    off = pl.col("net_g") - pl.col("target_g")
    means = (
        kept.group_by(by, pl.coalesce("batch", "sample").alias("_batch"), maintain_order=True)
        .agg(((off * pieces).sum() / pieces.sum()).alias("off"), pieces.sum().alias("n"))
        .with_columns(w=_weight(between_g, within_g))
    )
    found: dict[str, OffTarget] = {}
    left = 0.0
    for (name,), rows in means.group_by([by], maintain_order=True):
        w, y = rows["w"].to_numpy(), rows["off"].to_numpy()
        mean = float(np.average(y, weights=w))
        left += float(np.sum(w * (y - mean) ** 2))
        found[str(name)] = OffTarget(mean, float(1 / w.sum()), rows.height)
    df = means.height - len(found)
    return found, left / df if df > 0 else 0.0, df


def _weight(between: float | None, within: float | None) -> pl.Expr:
    if between is None or within is None or not within > 0:
        return pl.lit(1.0)
    return within**2 / (between**2 + within**2 / pl.col("n"))


def week_giveaway(
    off: tuple[dict[str, OffTarget], float, int],
    made: Mapping[str, float],
    to_week: float,
    prices: Mapping[str, float | None],
) -> WeekGiveaway:
    """Sum what each product gives away in a week, in kilograms and in money.

    Parameters
    ----------
    off : tuple
        As `off_targets` gives it.
    made : mapping of str to float
        Good pieces of the period by product.
    to_week : float
        Pieces of a week over those of the period.
    prices : mapping of str to float or None
        Price a kilogram by product.

    Returns
    -------
    WeekGiveaway
        With 95 % limits. Products that were made but not weighed are named and are in no sum.

    Notes
    -----
    Kilograms are Σ pieces × mean deviation, money Σ price × pieces × mean deviation; pieces and prices are
    taken as certain beside the deviations, whose uncertainties add by squares (GUM 5.1.2) and share their
    degrees of freedom, so that the coverage factor is Student's.
    Source: gum
    """
    means, variance, df = off
    own = {p: n * to_week for p, n in made.items() if p in means}

    def told(factors: Mapping[str, float]) -> Spread:
        value = sum(means[p].mean_g * f for p, f in factors.items())
        u = math.sqrt(variance * sum(means[p].relative_variance * f**2 for p, f in factors.items()))
        interval = student_interval(value, u, df)
        return Spread.of(value, (interval.low, interval.high))

    rows = tuple(_row(p, n * to_week, prices.get(p), p in means, told) for p, n in sorted(made.items()) if p)
    priced = {p: n * price / 1000 for p, n in own.items() if (price := prices.get(p)) is not None}
    lacking = tuple(sorted(p for p in own if p not in priced))
    money = told(priced)
    why = f"cannot be told: no price_per_kg in plant.toml of {', '.join(lacking)}"
    return WeekGiveaway(
        rows, told({p: n / 1000 for p, n in own.items()}),
        Spread(None, why_none=why) if lacking else money,
        money if lacking and priced else None,
        tuple(sorted(priced)), lacking, tuple(sorted(p for p in made if p and p not in means)),
        sum(own.values()) / (sum(made.values()) * to_week), df,
    )  # fmt: skip


def _row(
    product: str,
    pieces: float,
    price: float | None,
    weighed: bool,
    told: Callable[[Mapping[str, float]], Spread],
) -> ProductGiveaway:
    if not weighed:
        none = Spread(None, why_none="cannot be told: not weighed in this period")
        return ProductGiveaway(product, pieces, none, none, price, none)
    unpriced = Spread(None, why_none="cannot be told: no price_per_kg in plant.toml")
    money = unpriced if price is None else told({product: pieces * price / 1000})
    return ProductGiveaway(
        product, pieces, told({product: 1.0}), told({product: pieces / 1000}), price, money
    )
