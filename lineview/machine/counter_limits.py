"""What a counter's readings show about the counter: where it turns, how fast it goes, what one count is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: How many values counters have before they start again at 0: binary and decimal registers.
MODULI = (10_000, 32_768, 65_536, 100_000, 1_000_000, 10_000_000, 16_777_216, 100_000_000, 2_147_483_648, 4_294_967_296)
#: Where a counter kept as a number of 32 bits with a point stops: one more is the same number.
_SINGLE = 16_777_216
#: Rates are looked at over stretches of at least this length [s].
RATE_OVER_S = 55.0
#: What is kept free above the fastest rate seen.
ROOM = 1.25
#: A counter read oftener than this at the last value of its register stopped there.
MOST_AT_TOP = 5
#: A counter that was set back reads at most this share of its values.
SET_BACK = 0.03
#: Steps in which displays show rounded counts, and how many values show that they do.
TENS, ENOUGH_VALUES = (10_000, 1_000, 100, 10), 20
#: Read further apart than this [s], a counter that falls in more than this share of its changes turns that often.
SELDOM_S, OFTEN = 1200.0, 0.15
#: Web drawn for a piece, from and to [m]: within a tenfold range, so that one decade of unit fits.
WEB_PER_PIECE_M = (0.02, 0.2)


@dataclass(frozen=True)
class CounterLimits:
    """What was learned of a counter.

    Parameters
    ----------
    modulus : int or None
        How many values it has; None where it was not seen to turn.
    fastest_per_min : float
        A rate it does not exceed, in counts; 0 where it never moved.
    turns, resets : int
        How often it turned, and how often it fell otherwise.
    total : float
        Counts that its readings hold, falls other than turns left out.
    whole : bool
        Whether every reading is a whole number.
    moves_by : int
        The power of ten of which every reading is a multiple, or the step of numbers of 32 bits with a point;
        1 where too few values were seen.
    """

    modulus: int | None
    fastest_per_min: float
    turns: int
    resets: int
    total: float
    whole: bool
    moves_by: int = 1


def counter_limits(at_s: Floats, value: Floats) -> CounterLimits:
    """Learn a counter's modulus and fastest rate from its readings.

    Parameters
    ----------
    at_s : array of float
        Moments [s], rising.
    value : array of float
        Readings, in counts.

    Returns
    -------
    CounterLimits
        A modulus only where every fall is a turn of it.
    """
    changes = np.diff(value)[np.diff(value) != 0]
    turns_often = len(changes) and float(np.median(np.diff(at_s))) > SELDOM_S and (changes < 0).mean() > OFTEN
    plausible = ~odd_readings(value) | turns_often
    at_s, value = at_s[plausible], value[plausible]
    step, seconds = np.diff(value), np.diff(at_s)
    rate = _fast(at_s, value)
    falls = np.flatnonzero(step < 0)
    modulus, turns = _modulus(value, step, seconds, falls, rate)
    total = float(step[step > 0].sum()) + sum(float(step[i]) + (modulus or 0) for i in turns)
    is_whole = bool(np.all(value == np.round(value)))
    resets = len(falls) - len(turns)
    return CounterLimits(modulus, _round_up(rate * ROOM), len(turns), resets, total, is_whole, _moves_by(value))


def _moves_by(value: Floats) -> int:
    distinct = np.unique(value)
    beyond = distinct[distinct > _SINGLE]
    if len(beyond) >= ENOUGH_VALUES and (beyond.astype(np.float32) == beyond).all():
        return int(np.spacing(np.float32(beyond[-1])))
    return next((ten for ten in TENS if not np.any(distinct % ten)), 1) if len(distinct) >= ENOUGH_VALUES else 1


def odd_readings(value: Floats) -> NDArray[np.bool_]:
    """Which readings stand outside their neighbours, while these follow from each other.

    Parameters
    ----------
    value : array of float
        Readings of a counter, in counts.

    Returns
    -------
    array of bool
        Such as a read of all ones, of half a number, or zeros while nothing answers.
    """
    if len(value) < 3:
        return np.zeros(len(value), bool)
    run = np.concatenate(([0], np.cumsum(np.diff(value) != 0)))  # what stands in place of values lasts for a while
    values = value[np.flatnonzero(np.diff(run, prepend=-1))]
    odd = np.zeros(len(values), bool)
    before, middle, after = values[:-2], values[1:-1], values[2:]
    follow = (after >= before) & (after - before <= np.maximum(np.abs(middle - before), np.abs(middle - after)) / 4)
    odd[1:-1] = follow & ((middle < before) | (middle > after))
    return odd[run]


def _fast(at_s: Floats, value: Floats) -> float:
    """A rate that was reached now and then and hardly exceeded [counts/min], spikes aside."""
    keep = np.concatenate([[True], np.diff(at_s // RATE_OVER_S) > 0])
    at_s, value = at_s[keep], value[keep]
    step, minutes = np.diff(value), np.diff(at_s) / 60.0
    rates = step[(step > 0) & (minutes > 0)] / minutes[(step > 0) & (minutes > 0)]
    return float(np.quantile(rates, 0.99)) if len(rates) else 0.0


def _modulus(
    value: Floats, step: Floats, seconds: Floats, falls: NDArray[np.int64], rate: float
) -> tuple[int | None, NDArray[np.int64]]:
    """The modulus with which falls are turns, each going on at a rate the counter has, and those falls.

    Other falls may be there where they go to next to nothing: the counter was set back.
    """
    for modulus in MODULI if rate else ():
        if modulus <= value.max():
            continue
        counts = step[falls] + modulus
        fits_turn = counts <= np.maximum(1.5 * rate * seconds[falls] / 60.0, 2.0)
        # an unread gap may hide anything, so it proves no turn and speaks against none
        long = seconds[falls] > max(3600.0, 2.0 * float(np.median(seconds)))
        set_back = value[falls + 1] <= SET_BACK * modulus
        proof = int((fits_turn & ~long).sum())
        if proof and (fits_turn | long | set_back).all() and proof >= int((set_back & ~fits_turn & ~long).sum()):
            return modulus, falls[fits_turn]
    # One that stops at its top hides what was made since: its last reading stands on the last value it has.
    top = int(value.max()) + 1
    is_at_top = int((value == value[-1]).sum()) > MOST_AT_TOP and value[-1] == top - 1
    return (top if is_at_top and top in (*MODULI, _SINGLE + 1) else None), falls[:0]


def _round_up(rate: float) -> float:
    """A rate rounded up to two digits."""
    if rate <= 0:
        return 0.0
    unit = 10.0 ** (math.floor(math.log10(rate)) - 1)
    return round(math.ceil(rate / unit - 1e-9) * unit, 6)


def web_unit_m(counts: float, pieces: float) -> float | None:
    """What one count of a web is by the pieces counted meanwhile.

    Parameters
    ----------
    counts : float
        Of the web.
    pieces : float
        Counted over the same time.

    Returns
    -------
    float or None
        1, 0.1, 0.01 or 0.001 m, or None where none gives a piece a usual length.
    """
    if counts <= 0 or pieces <= 0:
        return None
    fitting = [
        unit for unit in (1.0, 0.1, 0.01, 0.001) if WEB_PER_PIECE_M[0] <= counts * unit / pieces < WEB_PER_PIECE_M[1]
    ]
    return fitting[0] if len(fitting) == 1 else None
