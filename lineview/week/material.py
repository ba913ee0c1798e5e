"""Candy and web that were used and not sold, line by line: what was too heavy, rejected or never counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr
from lineview.machine.counters import Floats
from lineview.machine.pieces import MachineCounts
from lineview.machine.products import good_by_product, product_spans
from lineview.plant import Plant, Product
from lineview.rope.mass import mass_change_g
from lineview.stats.means import student_interval
from lineview.weight.account import inside, piece_facts, weighings
from lineview.weight.faults import sort_out
from lineview.weight.giveaway import batch_yield, grouped_means

#: Shares of a shift's time by product: `product` is an id of plant.toml, "" where no batch says.
MIX: dict[str, pl.DataType] = {"place": pl.Int64(), "product": pl.String(), "share": pl.Float64()}


def product_mix(plant: Plant, batches: pl.DataFrame, line: str, cells: pl.DataFrame) -> pl.DataFrame:
    """Share out the time of cells (start, end, in order) among the products of BATCHES: MIX, `place` the cell's row."""
    begins, ends = (cells[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    spans = product_spans(batches, line, cells["start"][0], cells["end"][-1])
    names = [_id(plant, span.product) for span in spans]
    starts = pl.Series([span.start for span in spans]).dt.epoch("us").to_numpy()
    at = np.unique(np.concatenate((starts, begins, ends)))
    place = np.searchsorted(begins, at[:-1], side="right") - 1
    span = np.searchsorted(starts, at[:-1], side="right") - 1
    within = (place >= 0) & (span >= 0) & (at[:-1] < ends[np.maximum(place, 0)])
    length = np.diff(at)[within].astype(np.float64)
    rows = pl.DataFrame(
        {"place": place[within].astype(np.int64), "product": [names[k] for k in span[within].tolist()], "us": length}
    )
    summed = rows.group_by("place", "product", maintain_order=True).agg(pl.col("us").sum())
    return summed.with_columns(share=pl.col("us") / pl.col("us").sum().over("place")).select(list(MIX))


def _id(plant: Plant, name: str) -> str:
    product = plant.product(name) if name else None
    if product is None and not name and len(plant.products) == 1:
        product = plant.products[0]
    return "" if product is None else product.id


def cut_to_product(plant: Plant, cal: pl.DataFrame, batches: pl.DataFrame, line: str, product: str) -> pl.DataFrame:
    """A calendar cut to the time that a line is on a product.

    Parameters
    ----------
    plant : Plant
        The works.
    cal : polars.DataFrame
        CALENDAR.
    batches : polars.DataFrame
        BATCHES.
    line : str
        Id of the line.
    product : str
        As the plant names it.

    Returns
    -------
    polars.DataFrame
        CALENDAR; a stretch may come in several parts.
    """
    if not cal.height:
        return cal
    target = plant.product(product)
    spans = product_spans(batches, line, cal["start"][0], cal["end"][-1])
    on = [span for span in spans if target is not None and _id(plant, span.product) == target.id]
    rows = []
    for row in cal.iter_rows(named=True):
        for span in on:
            start, end = max(row["start"], span.start), min(row["end"], span.end)
            if end > start:
                rows.append({**row, "start": start, "end": end})
    return pl.DataFrame(rows, schema=cal.schema)


def weighed_off_target(
    plant: Plant, batches: pl.DataFrame, weights: pl.DataFrame, cells: Sequence[tuple[datetime, datetime]]
) -> pl.DataFrame:
    """Weighings of some stretches of time and how far each is off its product's target.

    Parameters
    ----------
    plant : Plant
        The works.
    batches, weights : polars.DataFrame
        BATCHES, WEIGHTS of one line.
    cells : sequence of (datetime, datetime)
        The stretches [UTC].

    Returns
    -------
    polars.DataFrame
        Columns batch and off_g [g].
    """
    facts = piece_facts(plant, batches["product"].drop_nulls().unique(maintain_order=True).to_list())
    only = plant.products[0].id if len(plant.products) == 1 else ""
    placed = weighings(weights, batches, facts, only)
    usable = sort_out(placed.filter(pl.col("target_g").is_not_null())).good
    inside = pl.lit(False)
    for start, end in cells:
        inside = inside | ((pl.col("at") >= start) & (pl.col("at") < end))
    off = pl.col("net_g") - pl.col("target_g")
    return usable.filter(inside).select(pl.coalesce("batch", "sample").alias("batch"), off.alias("off_g"))


def target_masses_g(plant: Plant, mix: pl.DataFrame, n: int) -> Floats:
    """The target mass of a piece in each shift [g]; nan where no product is known and products differ."""
    mass = {product.id: product.mass_g for product in plant.products}
    only = set(mass.values())
    fallback = only.pop() if len(only) == 1 else np.nan
    with_mass = mix.with_columns(mass=pl.col("product").replace_strict(mass, default=None))
    targets = (
        with_mass.filter(pl.col("mass").is_not_null())
        .group_by("place", maintain_order=True)
        .agg(target=(pl.col("mass") * pl.col("share")).sum() / pl.col("share").sum())
    )
    out = np.full(n, fallback)
    out[targets["place"].to_numpy()] = targets["target"].to_numpy()
    return out


@dataclass(frozen=True)
class CandyLosses:
    """Candy of one line that was used and not sold, by cause [kg], and what a kilogram of it costs.

    `used_kg` and `sold_kg` are candy used and good pieces at target mass [kg]; their difference is the sum of
    the causes that are known.
    """

    causes: Mapping[str, Estimate]
    used_kg: float
    sold_kg: float
    price_per_kg: Estimate


OFF_TARGET, HEAVY, HEAVY_ALL = (
    mark("rope off its target diameter"),
    mark("pieces over target mass, rope aside"),
    mark("pieces over target mass"),
)
REJECTED, MISSING = mark("rejects"), mark("batch mass not accounted for")
_WHY_NO_WEIGHT = mark("no piece was weighed in this period")


def candy_losses(
    plant: Plant,
    counts: Sequence[MachineCounts],
    batches: pl.DataFrame,
    weights: pl.DataFrame,
    gauges: pl.DataFrame,
    period: tuple[datetime, datetime],
) -> CandyLosses | None:
    """Work out what candy a line used and did not sell in a period [UTC]; None where no product is known.

    Takes BATCHES of the line, WEIGHTS of its machines, and gauges: at, value [mm] of the rope's diameter.
    Source: gum, derived-rope
    """
    names = batches["product"].drop_nulls().unique(maintain_order=True).to_list()
    facts = piece_facts(plant, names)
    ids = {name: fact.product for name, fact in facts.items()}
    good = _good(plant, counts, batches, ids, period)
    masses = {product.id: product for product in plant.products}
    good_of = {name: n for name, n in good.items() if name in masses}
    if not good_of or not masses:
        return None
    only = plant.products[0].id if len(plant.products) == 1 else ""
    placed = weighings(weights, batches, facts, only)
    off = _off_target(masses, sort_out(placed.filter(pl.col("target_g").is_not_null())).good)
    over = _over_target(good_of, off)
    rope = _rope_part(masses, good_of, batches, gauges)
    rejects = _rejects_kg(counts, good_of, off, period)
    missing = _unaccounted_kg(plant, counts, batches, {n: off.piece_g[i] for n, i in ids.items()}, off, period)
    sold_kg = sum(n * masses[name].mass_g for name, n in good_of.items()) / 1000
    used_kg = sum(n * off.piece_g[name] for name, n in good_of.items()) / 1000
    used_kg += (rejects.value or 0.0) + (missing.value or 0.0)
    return CandyLosses(_causes(over, rope, rejects, missing), used_kg, sold_kg, _price(masses, good_of))


def _good(
    plant: Plant,
    counts: Sequence[MachineCounts],
    batches: pl.DataFrame,
    ids: Mapping[str, str],
    period: tuple[datetime, datetime],
) -> dict[str, float]:
    """Good pieces by product over the line's machines; "" are those of no known product."""
    if not batches.height and len(plant.products) == 1:
        ids = {"": plant.products[0].id}
    good_of: dict[str, float] = {}
    for machine in counts:
        for name, pieces in good_by_product(batches, machine, ids, *period).items():
            good_of[name] = good_of.get(name, 0.0) + pieces
    return good_of


@dataclass(frozen=True)
class _OffTarget:
    """How far pieces are off their targets: the mean mass of each product's piece [g], and how sure it is.

    Products that were not weighed are taken to be off by the mean of the others; without any weighing `df`
    is 0 and pieces are taken to have their target mass.
    """

    piece_g: Mapping[str, float]
    off_g: Mapping[str, float]
    variance_g2: Mapping[str, float]
    df: int
    n: int


def _off_target(products: Mapping[str, Product], usable: pl.DataFrame) -> _OffTarget:
    targets = {name: product.mass_g for name, product in products.items()}
    if not usable.height:
        return _OffTarget(targets, dict.fromkeys(targets, 0.0), dict.fromkeys(targets, 0.0), 0, 0)
    groups, variance, df = grouped_means(usable, "product", None, None)
    batches = sum(group.batches for group in groups.values())
    pooled = sum(group.mean_g * group.batches for group in groups.values()) / batches
    off = {name: groups[name].mean_g if name in groups else pooled for name in targets}
    share = {name: groups[name].relative_variance if name in groups else 1 / batches for name in targets}
    return _OffTarget(
        {name: targets[name] + off[name] for name in targets},
        off,
        {name: variance * part for name, part in share.items()},
        df,
        usable.height,
    )


def _over_target(good_of: Mapping[str, float], off: _OffTarget) -> Estimate:
    """What good pieces weigh above target in all [kg]."""
    if not off.n:
        return Estimate.unknown(tr(_WHY_NO_WEIGHT))
    value = sum(n * off.off_g[name] for name, n in good_of.items())
    variance = sum(n**2 * off.variance_g2[name] for name, n in good_of.items())
    return student_interval(value / 1000, float(np.sqrt(variance)) / 1000, off.df, n=off.n)


def _rope_part(
    products: Mapping[str, Product], good_of: Mapping[str, float], batches: pl.DataFrame, gauges: pl.DataFrame
) -> Estimate:
    """What the rope's mean diameter off its target adds to the good pieces [kg]."""
    if not gauges.height:
        return Estimate.unknown(tr("no readings of the rope's diameter"))
    sheet = (
        batches.filter(pl.col("start").is_not_null())
        .sort("start")
        .select(at="start", end=pl.col("end").fill_null(pl.col("start").shift(-1)), product="product", batch="start")
    )
    if not sheet.height:
        return Estimate.unknown(tr("no batch tells which product's diameter it was"))
    ids = {
        name: _product_id(products, name)
        for name in sheet["product"].drop_nulls().unique(maintain_order=True).to_list()
    }
    target = {name: products[pid].diameter_mm for name, pid in ids.items() if pid}
    read = gauges.sort("at").join_asof(sheet, on="at", strategy="backward", check_sortedness=False)
    read = read.filter(pl.col("end").is_null() | (pl.col("at") <= pl.col("end"))).with_columns(
        target=pl.col("product").replace_strict(target, default=None, return_dtype=pl.Float64),
        product=pl.col("product").replace_strict(ids, default=None, return_dtype=pl.String),
    )
    means = (
        read.filter(pl.col("target").is_not_null())
        .group_by("batch", "product", "target", maintain_order=True)
        .agg(pl.col("value").median())
        .with_columns(off=pl.col("value") - pl.col("target"))
        .group_by("product", maintain_order=True)
        .agg(mean=pl.col("off").mean(), sd=pl.col("off").std(), n=pl.len())
    )
    if not means.height or means["n"].sum() <= means.height:
        return Estimate.unknown(tr("too few batches with readings of the rope's diameter"))
    return _rope_kg(products, good_of, means)


def _product_id(products: Mapping[str, Product], name: str) -> str | None:
    key = name.strip().casefold()
    for product in products.values():
        if key in {n.casefold() for n in (product.id, product.flavour, *product.also_called)}:
            return product.id
    return None


def _rope_kg(products: Mapping[str, Product], good_of: Mapping[str, float], means: pl.DataFrame) -> Estimate:
    df = float(means["n"].sum() - means.height)
    pooled = float((means["sd"].fill_null(0.0) ** 2 * (means["n"] - 1)).sum()) / df
    value, variance = 0.0, 0.0
    for name, mean, n in means.select("product", "mean", "n").iter_rows():
        product, pieces = products[name], good_of.get(name, 0.0)
        grams = mass_change_g(product.mass_g, product.diameter_mm, mean)
        slope = 2 * product.mass_g / product.diameter_mm
        value += pieces * grams / 1000
        variance += (pieces * slope / 1000) ** 2 * pooled / n
    return student_interval(value, float(np.sqrt(variance)), df, n=int(means["n"].sum()))


def _rejects_kg(
    counts: Sequence[MachineCounts], good_of: Mapping[str, float], off: _OffTarget, period: tuple[datetime, datetime]
) -> Estimate:
    """Candy in rejects [kg], each of the mean mass of a piece."""
    mean_g = sum(n * off.piece_g[name] for name, n in good_of.items()) / sum(good_of.values())
    parts = [machine.between(period).rejects for machine in counts]
    rejects = [part.at(0) for part in parts if part is not None]
    if len(rejects) < len(parts):
        return Estimate.unknown(tr("nothing counts rejects"))
    return Estimate.sum(rejects).scaled(mean_g / 1000)


def _unaccounted_kg(
    plant: Plant,
    counts: Sequence[MachineCounts],
    batches: pl.DataFrame,
    piece_g: Mapping[str, float],
    off: _OffTarget,
    period: tuple[datetime, datetime],
) -> Estimate:
    """Mass of batches that neither good pieces nor rejects account for [kg]."""
    if len(counts) != 1:
        return Estimate.unknown(tr("several machines share the line's batches"))
    if not off.n:
        return Estimate.unknown(tr("the mean mass of a piece is not known: {why}", why=tr(_WHY_NO_WEIGHT)))
    u_piece = float(np.sqrt(np.mean(list(off.variance_g2.values()))))
    balance = batch_yield(inside(batches, period), counts[0], piece_g, u_piece, plant.batch_scale_error_kg)
    if balance is None:
        return Estimate.unknown(tr("no batch with its mass and its pieces"))
    return Estimate.expanded(balance.unexplained_kg, balance.u_unexplained_kg, balance.batches, "k = 2")


def _causes(over: Estimate, rope: Estimate, rejects: Estimate, missing: Estimate) -> dict[str, Estimate]:
    causes = {REJECTED: rejects, OFF_TARGET: rope}
    if rope.value is None:
        causes[HEAVY_ALL] = over
    elif over.value is None:
        # The rope's part is of what pieces weigh, and that is not known.
        causes |= {OFF_TARGET: Estimate.unknown(tr(_WHY_NO_WEIGHT)), HEAVY: over}
    else:
        causes[HEAVY] = over - rope
    return causes | {MISSING: missing}


def _price(products: Mapping[str, Product], good_of: Mapping[str, float]) -> Estimate:
    """What a kilogram of the period's mix costs to make; unknown where a product made has no price."""
    lacking = sorted(name for name in good_of if products[name].price_per_kg is None)
    if lacking:
        return Estimate.unknown(tr("no price_per_kg in plant.toml of {products}", products=", ".join(lacking)))
    kg = {name: n * products[name].mass_g for name, n in good_of.items()}
    return Estimate.exact(sum(w * (products[n].price_per_kg or 0.0) for n, w in kg.items()) / sum(kg.values()))
