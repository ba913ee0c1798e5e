"""What is given away above the target, and the share of pieces below a limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from lineview.measures.weight_giveaway import WeekGiveaway
from lineview.measures.weight_spread import Spread, WeightSpread
from lineview.stats.generalized_intervals import percentiles


@dataclass(frozen=True)
class Giveaway:
    """Grams a piece and kilograms a week above the target; negative where pieces are light.

    `by_product` is None where the counted pieces are of one product, or cannot be told by product.
    """

    g_per_piece: Spread
    kg_per_week: Spread
    by_product: WeekGiveaway | None = None


def giveaway(
    deviation: WeightSpread, pieces_per_week: float | None, by_product: WeekGiveaway | None = None
) -> Giveaway:
    """Give what is given away.

    Parameters
    ----------
    deviation : WeightSpread
        Of net mass less target [g].
    pieces_per_week : float or None
        Good pieces a week; None where nothing counts them.
    by_product : WeekGiveaway, optional
        Where several products were made: its sum is then the week's kilograms.

    Returns
    -------
    Giveaway
        With 95 % limits from those of the mean.
    """
    each = Spread(deviation.mean, deviation.mean_low, deviation.mean_high)
    if pieces_per_week is None:
        return Giveaway(each, Spread(None, why_none="cannot be told: no counter of pieces in this period"))
    if by_product is not None:
        return Giveaway(each, by_product.kg, by_product)
    factor = pieces_per_week / 1000
    low, high = (None if v is None else v * factor for v in (each.low, each.high))
    return Giveaway(each, Spread(deviation.mean * factor, low, high))


def money_given(given: Giveaway, weighed: Sequence[str], prices: Mapping[str, float | None]) -> Spread:
    """Give the money a week that all products weighed give away.

    Parameters
    ----------
    given : Giveaway
        In kilograms.
    weighed : sequence of str
        Products weighed.
    prices : mapping of str to float or None
        Price a kilogram by product.

    Returns
    -------
    Spread
        Told product by product, or at the one price of all; else why not, naming what has no price.
    """
    if given.kg_per_week.value is None:
        return given.kg_per_week
    if given.by_product is not None:
        return given.by_product.money
    known = {name: prices.get(name) for name in weighed}
    lacking = sorted(name for name, price in known.items() if price is None)
    if lacking:
        why = f"cannot be told: no price_per_kg in plant.toml of {', '.join(lacking)}"
        return Spread(None, why_none=why)
    found = {price for price in known.values() if price is not None}
    if len(found) > 1:
        why = "cannot be told: prices differ, and no batch sheet says how many pieces were of which product"
        return Spread(None, why_none=why)
    return given.kg_per_week.times(found.pop())


def share_below(scaled: WeightSpread, limit: float = -1.0) -> Spread:
    """Give the share of pieces below a limit, for normal pieces.

    Parameters
    ----------
    scaled : WeightSpread
        Of (net mass - target) / tolerance.
    limit : float
        In tolerances from the target; -1 is the lower tolerance.

    Returns
    -------
    Spread
        Share, from 0 to 1, with 95 % limits.
    """
    from scipy.special import ndtr

    if scaled.total.value is None or not scaled.total.value > 0:
        return Spread(None, why_none=scaled.total.why_none or "cannot be told: no spread")
    drawn = ndtr((limit - scaled.draws_mean) / np.sqrt(scaled.draws_total))
    return Spread.of(float(ndtr((limit - scaled.mean) / scaled.total.value)), percentiles(drawn))
