"""All that the weights of a machine say about its pieces over a period."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.frames import BATCHES, UTC_US, WEIGHTS, require
from lineview.machine.pieces import MachineCounts
from lineview.machine.products import good_by_product
from lineview.plant import Plant, Web
from lineview.weight.capability import WeightCapability, weight_capability
from lineview.weight.faults import Sorting, sort_out, with_samples
from lineview.weight.giveaway import (
    Giveaway,
    WeekGiveaway,
    Yield,
    batch_yield,
    giveaway,
    off_targets,
    pieces_per_week,
    week_giveaway,
)
from lineview.weight.spread import WeightSpread, spread_of
from lineview.wrap.use import wrap_mass_g

#: How long after a batch's end on the sheet a weight may still be of it: what stands on the table is
#: wrapped and weighed a while later.
GRACE = timedelta(minutes=15)
#: A batch number that comes again so long after it was last weighed, and after others, is another batch's.
AGAIN = timedelta(hours=8)


def with_batches(weights: pl.DataFrame, batches: pl.DataFrame, grace: timedelta = GRACE) -> pl.DataFrame:
    """Add to each weight its batch and the product the batch sheet names."""
    begun = batches.filter(pl.col("start").is_not_null()).sort("start")
    sheet = begun.unique(["batch", "start"], keep="first", maintain_order=True).select(
        at="start", sheet_batch="batch", sheet_product="product", sheet_end="end"
    )
    ordered = weights.with_columns(pl.col("batch").str.strip_chars().replace("", None)).sort("at", maintain_order=True)
    by_time = ordered.join_asof(sheet, on="at", strategy="backward", check_sortedness=False)
    # Without an end on the sheet a batch lasts until the next one starts, the last one without limit.
    limit = pl.col("sheet_end") + pl.lit(grace)
    inside = pl.col("sheet_end").is_null() | (pl.col("at") <= limit)
    timed = by_time.with_columns(
        pl.when(inside).then(pl.col("sheet_batch")).alias("sheet_batch"),
        pl.when(inside).then(pl.col("sheet_product")).alias("sheet_product"),
    )
    placed = _add_products(timed, sheet).with_columns(batch=pl.coalesce("batch", "sheet_batch"))
    nth = ((pl.col("at").diff() > AGAIN) & (pl.col("_place").diff() > 1)).fill_null(False).cum_sum().over("batch")
    name = pl.when(nth > 0).then(pl.format("{} ({})", "batch", nth + 1)).otherwise("batch")
    ordered = placed.sort("at", maintain_order=True).with_columns(_place=pl.int_range(pl.len()))
    return ordered.with_columns(batch=name).drop("sheet_batch", "sheet_product", "sheet_end", "_place")


def _add_products(timed: pl.DataFrame, sheet: pl.DataFrame) -> pl.DataFrame:
    """Add the product: of the batch the weight itself names if the sheet has it, else by time."""
    by_name = sheet.sort("at").select(
        pl.col("sheet_batch").alias("batch"), pl.col("sheet_product").alias("own_product"), "at"
    )
    # A batch number may come again: of its entries the latest before the weight counts, else the first.
    listed = timed.with_row_index("_row")
    entries = listed.filter(pl.col("batch").is_not_null()).select("_row", "batch", pl.col("at").alias("_at"))
    match = (
        entries.join(by_name, on="batch", how="inner", maintain_order="left")
        .with_columns(_late=pl.col("at") > pl.col("_at"), _away=(pl.col("at") - pl.col("_at")).abs())
        .sort("_row", "_late", "_away")
        .unique("_row", keep="first", maintain_order=True)
        .select("_row", "own_product")
    )
    joined = listed.join(match, on="_row", how="left", maintain_order="left").drop("_row")
    has_name = pl.when(pl.col("batch").is_not_null() & pl.col("own_product").is_not_null())
    return joined.with_columns(named=has_name.then(pl.col("own_product")).otherwise(pl.col("sheet_product"))).drop(
        "own_product"
    )


#: One weighing that can be used: `net_g` is the mean net mass of its `pieces` pieces [g].
WEIGHINGS: dict[str, pl.DataType] = {
    "at": UTC_US,
    "batch": pl.String(),
    "sample": pl.String(),
    "product": pl.String(),
    "target_g": pl.Float64(),
    "tolerance_g": pl.Float64(),
    "pieces": pl.Int64(),
    "mass_g": pl.Float64(),
    "wrap_g": pl.Float64(),
    "gross": pl.Boolean(),
    "net_g": pl.Float64(),
    "intake": pl.Int64(),
    "row": pl.Int64(),
}


@dataclass(frozen=True)
class PieceFacts:
    """What is known of a product's piece: target and tolerance [g], wrap [g] or None where unknown."""

    product: str
    target_g: float
    tolerance_g: float
    wrap_g: float | None


