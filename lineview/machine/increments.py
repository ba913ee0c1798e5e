"""What a counter did between its readings: steps, rollovers, resets, and what is not known."""

from __future__ import annotations

import math

import numpy as np

from lineview.core.errors import Fault, MeasureError
from lineview.core.language import tr
from lineview.machine.counter_repair import (
    STAMP_S,
    Bools,
    Floats,
    Ints,
    Limits,
    held_at_top,
    off_trend,
    possible,
    seconds_between,
    unfrozen,
)
from lineview.machine.steps import NO_STEPS, Steps
from lineview.plant import Counter

#: Sizes in use: decimal digits, and 16, 24, 31 and 32 bits.
CANDIDATES = (1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 2.0**15, 2.0**16, 2.0**24, 2.0**31, 2.0**32)
#: Where an interval could add more than this share of the size, a fall to a small value by a reset
#: looks like a rollover too often to be sure.
_MOST_SHARE = 0.1
_MOST_STRAY = 0.01
#: Nothing is made in less [µs]. An interval holds several others where it is so near to so many of them.
_INSTANT_US, _WHOLE = 1_000_000, 0.1


def fits_values(value: Floats, modulus: float) -> bool:
    """Whether the values stay below the modulus, a stray reading in a hundred aside.

    Takes `value` [counts].
    """
    return bool(np.mean(value >= modulus) <= _MOST_STRAY)


def find_modulus(at_us: Ints, value: Floats, limits: Limits) -> float | None:
    """The one usual size that explains falls of a counter as rollovers, or None.

    Takes `value` [counts].
    """
    odd, _ = off_trend(at_us, value, limits)
    at_us, value = at_us[~odd], value[~odd]
    falls = np.flatnonzero(np.diff(value) < 0)
    if not len(falls):
        return None
    most = limits.most((at_us[falls + 1] - at_us[falls]) / 1e6)
    explain = [
        size
        for size in CANDIDATES
        if size > value.max()
        and ((value[falls + 1] - value[falls] + size <= most) & (most <= _MOST_SHARE * size)).any()
    ]
    return explain[0] if len(explain) == 1 else None


#: A fall where at most this share of the size fits in is a turn: a reset would have to come in the last
#: counts before the turn to look like one.
_SURE_SHARE = 0.01
#: An interval longer than so many usual ones was not read as usual.
_UNREAD_USUAL = 2.0
#: What is usual shows in so many intervals and more.
_USUAL_OF = 10
#: The pace beside a fall is that of so many intervals on either side, of which as many must be known.
_BESIDE = 5
#: What comes less than ten times in so long [s] is not far likelier than a reset; looked at in so many intervals.
_RARE_S, _MOST_RARE, _LOOKED_AT = 28_800.0 / 10, 0.1, 5000
#: An interval longer than so many usual ones more often has a stop in it than they have.
_USUAL = 1.5
#: Intervals at one pace add at least this share of the most; so does that share of all running ones of a machine.
_STEADY = 0.9
#: Counts and a share that readings at one pace differ by.
_NEAR_COUNTS, _NEAR_SHARE = 2.0, 0.01
#: A counter that adds fewer in a reading has no pace that a reset stands out from, and may well end at 0 by a turn.
_LOT = 10.0
#: A pace that is known by its mean alone may be off by this share.
_MEAN_PACE = 0.2

#: What happened between two readings, as `steps_and_kinds` numbers it.
_STEP, _ROLLOVER, _RESET, _GLITCH, _TORN, _SEVERAL = range(6)


def known_modulus(counter: Counter) -> int | None:
    """A counter's declared modulus, or None where nobody knows it or the counter restarts before it turns."""
    return None if counter.modulus == "unknown" or counter.counting != "total" else counter.modulus


def usual_interval_us(start_us: Ints, end_us: Ints) -> float:
    """The usual time between two readings [µs], the start of an interval that a row counts aside; 0 without any."""
    length = (end_us - start_us)[:2000]
    longer = length[length >= _INSTANT_US]
    return float(np.median(longer if len(longer) else length)) if len(length) else 0.0


