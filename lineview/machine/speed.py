"""The rate within a leg of running: at its edges, in the middle, and where it is slow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.frames import UTC_US, require

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A leg is slow where its rate stays below the nominal band for at least so long [s].
SLOW_S = 60.0
#: The rate at an edge is taken over this much of the leg next to it [s].
EDGE_S = 60.0
#: Both stamps of an interval may be off by a second.
STAMPS_S = 2.0


@dataclass(frozen=True)
class SpeedSegments:
    """Runs of intervals: leg k holds the intervals first[k] up to, not including, last[k]."""

    first: Ints
    last: Ints

    @property
    def length(self) -> Ints:
        """How many intervals each leg has."""
        return self.last - self.first


def runs(member: Bools) -> SpeedSegments:
    """The runs of True."""
    padded = np.zeros(len(member) + 2, dtype=bool)
    padded[1:-1] = member
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return SpeedSegments(edges[0::2], edges[1::2])


def sums(values: Floats) -> Floats:
    """Give sums up to each edge, one more than the values."""
    until = np.empty(len(values) + 1)
    until[0] = 0.0
    np.cumsum(values, out=until[1:])
    return until


def edge_rates(n: Floats, seconds: Floats, legs: SpeedSegments, fallback_per_min: float) -> tuple[Floats, Floats]:
    """The rate of each leg next to its start and next to its end [counts/s].

    Takes `n`, `seconds` [s], `fallback_per_min` [counts/min].
    """
    usual_s = float(np.median(seconds[:20000])) if len(seconds) else EDGE_S
    wide = max(3, int(np.ceil(EDGE_S / max(usual_s, 1e-3))))
    counts, clock = sums(n), sums(seconds)
    inner_first, inner_last = legs.first + 1, legs.last - 1
    has_inner = inner_last > inner_first
    at_start = _mean(counts, clock, inner_first, np.minimum(inner_first + wide, inner_last), has_inner)
    at_end = _mean(counts, clock, np.maximum(inner_last - wide, inner_first), inner_last, has_inner)
    if not has_inner.any():
        # A machine that never ran three intervals on end: its fastest interval is the best guess.
        peaks = [float((n[a:b] / seconds[a:b]).max()) for a, b in zip(legs.first, legs.last, strict=True)]
        fallback = np.full(len(has_inner), max([*peaks, 1e-9]) if peaks else fallback_per_min / 60.0)
        return fallback, fallback.copy()
    index = np.arange(len(has_inner))
    near = index[has_inner][np.clip(np.searchsorted(index[has_inner], index), 0, has_inner.sum() - 1)]
    return np.where(has_inner, at_start, at_start[near]), np.where(has_inner, at_end, at_end[near])


def _mean(counts: Floats, clock: Floats, first: Ints, last: Ints, has_inner: Bools) -> Floats:
    a, b = np.where(has_inner, first, 0), np.where(has_inner, last, 1)
    return np.maximum((counts[b] - counts[a]) / np.maximum(clock[b] - clock[a], 1e-9), 1e-9)


def stamp_spread_s(n: Floats, seconds: Floats, member: Bools) -> float:
    """How far intervals are off the rate of themselves and their neighbours.

    Takes `n`, `seconds` [s]. Gives [s].
    """
    inner = np.flatnonzero(member[:-2] & member[1:-1] & member[2:]) + 1
    if len(inner) < 8:
        return 0.0
    if len(inner) > 20000:
        inner = inner[:: len(inner) // 20000]
    three_n = n[inner - 1] + n[inner] + n[inner + 1]
    three_s = seconds[inner - 1] + seconds[inner] + seconds[inner + 1]
    off = seconds[inner] - n[inner] * three_s / np.maximum(three_n, 1e-9)
    return float(1.4826 * np.median(np.abs(off - np.median(off))) * np.sqrt(1.5))


def slow_intervals(n: Floats, run_s: Floats, legs: SpeedSegments, band_low_per_min: float) -> Bools:
    """Which intervals belong to slow stretches.

    Takes `band_low_per_min` [counts/min].
    """
    slow = np.zeros(len(n), dtype=bool)
    low = band_low_per_min / 60.0
    behind = np.flatnonzero(n < low * run_s - 1e-9)
    owner = np.searchsorted(legs.first, behind, side="right") - 1
    inside = (owner >= 0) & (behind < legs.last[np.maximum(owner, 0)]) if len(legs.first) else owner >= 0
    # Only a leg with some interval behind the band can be slow somewhere.
    for k in np.unique(owner[inside]).tolist():
        a, b = int(legs.first[k]), int(legs.last[k])
        counts, clock = sums(n[a:b]), sums(run_s[a:b])
        middle = (clock[:-1] + clock[1:]) / 2
        offsets = np.arange(b - a)
        first_in = np.clip(np.searchsorted(clock, middle - SLOW_S / 2, side="right") - 1, 0, offsets)
        first_after = np.clip(np.searchsorted(clock, middle + SLOW_S / 2), offsets + 1, b - a)
        below = (counts[first_after] - counts[first_in]) < low * (clock[first_after] - clock[first_in])
        slow[a:b] = _sustained_slow(below, counts, clock, low)
    return slow


def _sustained_slow(below: Bools, counts: Floats, clock: Floats, low: float) -> Bools:
    """Keep runs below the band that last, and fill short recoveries between them."""
    slow = _lasting(below, counts, clock, low)
    gaps = runs(~slow)
    for a, b in zip(gaps.first, gaps.last, strict=True):
        if a > 0 and b < len(slow) and clock[b] - clock[a] < SLOW_S:
            slow[a:b] = True
    return _lasting(slow, counts, clock, low)


def _lasting(below: Bools, counts: Floats, clock: Floats, low: float) -> Bools:
    legs = runs(below)
    span = clock[legs.last] - clock[legs.first]
    pieces = counts[legs.last] - counts[legs.first]
    # One long interval below the band may as well hold a stop: slow needs two.
    lasts = (span >= SLOW_S - 1e-6) & ((legs.length > 1) | (span > 2 * SLOW_S)) & (pieces < low * (span - STAMPS_S))
    slow = np.zeros(len(below), dtype=bool)
    for a, b in zip(legs.first[lasts], legs.last[lasts], strict=True):
        slow[a:b] = True
    return slow


#: Minutes of running on either side of a step of speed.
LEAST_MIN = 5
#: A step must change the rate by this share at least, and stand out of the noise so many times.
LEAST_SHARE, LEAST_SCORE = 0.03, 6.0
#: Steps shorter than this are what a stop's edge leaves over [min].
_BRIEF_MIN = 0.5


def speed_segments(minutes: pl.DataFrame) -> pl.DataFrame:
    """Cut running time into legs of one speed.

    Parameters
    ----------
    minutes : polars.DataFrame
        Columns start, end and pieces of running minutes by time, stops between them left out.

    Returns
    -------
    polars.DataFrame
        Columns start, end, run_min [min], pieces and rate_per_min [pieces/min], by time. The jitter of the
        sampling clock is in the noise that a step must stand out of.

    Notes
    -----
    Cut in two where the means differ most for their noise, and again within the parts; the noise is the
    median change from minute to minute.
    Source: derived-timeline

    Examples
    --------
    >>> from datetime import UTC, datetime, timedelta
    >>> at = [datetime(2026, 6, 9, 6, tzinfo=UTC) + timedelta(minutes=k) for k in range(41)]
    >>> made = [350.0 + k % 3 for k in range(20)] + [270.0 + k % 3 for k in range(20)]
    >>> frame = pl.DataFrame({"start": at[:-1], "end": at[1:], "pieces": made})
    >>> speed_segments(frame)["rate_per_min"].round(0).to_list()
    [351.0, 271.0]
    """
    require(minutes, {"start": UTC_US, "end": UTC_US, "pieces": pl.Float64()}, "minutes")
    long = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    with_pieces = minutes.drop_nulls("pieces").with_columns(run_min=long).filter(pl.col("run_min") > 0)
    steady = with_pieces.filter(pl.col("run_min") >= _BRIEF_MIN)
    rate = (steady["pieces"] / steady["run_min"]).to_numpy()
    cuts = sorted(_cuts(rate, 0, len(rate), _noise(rate)))
    begins = steady["start"].gather(cuts) if cuts else steady["start"].clear()
    leg = begins.search_sorted(with_pieces["start"], side="right") if cuts else pl.lit(0)
    legs = with_pieces.with_columns(leg=leg).group_by("leg", maintain_order=True)
    sums = legs.agg(pl.col("start").min(), pl.col("end").max(), pl.col("run_min", "pieces").sum())
    return sums.with_columns(rate_per_min=pl.col("pieces") / pl.col("run_min")).drop("leg")


def _noise(rate: Floats) -> float:
    if len(rate) < 3:
        return math.inf
    return max(1.4826 * float(np.median(np.abs(np.diff(rate)))) / math.sqrt(2.0), 1e-3 * float(np.mean(rate)))


def _cuts(rate: Floats, first: int, last: int, noise: float) -> list[int]:
    """The places before which the speed steps, between two places."""
    n = last - first
    if n < 2 * LEAST_MIN:
        return []
    sums = np.cumsum(rate[first:last])
    sizes = np.arange(LEAST_MIN, n - LEAST_MIN + 1)
    before, after = sums[sizes - 1] / sizes, (sums[-1] - sums[sizes - 1]) / (n - sizes)
    score = np.abs(before - after) / (noise * np.sqrt(1.0 / sizes + 1.0 / (n - sizes)))
    best = int(np.argmax(score))
    change = abs(before[best] - after[best]) / max(float(max(before[best], after[best])), 1e-9)
    if score[best] < LEAST_SCORE or change < LEAST_SHARE:
        return []
    at = first + int(sizes[best])
    return [at, *_cuts(rate, first, at, noise), *_cuts(rate, at, last, noise)]