def weighings(
    weights: pl.DataFrame, batches: pl.DataFrame, facts: Mapping[str, PieceFacts], only: str = ""
) -> pl.DataFrame:
    """Give weights with batch, product and the net mass of a piece.

    Parameters
    ----------
    weights, batches : polars.DataFrame
        WEIGHTS, BATCHES.
    facts : mapping of str to PieceFacts
        By product as the batch sheet writes it.
    only : str
        The product of weights that no batch names; "" for none.

    Returns
    -------
    polars.DataFrame
        WEIGHINGS.
    """
    require(weights, WEIGHTS, "weights")
    require(batches, BATCHES, "batches")
    fact_rows = pl.DataFrame(
        [(name, f.product, f.target_g, f.tolerance_g, f.wrap_g) for name, f in facts.items()],
        schema=dict.fromkeys(("named", "product"), pl.String())
        | dict.fromkeys(("target_g", "tolerance_g", "wrap_g"), pl.Float64()),
        orient="row",
    )
    placed = with_batches(weights, batches).with_columns(
        pl.col("named").replace("", None).fill_null(pl.lit(only or None, dtype=pl.String))
    )
    joined = placed.join(fact_rows, on="named", how="left", maintain_order="left")
    wrap = pl.when(pl.col("gross").fill_null(False)).then(pl.col("wrap_g") * pl.col("pieces")).otherwise(0.0)
    net_g = (pl.col("mass_g") - wrap) / pl.when(pl.col("pieces") > 0).then(pl.col("pieces"))
    made = joined.with_columns(net_g=net_g, product=pl.coalesce("product", "named")).select(list(WEIGHINGS))
    return made.sort("at", "intake", "row", maintain_order=True)


DEVIATION = pl.col("net_g") - pl.col("target_g")
#: A 95 % interval is this many standard uncertainties wide on either side, for many degrees of freedom.
_WIDE = 1.96


@dataclass(frozen=True)
class WeightAccount:
    """Weights of one machine and what follows from them.

    `sorted` holds what was used and what was set aside. `deviation` is from each product's target [g],
    `scaled` the same over the tolerance; both None where no weight can be used.
    """

    sorting: Sorting
    unplaced: int
    target_g: float | None
    deviation: WeightSpread | None
    scaled: WeightSpread | None
    capability: WeightCapability | None
    giveaway: Giveaway | None
    week: tuple[float, float, float, float] | None
    balance: Yield | None


def piece_facts(plant: Plant, names: list[str]) -> dict[str, PieceFacts]:
    """Look up target, tolerance and wrap of each product a batch sheet names.

    Parameters
    ----------
    plant : Plant
        The works.
    names : list of str
        Products as the batch sheet writes them.
    """
    facts = {}
    for name in {*names, *(p.id for p in plant.products)}:
        product = plant.product(name)
        if product is None:
            continue
        webs_described = [plant.web(w) for w in product.webs]
        webs: list[Web] = [w for w in webs_described if w is not None]
        wrap = wrap_mass_g(webs) if len(webs) == len(webs_described) else None
        facts[name] = PieceFacts(product.id, product.mass_g, product.mass_tolerance_g, wrap)
    return facts