def reported_steps(start_us: Ints, end_us: Ints, added: Floats, fastest_per_min: float, usual_us: float) -> Steps:
    """What a counter added in intervals whose last reading says it.

    Parameters
    ----------
    start_us, end_us : arrays of int
        The intervals [µs].
    added : array of float
        What each interval's last reading says came since the one before [counts]; nan where it does not.
    fastest_per_min : float
        The fastest the counter can go [counts/min].
    usual_us : float
        The usual interval; 0 where it is not known [µs].

    Returns
    -------
    Steps
        A count that is not known, below zero, or above what fits in at the fastest rate, is open between 0 and that
        most; so is the rest of an interval as long as several, whose other readings are missing or disputed.
    """
    length = end_us - start_us
    limits = Limits(None, fastest_per_min, 0.05)
    added = np.where(np.isnan(added) & (length < _INSTANT_US), 0.0, added)
    most = limits.most(length / 1e6)
    fits = (added >= 0) & (added <= most)
    share = length / (usual_us or np.inf)
    is_implied = end_us % 1000 == 1  # the start of what a row counts, a microsecond after the row before could end
    lacks = fits & ~is_implied & (share > 1.5) & (np.abs(share - np.round(share)) < _WHOLE)
    n = np.where(fits & ~lacks, added, np.nan)
    rest = np.where(lacks, limits.most(length / 1e6 - usual_us / 1e6), 0.0)
    return Steps(start_us, end_us, n, np.where(fits, added, 0.0), np.where(fits, added + rest, most))


def steps_between(
    at_us: Ints,
    value: Floats,
    *,
    modulus: int | None,
    fastest_per_min: float,
    margin: float = 0.05,
    gap_s: float = math.inf,
    turns: bool = True,
) -> Steps:
    """What one counter added between successive readings, by time in `at_us` and `value` [counts].

    d = (c1 - c0) mod M is a rollover if d is possible at the fastest rate in that time, else a reset, with
    c1 as the least and the fastest rate as the most. Where d + M is possible too, the counter may have
    turned several times: the answer is the smallest and greatest candidate. Stamps may be off by a second
    each, so two seconds and one count are allowed on top. In intervals longer than `gap_s` [s], and than
    usual, a fall may be a reset as well as a turn (`_may_be_set_back`). Where the counter `turns` not, a fall
    is a restart.
    Source: derived-counters, rfc-2021-counters
    """
    _refuse(_rate_faults(modulus, fastest_per_min, margin))
    if len(value) < 2:
        return NO_STEPS
    return steps_and_kinds(at_us, value, modulus, fastest_per_min, margin, gap_s, turns=turns)[0]


def steps_and_kinds(
    at_us: Ints,
    value: Floats,
    modulus: int | None,
    fastest_per_min: float,
    margin: float,
    gap_s: float = math.inf,
    *,
    turns: bool = True,
) -> tuple[Steps, Ints]:
    """The steps of two readings and more, and the place of each one's kind."""
    size = float(modulus) if modulus and fits_values(value, modulus) else None
    limits = Limits(size, fastest_per_min, margin)
    steps = np.diff(value)
    if size is None and turns and (steps < 0).any():
        limits = Limits(find_modulus(at_us, value, limits), fastest_per_min, margin)
    at_top = held_at_top(at_us, value, limits)
    if at_top.all():
        nothing, most = np.zeros(1), limits.most(np.array([(at_us[-1] - at_us[0]) / 1e6]))
        return Steps(at_us[:1], at_us[-1:], np.full(1, np.nan), nothing, most), np.full(1, _RESET)
    if at_top[1:-1].any():
        return _without_top(at_us, value, at_top, limits, gap_s)
    counts, most = limits.unrolled(steps), limits.most(np.diff(at_us) / 1e6)
    usual = float(np.median(np.diff(at_us))) if len(at_us) > _USUAL_OF else 0.0
    unread_us = unread_longer_than(gap_s, usual)
    doubt = _may_be_set_back(value[:-1], value[1:], most, np.diff(at_us) > unread_us, limits)
    sudden = _sudden_turns(value[:-1], value[1:], counts, np.diff(at_us) / 1e6, limits, unread_us)
    if _plain(counts, most, limits) and not doubt.any() and not sudden.any():
        kind = np.where(steps < 0, np.uint8(_ROLLOVER), np.uint8(_STEP))
        return Steps(at_us[:-1], at_us[1:], counts, counts, counts), kind
    odd, torn = off_trend(at_us, value, limits)
    mark = _marks(odd, torn)
    rows = np.flatnonzero(~odd)
    frozen, is_sure = unfrozen(at_us[rows], value[rows], limits)
    return _classify(at_us, value, rows[~frozen], rows[is_sure], mark, limits, unread_us)


