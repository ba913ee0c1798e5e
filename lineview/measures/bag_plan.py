"""Plan a bag that meets its label: the least count, or the least fill, for a wanted chance of passing."""

from __future__ import annotations

import math

from lineview.errors import Fault, MeasureError
from lineview.measures.bag_law import Filling, bag_by_count, bag_by_weight
from lineview.measures.bag_lots import BagPieces, Chance, draw_lots
from lineview.measures.contents_rules import ContentsRules

LOTS = 40_000


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
    return draw_lots(pieces, law, count, label_g, rules.plan(lot), rules, lots).chance()


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
    return draw_lots(pieces, law, 0, label_g, rules.plan(lot), rules, lots).chance()


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
    # A bag whose mean is a hundredth short is not tried: the mean bag must hold its label.
    count = max(1, math.ceil(0.99 * label_g / mean))
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

    # Moving every piece moves every bag alike, so the lots need to be drawn only once.
    drawn = draw_lots(pieces, law, count, label_g, plan, rules, lots)

    def enough(mean: float) -> bool:
        return drawn.passing_if_moved(count * (mean - pieces.piece.mean_g)) >= wanted

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
    plan, filling = rules.plan(lot), Filling(pieces.piece, base + span * step_g)
    while high - low > 1:
        middle = (low + high) // 2
        law = filling.bag(base + middle * step_g)
        found = draw_lots(pieces, law, 0, label_g, plan, rules, lots).chance()
        enough = found.passing >= wanted and found.bag_mean_g >= label_g
        low, high = (low, middle) if enough else (middle, high)
    fill = base + high * step_g
    return fill, chance_by_weight(pieces, fill, label_g, lot, rules, lots)