def weight_account(
    plant: Plant, weights: pl.DataFrame, batches: pl.DataFrame, counts: MachineCounts, period: tuple[datetime, datetime]
) -> WeightAccount:
    """Work out all that the weights of a machine say."""
    names = batches["product"].drop_nulls().unique(maintain_order=True).to_list()
    only = plant.products[0].id if len(plant.products) == 1 else ""
    facts = piece_facts(plant, names)
    all_weights = weighings(weights, batches, facts, only)
    sorting = sort_out(all_weights.filter(pl.col("target_g").is_not_null()))
    unplaced = all_weights.height - sorting.good.height - sorting.aside.height
    week = pieces_per_week(plant, counts, *period)
    if sorting.good.is_empty():
        return WeightAccount(sorting, unplaced, None, None, None, None, None, week, None)
    usable = with_samples(sorting.good)
    sorting = Sorting(usable, sorting.aside)
    deviation = spread_of(usable, DEVIATION)
    tolerances = usable["tolerance_g"].unique(maintain_order=True).to_list()
    # With one tolerance the scaled values are the deviations in another unit.
    scaled = (
        deviation.over(tolerances[0])
        if len(tolerances) == 1
        else spread_of(usable, DEVIATION, per=pl.col("tolerance_g"))
    )
    target = float(np.average(usable["target_g"].to_numpy(), weights=usable["pieces"].to_numpy()))
    balance = batch_yield(
        inside(batches, period),
        counts,
        _piece_g(usable, facts, deviation.mean),
        _u_mean(deviation),
        plant.batch_scale_error_kg,
    )
    ids = {name: f.product for name, f in facts.items()}
    good_of = good_by_product(batches, counts, ids, *period) if week and not only else {}
    split = _by_product(plant, usable, deviation, good_of, week[0] / week[1] if week and week[1] else 0.0)
    return WeightAccount(
        sorting,
        unplaced,
        target,
        deviation,
        scaled,
        weight_capability(scaled),
        giveaway(deviation, week[0] if week else None, split),
        week,
        balance,
    )


def _by_product(
    plant: Plant, usable: pl.DataFrame, deviation: WeightSpread, good_of: Mapping[str, float], to_week: float
) -> WeekGiveaway | None:
    """Split the week's giveaway, unless all pieces counted are of the one product weighed."""
    weighed = set(usable["product"].to_list())
    if not weighed & set(good_of) or not to_week > 0 or (weighed == set(good_of) and len(good_of) == 1):
        return None
    prices = {p.id: p.price_per_kg for p in plant.products}
    return week_giveaway(off_targets(usable, deviation), good_of, to_week, prices)


def inside(batches: pl.DataFrame, period: tuple[datetime, datetime]) -> pl.DataFrame:
    """The batches that start and, where it is known, end within a period.

    Parameters
    ----------
    batches : polars.DataFrame
        BATCHES.
    period : (datetime, datetime)
        From, to [UTC].
    """
    start, end = period
    return batches.filter(
        (pl.col("start") >= start) & (pl.col("start") < end) & (pl.col("end").fill_null(start) <= end)
    )


def _piece_g(usable: pl.DataFrame, facts: Mapping[str, PieceFacts], off_g: float) -> dict[str, float]:
    """The mean net mass of a piece by product as written; unweighed ones get the mean deviation."""
    pieces = pl.col("pieces").cast(pl.Float64)
    means = dict(
        usable.group_by("product", maintain_order=True).agg((pl.col("net_g") * pieces).sum() / pieces.sum()).iter_rows()
    )
    return {name: means.get(f.product, f.target_g + off_g) for name, f in facts.items()}


def _u_mean(deviation: WeightSpread) -> float:
    if deviation.mean_low is None or deviation.mean_high is None:
        return 0.0
    return (deviation.mean_high - deviation.mean_low) / (2 * _WIDE)