def _without_top(at_us: Ints, value: Floats, at_top: Bools, limits: Limits, gap_s: float) -> tuple[Steps, Ints]:
    """The steps without readings at the counter's top; where it counted up to there, they are open.

    Whether it then turned or was set back, and how often, is not known.
    """
    rows = np.flatnonzero(~at_top)
    modulus = None if limits.modulus is None else int(limits.modulus)
    steps, kind = steps_and_kinds(
        at_us[rows], value[rows], modulus, limits.fastest_per_min, limits.margin, gap_s, turns=True
    )
    place = np.searchsorted(steps.start_us, at_us[np.flatnonzero(at_top)], side="right") - 1
    over = np.unique(place[(place >= 0) & (place < len(steps))])
    before, after = (np.searchsorted(at_us, edge[over]) for edge in (steps.start_us, steps.end_us))
    kind[over[kind[over] == _STEP]] = _GLITCH
    fell = (value[after] < value[before]) & possible(at_us, value, before, before + 1, limits)
    most = limits.most(seconds_between(at_us, before, after))
    n, low, high = steps.n.copy(), steps.low.copy(), steps.high.copy()
    by_turns = np.full(len(n), np.nan) if steps.turned is None else steps.turned.copy()
    over, reading_after, most = over[fell], value[after][fell], most[fell]
    n[over], by_turns[over], high[over] = np.nan, np.nan, most
    low[over] = np.where(reading_after <= most, reading_after, 0.0)
    kind[over] = _RESET
    return Steps(steps.start_us, steps.end_us, n, low, high, by_turns), kind


def _refuse(faults: list[Fault]) -> None:
    if faults:
        raise MeasureError(faults)


def _rate_faults(modulus: int | None, fastest_per_min: float, margin: float) -> list[Fault]:
    faults = []
    if modulus is not None and modulus <= 1:
        faults.append(Fault(tr("the modulus is {modulus}", modulus=modulus), "modulus", tr("more than 1, or None")))
    if not (math.isfinite(fastest_per_min) and fastest_per_min > 0):
        faults.append(
            Fault(tr("the fastest rate is {rate}", rate=fastest_per_min), "fastest_per_min", tr("more than 0"))
        )
    if not (math.isfinite(margin) and margin >= 0):
        faults.append(Fault(tr("the margin is {margin}", margin=margin), "margin", tr("0 or more")))
    return faults


def _plain(added: Floats, most: Floats, limits: Limits) -> bool:
    """Whether every increment is possible and no counter can have turned twice."""
    turns = limits.modulus is not None and bool((added + limits.modulus <= most).any())
    return not turns and bool(((added >= 0) & (added <= most)).all())


def _marks(odd: np.ndarray, torn: np.ndarray) -> Ints:
    """Give, for each reading, how many torn and how many odd ones stand up to it (packed as sums)."""
    return np.cumsum(odd.astype(np.int64)) + (np.cumsum(torn.astype(np.int64)) << 32)


def _classify(
    at_us: Ints, value: Floats, rows: Ints, sure_rows: Ints, mark: Ints, limits: Limits, unread_us: float
) -> tuple[Steps, Ints]:
    """Classify the increments between the kept readings."""
    i, j = rows[:-1], rows[1:]
    step = value[j] - value[i]
    counts = limits.advance(value[i], value[j])
    most = limits.most((at_us[j] - at_us[i]) / 1e6)
    kind = np.where(step < 0, _ROLLOVER, _STEP)
    kind[(counts < 0) | (counts > most)] = _RESET
    odd_between = mark[j] - mark[i]
    skips_rows = (j - i > 1) & (kind == _STEP)
    kind[skips_rows] = np.where(odd_between[skips_rows] >> 32 > 0, _TORN, _GLITCH)
    doubtful = skips_rows & (odd_between == 0) & ~np.isin(j, sure_rows)
    if limits.modulus is not None:
        kind[(counts >= 0) & (counts + limits.modulus <= most)] = _SEVERAL
    kind[doubtful & (kind == _GLITCH)] = _RESET
    doubt = _may_be_set_back(value[i], value[j], most, at_us[j] - at_us[i] > unread_us, limits)
    parts = _bounds(value[j], counts, most, kind, limits, doubtful, doubt)
    seconds = seconds_between(at_us, i, j)
    sudden = (kind == _ROLLOVER) & _sudden_turns(value[i], value[j], counts, seconds, limits, unread_us)
    return Steps(at_us[i], at_us[j], *_open_to_reset(parts, sudden, value[j], counts, most)), kind


