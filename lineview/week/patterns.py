"""Stops without a reason that recur: with batch, reel, hour of the shift, product, supplier or rope."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import polars as pl

from lineview.core.language import mark, tr
from lineview.machine.counters import Floats, Ints
from lineview.plant import Machine

#: Chance that works without patterns show one, over all that is looked at.
CHANCE = 0.05
#: Delays from an anchor are looked at so far [min], in bins and windows of so many bins.
REACH_MIN, BIN_MIN, WIDTHS = 6.0, 0.5, (2, 4, 6)
#: Running time is sampled so often [s].
SAMPLE_S = 6.0
#: Stops and shifts that are needed to look at all.
LEAST_STOPS, LEAST_SHIFTS = 12, 5
#: A stop so many times as long as the usual one of a pattern is none of it.
FAR_LONGER = 6.0
#: A batch's rope is judged by so much of its beginning [µs].
BEGINNING_US = 180_000_000


@dataclass(frozen=True)
class PatternInputs:
    """Of one machine: its timeline (STATE_TIMELINE), BATCHES of its line, REELS, and its rope (at, value [mm, °C]).

    `suppliers` names who delivers each web; `to_week` is the planned time of a week over that of the period.
    """

    machine: Machine
    timeline: pl.DataFrame
    batches: pl.DataFrame
    reels: pl.DataFrame
    diameter: pl.DataFrame
    temperature: pl.DataFrame
    suppliers: Mapping[str, str]
    to_week: float


@dataclass(frozen=True)
class Pattern:
    """Stops that recur: in words, the reason that is offered for all of them, and how sure it is.

    `stops` are their starts and ends [UTC]; `p` is corrected for all that was looked at.
    """

    machine: Machine
    words: str
    reason: str
    stops: tuple[tuple[datetime, datetime], ...]
    minutes: float
    minutes_per_week: float
    p: float


@dataclass(frozen=True)
class Candidate:
    """Stops that may recur; of one family that with the largest `excess` is shown."""

    family: str
    words: str
    reason: str
    chosen: np.ndarray
    p: float
    excess: float


@dataclass(frozen=True)
class _Stops:
    """Stops without a reason and running time of one machine [µs], with the shift each lies in."""

    start: Ints
    end: Ints
    running: Ints
    gaps: Ints

    def shift_of(self, at: Ints) -> Ints:
        """The place of the shift that moments lie in: longer gaps of the timeline part them."""
        return np.searchsorted(self.gaps, at, side="right")


@dataclass(frozen=True)
class Recurring:
    """What may recur on one machine: its stops without a reason [µs], and those candidates that may be shown.

    `looked` is how many were looked at; `to_week` is the planned time of a week over that of the period.
    """

    machine: Machine
    start: Ints
    end: Ints
    to_week: float
    looked: int
    candidates: tuple[Candidate, ...]


def recurring(inputs: PatternInputs) -> Recurring:
    """What may recur among a machine's stops without a reason; nothing where they are too few."""
    stops = _stops(inputs.timeline)
    enough = len(stops.start) >= LEAST_STOPS
    candidates = [candidate for family in _families(inputs, stops) for candidate in family] if enough else []
    # what chance explains on this machine alone it explains among all of them
    able = tuple(candidate for candidate in candidates if candidate.p * len(candidates) <= CHANCE)
    return Recurring(inputs.machine, stops.start, stops.end, inputs.to_week, len(candidates), able)


def find_patterns(machines: Sequence[Recurring]) -> tuple[Pattern, ...]:
    """Find what recurs among stops without a reason; a chance is corrected for all machines together.

    Gives those that works without patterns would show with a chance of 5 % in all; the most minutes first.

    Source: bonferroni
    """
    looked = sum(machine.looked for machine in machines)
    best: dict[tuple[str, str], tuple[Recurring, Candidate]] = {}
    for machine in machines:
        for candidate in machine.candidates:
            key = (machine.machine.id, candidate.family)
            if candidate.p * looked <= CHANCE and (key not in best or candidate.excess > best[key][1].excess):
                best[key] = (machine, candidate)
    patterns = [_pattern(*rest, looked) for rest in best.values()]
    return tuple(sorted(patterns, key=lambda pattern: -pattern.minutes))


