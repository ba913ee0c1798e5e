"""What is given away above the target, and the target that the present spread would allow."""

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


def achievable_target(deviation: WeightSpread, allowance_g: float, share: float = 0.95) -> Spread:
    """Give how far above the least mean the target must stand for batches to stay above it.

    Parameters
    ----------
    deviation : WeightSpread
        Of net mass less target [g].
    allowance_g : float
        How far a batch's mean may fall below the label's mass a piece [g]; 0 for not at all.
    share : float
        Of batches whose mean shall not fall lower.

    Returns
    -------
    Spread
        Grams above the label's mass a piece at which the target must stand: z × spread between batches
        less the allowance, not below 0, with 95 % limits.

    Notes
    -----
    Source: derived-target
    """
    from scipy.special import ndtri

    sd = deviation.between
    if sd.value is None:
        return Spread(None, why_none=sd.why_none)
    z = float(ndtri(share))
    low, high = (None if v is None else max(z * v - allowance_g, 0.0) for v in (sd.low, sd.high))
    return Spread(max(z * sd.value - allowance_g, 0.0), low, high)


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
