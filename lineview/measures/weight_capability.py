"""Capability and performance of piece weight against its tolerance, with limits that know the batches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineview.measures.weight_spread import Floats, Spread, WeightSpread
from lineview.stats.generalized_intervals import percentiles


@dataclass(frozen=True)
class WeightCapability:
    """Cp and Cpk from the spread within batches, Pp and Ppk from the total, each with 95 % limits."""

    cp: Spread
    cpk: Spread
    pp: Spread
    ppk: Spread


def weight_capability(scaled: WeightSpread) -> WeightCapability:
    """Give the indices of values that are scaled so that the limits stand at -1 and 1.

    Parameters
    ----------
    scaled : WeightSpread
        Of (net mass - target) / tolerance, so that products with several tolerances can be pooled.

    Returns
    -------
    WeightCapability
        Each index, or why it cannot be told.

    Notes
    -----
    The limits are the percentiles of the index over draws of mean and spread, in which batches, not
    pieces, count as drawn at random.
    Source: iso-22514-2, weerahandi-1993
    """
    centred = 1 - abs(scaled.mean)
    cp, cpk = _pair(scaled.within, scaled.draws_within, centred, scaled.draws_mean)
    pp, ppk = _pair(scaled.total, scaled.draws_total, centred, scaled.draws_mean)
    return WeightCapability(cp, cpk, pp, ppk)


def _pair(sd: Spread, variances: Floats, centred: float, means: Floats) -> tuple[Spread, Spread]:
    if sd.value is None or not sd.value > 0 or not variances.size:
        none = Spread(None, why_none=sd.why_none or "cannot be told: the weights show no spread")
        return none, none
    roots = 3 * np.sqrt(np.maximum(variances, 1e-300))
    wide = percentiles(1 / roots)
    # The index is the lesser of two, so its high limit is the lesser of theirs: draws on both sides of the
    # target would all fall short of a process that is centred.
    low = percentiles((1 - np.abs(means)) / roots)[0]
    high = min(percentiles((1 - side * means) / roots)[1] for side in (1, -1))
    narrow = low, high
    return Spread.of(1 / (3 * sd.value), wide), Spread.of(centred / (3 * sd.value), narrow)
