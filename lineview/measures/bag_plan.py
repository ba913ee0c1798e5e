"""Plan a bag that meets its label: the least count, or the least fill, for a wanted chance of passing."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from lineview.errors import Fault, MeasureError
from lineview.measures.bag_law import Law, bag_by_count, bag_by_weight
from lineview.measures.contents_rules import ContentsRules, Sampling

LOTS = 40_000
#: Evenly likely masses that stand for a bag's law when lots are drawn.
TABLE = 1 << 17
SEED = 133


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


def chance_by_count(
    pieces: BagPieces, count: int, label_g: float, lot: int, rules: ContentsRules, lots: int = LOTS
) -> Chance:
    """Give the chance that a lot of bags filled by count passes.

    Parameters
    ----------
    pieces : BagPieces
        What the bags are filled with.
    count : int
        Pieces in each bag.
    label_g : float
        Net mass on the label [g].
    lot : int
        Bags in the lot.
    rules : ContentsRules
        To be passed.
    lots : int
        Lots drawn from the convolved law; 40 000 tell the chance to ± half a percentage point.

    Returns
    -------
    Chance
        With its two ways to fail.

    Notes
    -----
    The law of a bag within its batch is the convolution of the pieces' own; the sample is then drawn from
    it, each bag with the shift of a batch drawn at random among the lot's.
    Source: derived-bag-plan
    """
    law = bag_by_count(pieces.piece, count)

    # A shift common to all pieces moves the law of their sum by count × shift, exactly.
    return _chance(pieces, rules.plan(lot), label_g, rules, lots, law, count)


def chance_by_weight(
    pieces: BagPieces, fill_g: float, label_g: float, lot: int, rules: ContentsRules, lots: int = LOTS
) -> Chance:
    """Give the chance that a lot of bags filled to a mass passes.

    Parameters
    ----------
    pieces : BagPieces
        What the bags are filled with.
    fill_g : float
        Mass at which filling stops [g].
    label_g, lot, rules, lots
        As in `chance_by_count`.

    Returns
    -------
    Chance
        A batch's shift changes little here: filling stops by the scale.
    """
    law = bag_by_weight(pieces.piece, fill_g)
    return _chance(pieces, rules.plan(lot), label_g, rules, lots, law, 0)


def _chance(
    pieces: BagPieces,
    plan: Sampling,
    label_g: float,
    rules: ContentsRules,
    lots: int,
    law: Law,
    shifted: int,
) -> Chance:
    """Draw lots and see how many pass; `shifted` pieces of a bag bear its batch's shift."""
    table = law.quantiles((np.arange(TABLE) + 0.5) / TABLE)
    rng = np.random.default_rng(SEED)
    n = plan.packages or 1
    mean_n = plan.mean_packages or n
    allowance = rules.allowance_g(label_g)
    passed = mean_failed = beyond_failed = 0
    total = total_square = 0.0
    block = max(1, 2_000_000 // max(n, 1))
    for begin in range(0, lots, block):
        size = min(block, lots - begin)
        shifts = rng.normal(0.0, pieces.sd_batch_g, (size, pieces.batches))
        which = rng.integers(0, pieces.batches, (size, n))
        net = table[rng.integers(0, TABLE, (size, n))]
        if shifted:
            net += shifted * np.take_along_axis(shifts, which, axis=1)
        first = net[:, :mean_n]
        slack = (plan.mean_factor or 0.0) * (first.std(axis=1, ddof=1) if mean_n > 1 else 0.0)
        mean_ok = first.mean(axis=1) >= label_g - slack
        beyond_ok = (net < label_g - allowance).sum(axis=1) <= plan.beyond
        if rules.never_beyond is not None:
            beyond_ok &= net.min(axis=1) >= label_g - rules.never_beyond * allowance
        passed += int((mean_ok & beyond_ok).sum())
        mean_failed += int((~mean_ok).sum())
        beyond_failed += int((~beyond_ok).sum())
        total += float(net.sum())
        total_square += float((net**2).sum())
    mean = total / (lots * n)
    sd = math.sqrt(max(total_square / (lots * n) - mean**2, 0.0))
    return Chance(passed / lots, mean_failed / lots, beyond_failed / lots, mean, sd)


def smallest_count(
    pieces: BagPieces,
    label_g: float,
    lot: int,
    rules: ContentsRules,
    wanted: float = 0.95,
    lots: int = LOTS,
) -> tuple[int, Chance]:
    """Find the least number of pieces in a bag for a wanted chance of passing.

    The mean bag must hold its label too: what a test's sampling allows is not there to be filled less.

    Parameters
    ----------
    pieces, label_g, lot, rules
        As in `chance_by_count`.
    wanted : float
        Chance of a lot to pass.
    lots : int
        As in `chance_by_count`.

    Returns
    -------
    int
        Pieces in a bag.
    Chance
        With that count.

    Raises
    ------
    MeasureError
        Where no bag up to half again the label's mass is good enough.
    """
    mean = pieces.piece.mean_g
    count = max(1, math.floor(0.97 * label_g / mean))
    while count * mean <= 1.5 * label_g + mean:
        found = chance_by_count(pieces, count, label_g, lot, rules, lots)
        if found.passing >= wanted and found.bag_mean_g >= label_g:
            return count, found
        count += 1
    raise MeasureError(
        Fault("no bag up to half again the label passes as often", "wanted", "less spread, or a lower chance")
    )


def smallest_mean(
    pieces: BagPieces,
    count: int,
    label_g: float,
    lot: int,
    rules: ContentsRules,
    wanted: float = 0.95,
    lots: int = LOTS,
) -> float:
    """Find the least mean piece with which bags of so many pieces pass as often as wanted.

    It is the target that the present spread allows: its law is moved, its shape and spread stay.

    Parameters
    ----------
    pieces : BagPieces
        What the bags are filled with.
    count : int
        Pieces in each bag.
    label_g, lot, rules
        As in `chance_by_count`.
    wanted : float
        Chance of a lot to pass.
    lots : int
        As in `chance_by_count`.

    Returns
    -------
    float
        Mean mass of a piece [g], to a thousandth; never below the label over the count.
    """
    law = bag_by_count(pieces.piece, count)
    plan = rules.plan(lot)
    low = label_g / count
    high = low + (rules.allowance_g(label_g) + 5 * law.sd_g) / count + 3 * pieces.sd_batch_g

    def enough(mean: float) -> bool:
        moved = replace(law, start_g=law.start_g + count * (mean - pieces.piece.mean_g))
        return _chance(pieces, plan, label_g, rules, lots, moved, count).passing >= wanted

    if enough(low):
        return low
    while high - low > 0.001:
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def smallest_fill(
    pieces: BagPieces,
    label_g: float,
    lot: int,
    rules: ContentsRules,
    wanted: float = 0.95,
    step_g: float = 0.1,
    lots: int = LOTS,
) -> tuple[float, Chance]:
    """Find the least mass at which to stop filling for a wanted chance of passing.

    Parameters
    ----------
    pieces, label_g, lot, rules, wanted
        As in `smallest_count`.
    step_g : float
        Step of the fill [g].
    lots : int
        As in `chance_by_count`.

    Returns
    -------
    float
        Mass at which filling stops [g].
    Chance
        With that fill.
    """
    low, high = 0, math.ceil((pieces.piece.mean_g * 1.5 + rules.allowance_g(label_g)) / step_g)
    base = label_g - high * step_g
    span = 2 * high
    low, high = 0, span
    while high - low > 1:
        middle = (low + high) // 2
        found = chance_by_weight(pieces, base + middle * step_g, label_g, lot, rules, lots)
        enough = found.passing >= wanted and found.bag_mean_g >= label_g
        low, high = (low, middle) if enough else (middle, high)
    fill = base + high * step_g
    return fill, chance_by_weight(pieces, fill, label_g, lot, rules, lots)