def unread_longer_than(gap_s: float, usual_us: float) -> float:
    """The longest interval [µs] that counts as read: the plant's gap, or twice the usual one.

    Parameters
    ----------
    gap_s : float
        Longest interval between readings that still shows what happened in it [s].
    usual_us : float
        Usual time between two readings [µs]; 0 where it is not known.
    """
    return max(gap_s * 1e6, _UNREAD_USUAL * usual_us)


def _may_be_set_back(before: Floats, after: Floats, most: Floats, unread: Bools, limits: Limits) -> Bools:
    """Where a counter of known size may have been set back to 0 as well as turned.

    Three things decide, and in this order. Nobody saw the interval: in a read one a fall that a turn
    explains is a turn. The counter could have counted on from 0 to what it shows. And a reset is not far
    less likely than a turn: a rise needs neither, unless the counter may have turned in it; a fall is a
    turn where so little fits into the interval that a reset would have to hit the last hundredth of the
    counter's size. What is left stays open between what the counter shows and the most; whether a turn at
    the pace around it is by far likelier is judged by `lineview.machine.likeliest`.
    """
    if limits.modulus is None:
        return np.zeros(len(after), dtype=bool)
    fell = (after < before) & (most > _SURE_SHARE * limits.modulus)
    # One that stands where it stood counted nothing: a reset to that very value is as rare as a turn to it.
    turns = (after > before) & (after - before + limits.modulus <= most)
    return np.asarray(unread & (after >= 0) & (after <= most) & (fell | turns))


