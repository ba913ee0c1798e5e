"""What is given away above target a week, product by product: each at its own pieces and its own price."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.machine.calendar import calendar
from lineview.machine.pieces import MachineCounts
from lineview.machine.products import read_moments
from lineview.plant import Plant
from lineview.stats.batch_correlation import LEAST_GROUPS, fit_memory
from lineview.stats.generalized_intervals import percentiles
from lineview.stats.means import student_interval
from lineview.weight.spread import WeightSpread

#: Pieces of products that were not weighed are named from this share on.
NAMED_FROM = 0.005


@dataclass(frozen=True)
class ProductGiveaway:
    """One product's part. What is not known says why; `price_per_kg` is None where none is declared."""

    product: str
    pieces_per_week: float
    off_g: Estimate
    kg_per_week: Estimate
    price_per_kg: float | None
    money_per_week: Estimate


@dataclass(frozen=True)
class WeekGiveaway:
    """All products of a week.

    `kg` is the sum over products weighed, which made `covered` of all pieces. `money` is known only where
    each of them has a price; `money_priced` is then None, else the money of those in `priced` alone.
    `degrees` are those behind the limits; None where they are of the common mean.
    """

    rows: tuple[ProductGiveaway, ...]
    kg: Estimate
    money: Estimate
    money_priced: Estimate | None
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


def off_targets(usable: pl.DataFrame, common: WeightSpread) -> tuple[dict[str, OffTarget], float, int]:
    """Each product's mean deviation from its target, from its batches' means.

    Takes `common` [g]. Gives [g²].

    A batch's mean counts by 1 / (between² + within² / pieces); the variance that scales these weights is
    pooled over all products, so that one with few batches still has an interval.
    Source: gum
    """
    return grouped_means(usable, "product", common.between.value, common.within.value)


def grouped_means(
    usable: pl.DataFrame, by: str, between_g: float | None, within_g: float | None
) -> tuple[dict[str, OffTarget], float, int]:
    """Give mean deviations from target by group, from batch means.

    Parameters
    ----------
    usable : polars.DataFrame
        WEIGHINGS that can be used.
    by : str
        The column whose values are the groups.
    between_g, within_g : float or None
        Standard deviations between and within batches [g]; without them all batches weigh alike.

    Returns
    -------
    tuple
        By group its mean deviation [g], the variance that its relative variance scales [g²], and the degrees
        of freedom of that.
    """
    means_of, squares, residuals = _group_means(usable, by, between_g, within_g)
    df = residuals.height - len(means_of)
    variance = squares / df if df > 0 else 0.0
    return means_of, variance * _widening(residuals, within_g) ** 2, df


def mean_deviations(usable: pl.DataFrame, common: WeightSpread) -> dict[str, float]:
    """Each product's mean deviation from its target alone [g], as off_targets has it. Takes `common` [g]."""
    groups = _group_means(usable, "product", common.between.value, common.within.value)[0]
    return {name: off.mean_g for name, off in groups.items()}


def _group_means(
    usable: pl.DataFrame, by: str, between_g: float | None, within_g: float | None
) -> tuple[dict[str, OffTarget], float, pl.DataFrame]:
    """Means of groups from batch means, the weighted squares left about them, and how far each batch is off."""
    pieces = pl.col("pieces").cast(pl.Float64)
    off = pl.col("net_g") - pl.col("target_g")
    means = (
        usable.group_by(by, pl.coalesce("batch", "sample").alias("_batch"), maintain_order=True)
        .agg(((off * pieces).sum() / pieces.sum()).alias("off"), pieces.sum().alias("n"))
        .with_row_index("_row")
        .with_columns(w=_weight(between_g, within_g))
    )
    groups: dict[str, OffTarget] = {}
    left = 0.0
    apart = []
    for (name,), rows in means.group_by([by], maintain_order=True):
        w, y = rows["w"].to_numpy(), rows["off"].to_numpy()
        mean = float(np.average(y, weights=w))
        left += float(np.sum(w * (y - mean) ** 2))
        groups[str(name)] = OffTarget(mean, float(1 / w.sum()), rows.height)
        apart.append(rows.select(pl.col("off") - mean, "n", "_row"))
    return groups, left, pl.concat(apart)


