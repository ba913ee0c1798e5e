"""Lots of bags drawn from a bag's law, and how many of them pass the rules."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lineview.measures.bag_law import Floats, Law
from lineview.measures.contents_rules import ContentsRules, Sampling

#: Evenly likely masses that stand for a bag's law when lots are drawn.
TABLE = 1 << 17
SEED = 133
#: Masses drawn at once at most.
BLOCK = 2_000_000
#: Draws of up to so many masses are kept for the next call.
KEPT = 300_000


@dataclass(frozen=True)
class BagPieces:
    """What bags are filled with and how they come to a lot.

    Parameters
    ----------
    piece : Law
        Of one piece within a batch of mean size.
    sd_batch_g : float
        Spread of a piece's mass between batches [g]; it shifts all pieces of a bag alike.
    batches : int
        Batches that the lot's bags come from; each bag is filled from one of them.
    """

    piece: Law
    sd_batch_g: float
    batches: int


@dataclass(frozen=True)
class Chance:
    """Chance that a lot passes, and what most often fails it.

    `mean_fails`, `beyond_fails` are the shares of lots that fail by their mean or by single bags.
    """

    passing: float
    mean_fails: float
    beyond_fails: float
    bag_mean_g: float
    bag_sd_g: float


@dataclass(frozen=True)
class Lots:
    """What decides over each lot drawn [g]: how far its mean is above what it must reach, and single bags.

    `bags_spare` is the least that any bag which counts has above its own limit. `total` and `total_square`
    sum all bags of all lots.
    """

    mean_spare: Floats
    bags_spare: Floats
    bags: int
    total: float
    total_square: float

    def chance(self) -> Chance:
        """Give the shares of lots that pass and fail."""
        mean_ok, bags_ok = self.mean_spare >= 0, self.bags_spare >= 0
        lots = self.mean_spare.size
        mean = self.total / self.bags
        sd = math.sqrt(max(self.total_square / self.bags - mean**2, 0.0))
        failed = [float((~ok).sum()) / lots for ok in (mean_ok, bags_ok)]
        return Chance(float((mean_ok & bags_ok).sum()) / lots, failed[0], failed[1], mean, sd)

    def passing_if_moved(self, by_g: float) -> float:
        """Give the share of lots that pass where every bag is heavier by so much [g]."""
        spare = np.minimum(self.mean_spare, self.bags_spare)
        return float((spare >= -by_g).sum()) / spare.size


def _draw(rng: np.random.Generator, lots: int, n: int, batches: int) -> tuple[Floats, NDArray[np.int64]]:
    """Draw the standard shift of each bag's batch, and its place in the law."""
    shifts = rng.standard_normal((lots, batches))
    shift = np.take_along_axis(shifts, rng.integers(0, batches, (lots, n)), axis=1)
    return shift, rng.integers(0, TABLE, (lots, n))


@lru_cache(maxsize=4)
def _drawn(lots: int, n: int, batches: int) -> tuple[Floats, NDArray[np.int64]]:
    """Draw few lots as at every call, so that a search draws them once."""
    return _draw(np.random.default_rng(SEED), lots, n, batches)


def draw_lots(
    pieces: BagPieces, law: Law, shifted: int, label_g: float, plan: Sampling, rules: ContentsRules, lots: int
) -> Lots:
    """Draw lots and measure each by the rules.

    Parameters
    ----------
    pieces : BagPieces
        For the spread between batches.
    law : Law
        Of a bag within its batch.
    shifted : int
        Pieces of a bag that bear its batch's shift; 0 where filling stops by the scale.
    label_g : float
        Net mass on the label [g].
    plan : Sampling
        For the lot's size.
    rules : ContentsRules
        To be passed.
    lots : int
        How many.

    Returns
    -------
    Lots
        One value a lot.

    Notes
    -----
    Source: derived-bag-plan
    """
    table = law.quantiles((np.arange(TABLE) + 0.5) / TABLE)
    n = plan.packages or 1
    rng = np.random.default_rng(SEED)
    block = max(1, BLOCK // n)
    parts = []
    for begin in range(0, lots, block):
        size = min(block, lots - begin)
        few = lots * n <= KEPT
        shift, place = _drawn(lots, n, pieces.batches) if few else _draw(rng, size, n, pieces.batches)
        net = table[place]
        if shifted and pieces.sd_batch_g > 0:
            net += shifted * pieces.sd_batch_g * shift
        parts.append(_measured(net, label_g, plan, rules))
    spares = [np.concatenate([p[i] for p in parts]) for i in (0, 1)]
    return Lots(spares[0], spares[1], lots * n, sum(p[2] for p in parts), sum(p[3] for p in parts))


def _measured(
    net: Floats, label_g: float, plan: Sampling, rules: ContentsRules
) -> tuple[Floats, Floats, float, float]:
    mean_n = plan.mean_packages or plan.packages or 1
    first = net[:, :mean_n]
    slack = (plan.mean_factor or 0.0) * (first.std(axis=1, ddof=1) if mean_n > 1 else 0.0)
    allowance = rules.allowance_g(label_g)
    # So many bags may be short by more than the allowance: the next one is the lightest that counts.
    counts = min(plan.beyond, net.shape[1] - 1)
    ordered = np.partition(net, counts, axis=1)
    spare = ordered[:, counts] - (label_g - allowance)
    if plan.beyond >= net.shape[1]:
        spare = np.full(net.shape[0], np.inf)
    if rules.never_beyond is not None:
        least = ordered[:, : counts + 1].min(axis=1)
        spare = np.minimum(spare, least - (label_g - rules.never_beyond * allowance))
    return first.mean(axis=1) - (label_g - slack), spare, float(net.sum()), float((net**2).sum())