def _sudden_turns(
    before: Floats, after: Floats, added: Floats, seconds: Floats, limits: Limits, unread_us: float
) -> Bools:
    """Where a fall in a read interval that a turn explains is as likely a reset.

    A turn comes about by the machine's own pace, so it adds what the intervals beside it add; a reset comes at
    any value. What lies outside the range of the intervals beside it, and further than but a few other
    intervals do (waste comes in bursts, a machine stops for seconds), is no far likelier a turn. And where the
    machine stands at 0 it was set back: a turn seldom ends there. At the pace beside it a reset adds the same.
    """
    sudden = np.zeros(len(after), dtype=bool)
    if limits.modulus is None or len(after) <= _BESIDE:
        return sudden
    is_read = seconds * 1e6 <= unread_us
    falls = np.flatnonzero((after < before) & (added >= 0) & (added <= limits.most(seconds)) & is_read)
    if not len(falls):
        return sudden
    usable = (added >= 0) & (added <= limits.most(seconds)) & (seconds > 0)
    rate = np.where(usable, added / np.maximum(seconds, 1e-6), np.nan)
    usual_s = float(np.median(seconds))
    lot = float(np.median(rate[rate > 0])) * usual_s if (rate > 0).any() else 0.0
    if lot < _LOT:
        return sudden
    other_rows = np.setdiff1d(np.arange(0, len(rate), len(rate) // _LOOKED_AT + 1), falls)
    rare = min(usual_s / _RARE_S, _MOST_RARE)
    longer = seconds[falls] / usual_s
    sides = zip(_off_pace(rate, seconds, falls), _off_pace(rate, seconds, other_rows), (np.inf, _USUAL), strict=True)
    for off, usual, longest in sides:
        least = float(np.quantile(usual, 1 - rare)) if len(usual) else 0.0
        far = off > np.maximum(_NEAR_COUNTS + _NEAR_SHARE * added[falls], least * longer)
        sudden[falls] |= far & (longer <= longest)
    stands = np.ones(len(falls), dtype=bool)
    for beside in (falls - 1, falls + 1):
        stands &= (beside >= 0) & (beside < len(rate)) & (rate[np.clip(beside, 0, len(rate) - 1)] == 0)
    sudden[falls] |= (after[falls] == 0) & stands
    return sudden


def _off_pace(rate: Floats, seconds: Floats, rows: Ints) -> tuple[Floats, Floats]:
    """By how many counts intervals are above, and below, the range of those beside them; at most 0 where not."""
    around = np.concatenate((np.arange(-_BESIDE, 0), np.arange(1, _BESIDE + 1)))
    beside = rows[:, None] + around[None, :]
    is_inside = (beside >= 0) & (beside < len(rate))
    rates = np.where(is_inside, rate[np.clip(beside, 0, len(rate) - 1)], np.nan)
    is_known = ~np.isnan(rates)
    enough = (is_known.sum(axis=1) >= _BESIDE) & ~np.isnan(rate[rows])
    top, least = np.where(is_known, rates, -np.inf).max(axis=1), np.where(is_known, rates, np.inf).min(axis=1)
    # beside stops a machine may run at its pace for a whole interval, and in none of those around it
    moves = (rates[:, _BESIDE - 1 : _BESIDE + 1] > 0).any(axis=1) & (least < _STEADY * top)
    pace = float(np.quantile(rate[rate > 0], _STEADY)) if (rate > 0).any() else 0.0
    above = (rate[rows] - np.where(moves, np.maximum(top, pace), top)) * seconds[rows]
    below = (least - rate[rows]) * seconds[rows]
    return np.where(enough, above, 0.0), np.where(enough, below, 0.0)


def _open_to_reset(
    parts: tuple[Floats, Floats, Floats, Floats], is_open: Bools, after: Floats, added: Floats, most: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Counts with those of some intervals open between what the counter shows and the most."""
    n, low, high, turned = parts
    low, high = np.where(is_open, np.minimum(added, after), low), np.where(is_open, most, high)
    return np.where(is_open, np.nan, n), low, high, np.where(is_open, np.nan, turned)


def _bounds(
    after: Floats, added: Floats, most: Floats, kind: Ints, limits: Limits, doubtful: Bools, doubt: Bools
) -> tuple[Floats, Floats, Floats, Floats]:
    """Each increment's counts (nan: open), the least and most, and those by the fewest turns.

    Takes `doubtful` (a frozen value or a preset one) and `doubt` (a turn or a reset).
    """
    low, high = added.copy(), added.copy()
    reset = kind == _RESET
    small = (after >= 0) & (after <= most)
    low[reset] = np.where(small & ~doubtful & (added != after), after, 0.0)[reset]
    high[reset] = np.where(doubtful, added, most)[reset]
    several = kind == _SEVERAL
    if limits.modulus is not None:
        turns = np.floor((most - added) / limits.modulus)
        high[several] = (added + turns * limits.modulus)[several]
    doubt = doubt & ((kind == _ROLLOVER) | several)
    low[doubt] = np.minimum(added, after)[doubt]
    high[doubt] = _most_in_turns(low, most, limits)[doubt]
    turned = np.where(doubt | several, added, np.nan)
    return np.where(reset | several | doubt, np.nan, added), low, high, turned


def _most_in_turns(low: Floats, most: Floats, limits: Limits) -> Floats:
    """The most as whole turns above the least where a turn is a small part of it."""
    size = limits.modulus or math.inf
    turns = np.ceil((most - low) / size) if math.isfinite(size) else np.zeros(len(low))
    return np.where(size <= _MOST_SHARE * most, low + turns * (0.0 if math.isinf(size) else size), most)


def pair_bounds(
    start_us: Ints,
    end_us: Ints,
    before: Floats,
    after: Floats,
    modulus: float | None,
    fastest_per_min: float,
    *,
    unread_us: float,
    pace: Floats,
    stood: Bools,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Bounds of what a counter added between pairs of readings, each pair judged alone.

    Parameters
    ----------
    start_us, end_us : arrays of int
        Moments of the pairs [µs].
    before, after : arrays of float
        The counter's values [counts].
    modulus : float or None
        The number of values before the counter starts again at 0; None where nobody knows.
    fastest_per_min : float
        The fastest the counter can go [counts/min].
    unread_us : float
        The longest interval that counts as read [µs].
    pace : array of float
        The greater of the counter's paces on either side [counts/s]; nan where one is not known.
    stood : array of bool
        Whether the counter stood before.

    Returns
    -------
    value, low, high, turned : arrays of float
        `value` is nan where the readings leave it open; `turned` as in `lineview.machine.steps.Steps`.
    """
    limits = Limits(modulus, fastest_per_min, 0.05)
    added, most = limits.advance(before, after), limits.most((end_us - start_us) / 1e6)
    kind = np.where(after < before, _ROLLOVER, _STEP)
    kind[(added < 0) | (added > most)] = _RESET
    if modulus is not None:
        kind[(added >= 0) & (added + modulus <= most)] = _SEVERAL
    doubt = _may_be_set_back(before, after, most, end_us - start_us > unread_us, limits)
    parts = _bounds(after, added, most, kind, limits, np.zeros(len(kind), dtype=bool), doubt)
    seconds = (end_us - start_us) / 1e6
    at_pace = pace * (seconds + STAMP_S) * (1 + _MEAN_PACE) + 2.0
    at_zero = (after == 0) & stood & (pace * seconds >= _LOT)
    return _open_to_reset(parts, (kind == _ROLLOVER) & ~doubt & ((added > at_pace) | at_zero), after, added, most)