def _widening(means: pl.DataFrame, within_g: float | None) -> float:
    """How much less sure means are for batches that follow their neighbours, by what is left of batch means."""
    if means.height < LEAST_GROUPS or within_g is None or not within_g > 0:
        return 1.0
    rows = means.sort("_row")
    return fit_memory(rows["off"].to_numpy(), within_g**2 / rows["n"].to_numpy()).widening


def _weight(between: float | None, within: float | None) -> pl.Expr:
    if between is None or within is None or not within > 0:
        return pl.lit(1.0)
    return within**2 / (between**2 + within**2 / pl.col("n"))


def week_giveaway(
    off: tuple[dict[str, OffTarget], float, int],
    good_of: Mapping[str, float],
    to_week: float,
    prices: Mapping[str, float | None],
) -> WeekGiveaway:
    """Sum what each product gives away in a week, in kilograms and in money.

    Kilograms are Σ pieces × mean deviation, money Σ price × pieces × mean deviation; pieces and prices are
    taken as certain beside the deviations, whose uncertainties add by squares (GUM 5.1.2) and share their
    degrees of freedom, so that the coverage factor is Student's.
    Source: gum
    """
    means, variance, df = off
    weighed_week = {p: n * to_week for p, n in good_of.items() if p in means}

    def estimate(factors: Mapping[str, float]) -> Estimate:
        value = sum(means[p].mean_g * f for p, f in factors.items())
        u = math.sqrt(variance * sum(means[p].relative_variance * f**2 for p, f in factors.items()))
        interval = student_interval(value, u, df)
        return Estimate(value, interval.low, interval.high)

    rows = tuple(_row(p, n * to_week, prices.get(p), p in means, estimate) for p, n in sorted(good_of.items()) if p)
    priced = {p: n * price / 1000 for p, n in weighed_week.items() if (price := prices.get(p)) is not None}
    lacking = tuple(sorted(p for p in weighed_week if p not in priced))
    money = estimate(priced)
    why = tr("not known: no price_per_kg in plant.toml of {products}", products=", ".join(lacking))
    return WeekGiveaway(
        rows,
        estimate({p: n / 1000 for p, n in weighed_week.items()}),
        Estimate.unknown(why) if lacking else money,
        money if lacking and priced else None,
        tuple(sorted(priced)),
        lacking,
        tuple(sorted(p for p in good_of if p and p not in means)),
        sum(weighed_week.values()) / (sum(good_of.values()) * to_week),
        df,
    )


def _row(
    product: str,
    pieces: float,
    price: float | None,
    weighed: bool,
    interval_of: Callable[[Mapping[str, float]], Estimate],
) -> ProductGiveaway:
    if not weighed:
        none = Estimate.unknown(tr("not known: not weighed in this period"))
        return ProductGiveaway(product, pieces, none, none, price, none)
    unpriced = Estimate.unknown(tr("not known: no price_per_kg in plant.toml"))
    money = unpriced if price is None else interval_of({product: pieces * price / 1000})
    return ProductGiveaway(
        product, pieces, interval_of({product: 1.0}), interval_of({product: pieces / 1000}), price, money
    )


@dataclass(frozen=True)
class Giveaway:
    """Grams a piece and kilograms a week above the target; negative where pieces are light.

    `by_product` is None where the counted pieces are of one product, or are not known by product.
    """

    g_per_piece: Estimate
    kg_per_week: Estimate
    by_product: WeekGiveaway | None = None


