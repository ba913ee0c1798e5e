"""All that the weights of a machine say about its pieces over a period."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from lineview.machine.pieces import MachineCounts
from lineview.measures.giveaway import Giveaway, giveaway
from lineview.measures.sample_times import with_samples
from lineview.measures.weighing_faults import Sorted, sort_out
from lineview.measures.weighings import PieceFacts, weighings
from lineview.measures.weight_capability import WeightCapability, weight_capability
from lineview.measures.weight_giveaway import WeekGiveaway, off_targets, week_giveaway
from lineview.measures.weight_spread import WeightSpread, spread_of
from lineview.measures.weight_week import pieces_per_week
from lineview.measures.wrap_mass import wrap_mass_g
from lineview.measures.wrap_pieces import good_by_product
from lineview.measures.yields import Yield, batch_yield
from lineview.plant import Plant, Web

DEVIATION = pl.col("net_g") - pl.col("target_g")
SCALED = DEVIATION / pl.col("tolerance_g")
#: A 95 % interval is this many standard uncertainties wide on either side, for many degrees of freedom.
_WIDE = 1.96


@dataclass(frozen=True)
class WeightAccount:
    """Weights of one machine and what follows from them.

    `sorted` holds what was used and what was set aside. `deviation` is from each product's target [g],
    `scaled` the same over the tolerance; both None where no weight can be used.
    """

    sorted: Sorted
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
        As written on the batch sheet.

    Returns
    -------
    dict
        By the name as written; names the plant does not know are left out.
    """
    facts = {}
    for name in {*names, *(p.id for p in plant.products)}:
        product = plant.product(name)
        if product is None:
            continue
        found = [plant.web(w) for w in product.webs]
        webs: list[Web] = [w for w in found if w is not None]
        wrap = wrap_mass_g(webs) if len(webs) == len(found) else None
        facts[name] = PieceFacts(product.id, product.mass_g, product.mass_tolerance_g, wrap)
    return facts


def weight_account(
    plant: Plant,
    weights: pl.DataFrame,
    batches: pl.DataFrame,
    counts: MachineCounts,
    period: tuple[datetime, datetime],
) -> WeightAccount:
    """Work out all that the weights of a machine say.

    Parameters
    ----------
    plant : Plant
        The works.
    weights : polars.DataFrame
        WEIGHTS of the machine in the period.
    batches : polars.DataFrame
        BATCHES of its line.
    counts : MachineCounts
        Of the machine.
    period : tuple of datetime
        From when to when [UTC].

    Returns
    -------
    WeightAccount
        What cannot be told is None or says why.
    """
    names = batches["product"].drop_nulls().unique().to_list()
    only = plant.products[0].id if len(plant.products) == 1 else ""
    facts = piece_facts(plant, names)
    all_weights = weighings(weights, batches, facts, only)
    found = sort_out(all_weights.filter(pl.col("target_g").is_not_null()))
    unplaced = all_weights.height - found.kept.height - found.aside.height
    week = pieces_per_week(plant, counts, *period)
    if found.kept.is_empty():
        return WeightAccount(found, unplaced, None, None, None, None, None, week, None)
    kept = with_samples(found.kept)
    found = Sorted(kept, found.aside)
    deviation = spread_of(kept, DEVIATION)
    tolerances = kept["tolerance_g"].unique().to_list()
    # With one tolerance the scaled values are the deviations in another unit.
    scaled = deviation.over(tolerances[0]) if len(tolerances) == 1 else spread_of(kept, SCALED)
    target = float(np.average(kept["target_g"].to_numpy(), weights=kept["pieces"].to_numpy()))
    balance = batch_yield(
        inside(batches, period), counts, _piece_g(kept, facts, deviation.mean), _u_mean(deviation),
        plant.batch_scale_error_kg,
    )  # fmt: skip
    ids = {name: f.product for name, f in facts.items()}
    made = good_by_product(batches, counts, ids, *period) if week and not only else {}
    split = _by_product(plant, kept, deviation, made, week[0] / week[1] if week and week[1] else 0.0)
    return WeightAccount(
        found, unplaced, target, deviation, scaled, weight_capability(scaled),
        giveaway(deviation, week[0] if week else None, split), week, balance,
    )  # fmt: skip


def _by_product(
    plant: Plant, kept: pl.DataFrame, deviation: WeightSpread, made: Mapping[str, float], to_week: float
) -> WeekGiveaway | None:
    """Split the week's giveaway, unless all pieces counted are of the one product weighed."""
    weighed = set(kept["product"].to_list())
    if not weighed & set(made) or not to_week > 0 or (weighed == set(made) and len(made) == 1):
        return None
    prices = {p.id: p.price_per_kg for p in plant.products}
    return week_giveaway(off_targets(kept, deviation), made, to_week, prices)


def inside(batches: pl.DataFrame, period: tuple[datetime, datetime]) -> pl.DataFrame:
    """Give the batches that start and, where it is known, end within a period.

    Parameters
    ----------
    batches : polars.DataFrame
        BATCHES.
    period : tuple of datetime
        From when to when [UTC].

    Returns
    -------
    polars.DataFrame
        BATCHES.
    """
    start, end = period
    return batches.filter(
        (pl.col("start") >= start) & (pl.col("start") < end) & (pl.col("end").fill_null(start) <= end)
    )


def _piece_g(kept: pl.DataFrame, facts: Mapping[str, PieceFacts], off_g: float) -> dict[str, float]:
    """Give the mean net mass of a piece by product as written; unweighed ones get the mean deviation."""
    pieces = pl.col("pieces").cast(pl.Float64)
    means = dict(kept.group_by("product").agg((pl.col("net_g") * pieces).sum() / pieces.sum()).iter_rows())
    return {name: means.get(f.product, f.target_g + off_g) for name, f in facts.items()}


def _u_mean(deviation: WeightSpread) -> float:
    if deviation.mean_low is None or deviation.mean_high is None:
        return 0.0
    return (deviation.mean_high - deviation.mean_low) / (2 * _WIDE)
