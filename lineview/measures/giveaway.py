"""What is given away above the target, and the share of pieces below a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineview.measures.weight_spread import Spread, WeightSpread
from lineview.statistics.generalized_intervals import percentiles


@dataclass(frozen=True)
class Giveaway:
    """Grams a piece and kilograms a week above the target; negative where pieces are light."""

    g_per_piece: Spread
    kg_per_week: Spread


def giveaway(deviation: WeightSpread, pieces_per_week: float | None) -> Giveaway:
    """Give what is given away.

    Parameters
    ----------
    deviation : WeightSpread
        Of net mass less target [g].
    pieces_per_week : float or None
        Good pieces a week; None where nothing counts them.

    Returns
    -------
    Giveaway
        With 95 % limits from those of the mean.
    """
    each = Spread(deviation.mean, deviation.mean_low, deviation.mean_high)
    if pieces_per_week is None:
        return Giveaway(each, Spread(None, why_none="cannot be told: no counter of pieces in this period"))
    factor = pieces_per_week / 1000
    low, high = (None if v is None else v * factor for v in (each.low, each.high))
    return Giveaway(each, Spread(deviation.mean * factor, low, high))


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