def giveaway(
    deviation: WeightSpread, pieces_per_week: float | None, by_product: WeekGiveaway | None = None
) -> Giveaway:
    """What is given away.

    Takes `deviation` [g].
    """
    why = deviation.checks.why_no_mean
    each = Estimate(deviation.mean, deviation.mean_low, deviation.mean_high, interval=why)
    if pieces_per_week is None:
        return Giveaway(each, Estimate.unknown(tr("not known: no counter of pieces in this period")))
    if by_product is not None:
        return Giveaway(each, by_product.kg, by_product)
    return Giveaway(each, each.scaled(pieces_per_week / 1000))


def money_given(week_giveaway_of: Giveaway, weighed: Sequence[str], prices: Mapping[str, float | None]) -> Estimate:
    """The money a week that all products weighed give away."""
    if week_giveaway_of.kg_per_week.value is None:
        return week_giveaway_of.kg_per_week
    if week_giveaway_of.by_product is not None:
        return week_giveaway_of.by_product.money
    price_of = {name: prices.get(name) for name in weighed}
    lacking = sorted(name for name, price in price_of.items() if price is None)
    if lacking:
        why = tr("not known: no price_per_kg in plant.toml of {products}", products=", ".join(lacking))
        return Estimate.unknown(why)
    prices_known = {price for price in price_of.values() if price is not None}
    if len(prices_known) > 1:
        why = tr("not known: prices differ, and no batch sheet says how many pieces were of which product")
        return Estimate.unknown(why)
    return week_giveaway_of.kg_per_week.scaled(prices_known.pop())


def share_below(scaled: WeightSpread, limit: float = -1.0) -> Estimate:
    """The share of pieces below a limit, for normal pieces."""
    from scipy.special import ndtr

    if scaled.total.value is None or not scaled.total.value > 0:
        return Estimate.unknown(scaled.total.why_none or tr("not known: no spread"))
    value = float(ndtr((limit - scaled.mean) / scaled.total.value))
    why = scaled.checks.why_not_normal or scaled.total.interval
    if why:
        return Estimate(value, interval=why)
    shares = ndtr((limit - scaled.draws_mean) / np.sqrt(np.maximum(scaled.draws_total, 1e-300)))
    return Estimate(value, *percentiles(shares))


def pieces_per_week(
    plant: Plant, counts: MachineCounts, start: datetime, end: datetime
) -> tuple[float, float, float, float] | None:
    """Scale the good pieces of a period to a week."""
    at = read_moments(counts, [start, end])
    good = counts.pieces(at[:1], at[1:]).good
    good_number = None if good is None or not good.readings[0] else good.at(0).value
    if good_number is None:  # also where rejects were read for a part of the time alone
        return None
    planned = _planned_min(calendar(plant.shifts, plant.zone, start, end))
    week = _planned_min(calendar(plant.shifts, plant.zone, start, start + timedelta(days=7)))
    if not planned > 0 or not week > 0:
        return None
    return good_number * week / planned, good_number, planned, week


def _planned_min(stretches: pl.DataFrame) -> float:
    planned = stretches.filter(pl.col("part") == "planned")
    return float((planned["end"] - planned["start"]).dt.total_microseconds().sum()) / 60e6


#: A batch without an end on the sheet lasts at most this long.
LONGEST = timedelta(hours=1)


@dataclass(frozen=True)
class Yield:
    """Mass balance of the batches whose mass went in [kg]; `u` are standard uncertainties.

    `unexplained_kg` is what went in less good pieces and rejects. `rejects_kg` is None where no counter
    counts rejects: they are then within what is unexplained. `u_scale_kg` is of the mass in, by the batch
    scale's own error; None where nobody declared it, and then in no other uncertainty. `u_out_kg` is of
    good pieces and rejects together, by mean mass and counts.
    """

    batches: int
    mass_in_kg: float
    good_pieces: float
    good_kg: float
    u_good_kg: float
    rejects_kg: float | None
    u_out_kg: float
    unexplained_kg: float
    u_scale_kg: float | None = None

    @property
    def share(self) -> float:
        """Good mass over mass in."""
        return self.good_kg / self.mass_in_kg

    @property
    def u_share(self) -> float:
        """Standard uncertainty of the share."""
        return math.hypot(self.u_good_kg, self.share * (self.u_scale_kg or 0.0)) / self.mass_in_kg

    @property
    def u_unexplained_kg(self) -> float:
        """Standard uncertainty of what is unexplained [kg]."""
        return math.hypot(self.u_out_kg, self.u_scale_kg or 0.0)