def _pattern(of: Recurring, candidate: Candidate, looked: int) -> Pattern:
    chosen = {"start": of.start[candidate.chosen], "end": of.end[candidate.chosen]}
    pairs = pl.DataFrame(chosen).cast(pl.Datetime("us", "UTC"))
    minutes = float((of.end - of.start)[candidate.chosen].sum()) / 6e7
    words = of.machine, candidate.words, candidate.reason, tuple(pairs.rows())
    return Pattern(*words, minutes, minutes * of.to_week, min(1.0, candidate.p * looked))


def _stops(timeline: pl.DataFrame) -> _Stops:
    rows = timeline.sort("start")
    stood = rows.filter(pl.col("state").is_in(["stop", "short stop"]) & pl.col("reason").is_null())
    ran = rows.filter(pl.col("state").is_in(["running", "slow"]))
    begin, finish = (ran[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    step = int(SAMPLE_S * 1e6)
    counts = np.maximum((finish - begin) // step, 0)
    nth = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    running = np.repeat(begin, counts) + nth * step + step // 2
    apart = rows.filter(pl.col("start") > pl.col("end").shift(1))["start"].dt.epoch("us").to_numpy()
    return _Stops(stood["start"].dt.epoch("us").to_numpy(), stood["end"].dt.epoch("us").to_numpy(), running, apart)


def _families(inputs: PatternInputs, stops: _Stops) -> Iterator[list[Candidate]]:
    sheet = inputs.batches.filter(pl.col("line") == inputs.machine.line)
    ends, starts = (sheet[side].drop_nulls().dt.epoch("us").sort().to_numpy() for side in ("end", "start"))
    yield _after(stops, ends, "batch", tr("a batch's end"), tr("end of batch"))
    yield _after(stops, starts, "batch", tr("a batch's start"), tr("start of batch"))
    mounted = inputs.reels.filter(pl.col("machine") == inputs.machine.id)["at"].drop_nulls().dt.epoch("us").sort()
    yield _after(stops, mounted.to_numpy(), "reel", tr("a reel change"), tr("after reel change"))
    yield _hours(stops)
    yield _match(stops, starts, [name or "" for name in sheet.drop_nulls("start").sort("start")["product"]], "product")
    reels = inputs.reels.filter(pl.col("machine") == inputs.machine.id).drop_nulls("at").sort("at")
    names = [inputs.suppliers.get(web or "", "") for web in reels["web"]]
    yield _match(stops, reels["at"].dt.epoch("us").to_numpy(), names, "supplier")
    yield _rope(stops, inputs.diameter, starts, "rope", ("thick", "thin"))
    yield _rope(stops, inputs.temperature, starts, "temperature", ("warm", "cold"))


def _after(stops: _Stops, anchors: Ints, family: str, words: str, reason: str) -> list[Candidate]:
    """Windows around anchors in which more stops begin than running time in them would have."""
    from scipy.special import bdtrc

    if len(anchors) < LEAST_SHIFTS or not len(stops.running):
        return []
    edges = np.arange(-REACH_MIN, REACH_MIN + BIN_MIN / 2, BIN_MIN)
    delay, ran = _delay_min(stops.start, anchors), _delay_min(stops.running, anchors)
    began, exposed = np.histogram(delay, edges)[0], np.histogram(ran, edges)[0]
    n, whole = len(stops.start), len(stops.running)
    chances = []
    for width in WIDTHS:
        for first in range(len(began) - width + 1):
            k = int(began[first : first + width].sum())
            share = (float(exposed[first : first + width].sum()) + 1.0) / (whole + 1.0)
            chances.append(float(bdtrc(k - 1, n, min(share, 1.0))) if k else 1.0)
    first, end = _peak(began)
    low, high = float(edges[first]), float(edges[end])
    is_near = _alike(stops, (delay >= low) & (delay < high))
    candidate = Candidate(family, _window_words(low, high, words), reason, is_near, min(chances), float(is_near.sum()))
    return [candidate, *(replace(candidate, p=1.0, excess=-1.0) for _ in chances[1:])]


def _alike(stops: _Stops, chosen: np.ndarray) -> np.ndarray:
    """Those of some stops that are not far longer than the others: a clean-up at a batch's end is no pause."""
    length = stops.end - stops.start
    usual = float(np.median(length[chosen])) if chosen.any() else 0.0
    return np.asarray(chosen & (length <= FAR_LONGER * usual))


def _peak(began: Ints) -> tuple[int, int]:
    """The bins around the fullest that stand out from the usual one, from and up to."""
    usual = float(np.median(began))
    out = began > max(3 * usual, usual + 5)
    first = end = int(np.argmax(began))
    while first > 0 and out[first - 1]:
        first -= 1
    while end + 1 < len(began) and out[end + 1]:
        end += 1
    return first, end + 1


def _delay_min(at: Ints, anchors: Ints) -> Floats:
    """Minutes from the nearest anchor, below 0 before it."""
    place = np.clip(np.searchsorted(anchors, at), 1, max(len(anchors) - 1, 1))
    before = anchors[place - 1]
    after = anchors[np.minimum(place, len(anchors) - 1)]
    nearest = np.where(np.abs(at - before) <= np.abs(after - at), before, after)
    return np.asarray((at - nearest) / 6e7)


def _window_words(low: float, high: float, what: str) -> str:
    words = {"nearer": min(abs(low), abs(high)), "farther": max(abs(low), abs(high)), "event": what}
    if low > 0:
        return tr("{nearer:g} to {farther:g} min after {event}", **words)
    if high < 0:
        return tr("{nearer:g} to {farther:g} min before {event}", **words)
    if low == 0:
        return tr("within {minutes:g} min after {event}", minutes=high, event=what)
    if high == 0:
        return tr("within {minutes:g} min before {event}", minutes=-low, event=what)
    return tr("from {before:g} min before to {after:g} min after {event}", before=-low, after=high, event=what)


def _hours(stops: _Stops) -> list[Candidate]:
    """Hours of the shift in which it stops more often than in the rest of it."""
    shift = stops.shift_of(stops.running)
    firsts = {int(k): int(stops.running[shift == k].min()) for k in np.unique(shift)}
    of_stops = stops.shift_of(stops.start)
    shift_start = np.array([firsts.get(int(k), 0) for k in of_stops])
    ran_from = np.array([firsts[int(k)] for k in shift]) if len(shift) else np.empty(0)
    hour = np.floor((stops.start - shift_start) / 3.6e9).astype(np.int64)
    ran = np.floor((stops.running - ran_from) / 3.6e9).astype(np.int64)
    out = []
    for h in range(int(ran.max()) + 1 if len(ran) else 0):
        p = _shift_test(stops, hour == h, ran == h)
        if p is not None:
            words, reason = tr("in hour {hour} of the shift", hour=h + 1), tr("hour {hour} of the shift", hour=h + 1)
            out.append(Candidate("hour", words, reason, hour == h, p, -p))
    return out


#: How a stop with a product or supplier is worded, and its reason.
_WITH = {
    "product": (mark("with product {name}"), mark("product {name}")),
    "supplier": (mark("with supplier {name}"), mark("supplier {name}")),
}
#: The same of a rope that reads high or low.
_IN_BATCHES = {
    "thick": (mark("in batches with a thick rope"), mark("thick rope")),
    "thin": (mark("in batches with a thin rope"), mark("thin rope")),
    "warm": (mark("in batches with a warm rope"), mark("warm rope")),
    "cold": (mark("in batches with a cold rope"), mark("cold rope")),
}


def _match(stops: _Stops, at: Ints, names: Sequence[str], family: str) -> list[Candidate]:
    """Products, or suppliers, with which it stops more often than with the others."""
    if not len(at):
        return []
    values = np.array(["", *names], dtype=object)
    of_stops = values[np.searchsorted(at, stops.start, side="right")]
    of_running = values[np.searchsorted(at, stops.running, side="right")]
    out = []
    for name in dict.fromkeys(name for name in names if name):
        p = _shift_test(stops, of_stops == name, of_running == name)
        if p is not None:
            words, reason = (tr(text, name=name) for text in _WITH[family])
            out.append(Candidate(family, words, reason, of_stops == name, p, -p))
    return out


def _shift_test(stops: _Stops, hit: np.ndarray, exposed: np.ndarray) -> float | None:
    """Chance that stops are so much more frequent in one part of the running time, shifts as units."""
    from scipy.special import stdtr

    shift, ran = stops.shift_of(stops.start), stops.shift_of(stops.running)
    n = int(max(shift.max(initial=0), ran.max(initial=0))) + 1
    inside, outside = (np.bincount(ran[part], minlength=n) * SAMPLE_S / 3600 for part in (exposed, ~exposed))
    hits, rest = (np.bincount(shift[part], minlength=n) for part in (hit, ~hit))
    has_both = (inside > 0.2) & (outside > 0.2)
    if has_both.sum() < LEAST_SHIFTS:
        return None
    difference = hits[has_both] / inside[has_both] - rest[has_both] / outside[has_both]
    spread = float(difference.std(ddof=1))
    if spread <= 0:
        return None
    t = float(difference.mean()) / (spread / np.sqrt(has_both.sum()))
    return float(stdtr(has_both.sum() - 1, -t))


def _rope(stops: _Stops, rope: pl.DataFrame, starts: Ints, family: str, names: tuple[str, str]) -> list[Candidate]:
    """Whether it stops more often in batches whose rope reads high, or low; within shifts, batches as units."""
    from scipy.special import stdtr

    if rope.height < LEAST_STOPS or len(starts) < 4 * LEAST_SHIFTS or not len(stops.running):
        return []
    at = rope["at"].dt.epoch("us").to_numpy()
    batch = np.searchsorted(starts, at, side="right") - 1
    # A stop lets the rope cool and thin, so that only a batch's beginning shows what its rope does to stops.
    is_early = (batch >= 0) & (at - starts[np.maximum(batch, 0)] < BEGINNING_US)
    n = len(starts)
    readings_in = np.bincount(batch[is_early], minlength=n)
    sums = np.bincount(batch[is_early], rope["value"].to_numpy()[is_early], minlength=n)
    ran = np.bincount(np.maximum(np.searchsorted(starts, stops.running, side="right") - 1, 0), minlength=n)
    began = np.bincount(np.maximum(np.searchsorted(starts, stops.start, side="right") - 1, 0), minlength=n)
    able = (readings_in > 0) & (ran > 10)
    if able.sum() < 4 * LEAST_SHIFTS:
        return []
    mean, rate = sums[able] / readings_in[able], began[able] / ran[able]
    shift = stops.shift_of(starts[able])
    x, y = _within(_ranks(mean), shift), _within(_ranks(rate), shift)
    df = int(able.sum() - len(np.unique(shift)) - 1)
    scale = float(np.sqrt((x @ x) * (y @ y)))
    if df < 4 or not scale > 0:
        return []
    r = float(x @ y) / scale
    t = r * np.sqrt(df / max(1 - r * r, 1e-12))
    out = []
    of_stops = np.maximum(np.searchsorted(starts, stops.start, side="right") - 1, 0)
    middle = float(np.median(mean))
    level = np.divide(sums, readings_in, out=np.full(n, np.nan), where=readings_in > 0)[of_stops]
    for name, sign, chosen in ((names[0], 1.0, level > middle), (names[1], -1.0, level < middle)):
        p = float(stdtr(df, -sign * t))
        words, reason = (tr(text) for text in _IN_BATCHES[name])
        out.append(Candidate(family, words, reason, chosen, p, -p))
    return out


def _ranks(values: Floats) -> Floats:
    order = np.argsort(values, kind="stable")
    ranks = np.empty(len(values))
    ranks[order] = np.arange(len(values))
    return ranks


def _within(values: Floats, group: Ints) -> Floats:
    """Values less the mean of their group."""
    _, place = np.unique(group, return_inverse=True)
    means = np.bincount(place, values) / np.bincount(place)
    return np.asarray(values - means[place])