def batch_yield(
    batches: pl.DataFrame,
    counts: MachineCounts,
    piece_g: Mapping[str, float],
    u_piece_g: float,
    scale_error_kg: float | None = None,
) -> Yield | None:
    """Balance the mass of batches against the pieces made of them.

    Parameters
    ----------
    batches : polars.DataFrame
        BATCHES.
    counts : MachineCounts
        Of the line's cut-and-wrap machine.
    piece_g : mapping of str to float
        Mean net mass of a piece by product as the batch sheet writes it [g].
    u_piece_g : float
        Standard uncertainty of that mean [g].
    scale_error_kg : float or None
        How far off the batch scale may be [kg].

    Returns
    -------
    Yield or None
        None where no batch has both its mass and its pieces.

    Notes
    -----
    Good mass is Σ pieces × mean mass. Its uncertainty joins that of the mean mass, which is common to all
    pieces and so does not average out, and the counts' bounds taken as rectangular (GUM 4.3.7). The batch
    scale's error is taken as rectangular too, and as the same for every batch: it does not average out.
    Source: gum
    """
    rows = _balanced_batches(batches, piece_g)
    pieces = counts.pieces(*(rows[name].to_physical().to_numpy() for name in ("start", "end")))
    if rows.is_empty() or pieces.good is None:
        return None
    countable = (pieces.good.missing_s <= 0) & ~np.isnan(pieces.good.value) & (pieces.good.readings > 0)
    if not countable.any():
        return None
    mass_in, each_kg = (rows[name].to_numpy()[countable] for name in ("mass_in_kg", "each_kg"))
    pieces_in = pieces.good.value[countable]
    good, good_kg = float(pieces_in.sum()), float((pieces_in * each_kg).sum())
    count_u2 = float((((pieces.good.high - pieces.good.low)[countable] * each_kg) ** 2).sum()) / 12
    counts_rejects = counts.has_read("rejects") and pieces.rejects is not None
    rejects_in = pieces.rejects.value[countable] if counts_rejects and pieces.rejects else np.zeros(len(pieces_in))
    reject_kg, rejects = float((rejects_in * each_kg).sum()), float(rejects_in.sum())
    batches_in = int(countable.sum())
    u_good, u_out = (math.hypot(n * u_piece_g / 1000, math.sqrt(count_u2)) for n in (good, good + rejects))
    missing_kg = float(mass_in.sum()) - good_kg - reject_kg
    u_scale = None if scale_error_kg is None else batches_in * scale_error_kg / math.sqrt(3)
    return Yield(
        batches_in,
        float(mass_in.sum()),
        good,
        good_kg,
        u_good,
        reject_kg if counts.has_read("rejects") else None,
        u_out,
        missing_kg,
        u_scale,
    )


def _balanced_batches(batches: pl.DataFrame, piece_g: Mapping[str, float]) -> pl.DataFrame:
    """From when until when pieces of each batch that can be balanced come, its mass in and the mean of a piece [kg]."""
    following = pl.col("start").shift(-1)
    end = pl.when(following - pl.col("start") <= LONGEST).then(following).otherwise("end")
    each_g = pl.col("product").fill_null("").replace_strict(dict(piece_g), default=None, return_dtype=pl.Float64)
    rows = batches.sort("start").select("start", "mass_in_kg", end=end, each_kg=each_g / 1000)
    return rows.drop_nulls().filter(pl.col("mass_in_kg") > 0)
