"""Waste learned from the plant's own counters, stops and reel changes, with intervals."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt

from lineview.core.errors import MeasureError
from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.machine.pieces import MachineCounts, micros
from lineview.machine.products import WRAP_COUNTERS, ProductSpan, fed_between, wraps_between
from lineview.plant import WebKind
from lineview.stats.least_squares import nonnegative_fit
from lineview.stats.means import interval_of_mean
from lineview.wrap.reels import ReelSpan
from lineview.wrap.waste import Allowance, Waste, WrapEvents

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
#: A reel change is written down this long before or after what it does to the counters [µs].
BEFORE_US, AFTER_US = 300_000_000, 600_000_000
#: A reel log may be early or late by so much [s]; it is tried in steps.
_MOST_LATE_S, _LATE_STEP_S = 1200, 20
#: A mounting within so long before or after a standing is taken for one in it [s].
_NEAR_S = 20.0
#: An offset is believed where so large a share of mountings falls into standings, and chance would do it less
#: than once in so many.
_MOST_STAND, _BY_CHANCE = 0.7, 1e-3
#: Where nothing else cuts the time, it is cut into stretches this long [µs].
PLAIN_US = 3_600_000_000
#: What a restart costs has been fed so long after the first piece [µs]; two counter readings at the usual pace.
SETTLES_US = 60_000_000
#: A converter's guideline: no splice within 750 ft of the start or the core [m]; a tenth of a short reel.
SPLICE_FREE_M = 228.6


@dataclass(frozen=True)
class WrapBin:
    """One stretch: metres fed, metres that its wraps needed [m], and what happened in it.

    A reel's splices are shared out by metres fed, but for its first and last metres.
    """

    at_change: bool
    fed_m: float
    net_m: float
    restarts: int
    changeovers: int
    splices: float

    @property
    def over_m(self) -> float:
        """Metres fed beyond what the wraps needed [m]."""
        return self.fed_m - self.net_m


def wrap_bins(
    counts: MachineCounts,
    kind: WebKind,
    spans: Sequence[ProductSpan],
    cut_mm: Mapping[str, float],
    reels: Sequence[ReelSpan],
    events: WrapEvents,
) -> list[WrapBin]:
    """Cut the period into stretches and sum each.

    Source: splice-guideline
    """
    if not counts.has_read(kind) or not spans:
        return []
    span_us, mounts_us = micros([*(s.start for s in spans), spans[-1].end]), micros([reel.mounted for reel in reels])
    edges_us, changes = _edges(span_us[[0, -1]].tolist(), mounts_us, reels, events)
    inner = (mounts_us > span_us[0]) & (mounts_us < span_us[-1])
    fine_us = np.unique(np.concatenate((edges_us, span_us, mounts_us[inner])))
    wraps = wraps_between(counts, fine_us)
    if wraps is None or not changes:
        return []
    fine_s, edges_s = fine_us / 1e6, np.array(edges_us) / 1e6
    net = wraps * _cut_lengths(fine_us, span_us[:-1], spans, cut_mm) / 1000.0
    fed = fed_between(counts, kind, fine_us)
    splices = _splices(fine_us, fed, mounts_us, reels)
    gap_starts, gap_ends = np.sort(np.array(counts.open_intervals(*WRAP_COUNTERS, kind)).reshape(-1, 2) / 1e6, axis=0).T
    # a gap lies in a stretch where more have begun by its end than had ended by its start
    gaps = np.searchsorted(gap_starts, edges_s[1:]) - np.searchsorted(gap_ends, edges_s[:-1], side="right")
    moments = (events.restarts_us, events.changeovers_us)
    events_in = [np.histogram(np.array(of, dtype=np.int64) / 1e6, bins=edges_s)[0] for of in moments]
    at = np.searchsorted(fine_s, edges_s)
    sums = [np.add.reduceat(of[: at[-1]], at[:-1]) for of in (fed, net, splices, np.nan_to_num(splices))]
    splice_counts = np.where(changes, sums[3], sums[2])
    usable = np.isfinite(sums[1]) & np.isfinite(splice_counts) & (sums[0] > 0) & (gaps == 0)
    columns = (column.tolist() for column in (*sums[:2], *events_in, splice_counts))
    rows = zip(changes, *columns, usable.tolist(), strict=True)
    return [WrapBin(*row) for *row, use in rows if use]


def _edges(
    period_us: Sequence[int], mounts_us: Ints, reels: Sequence[ReelSpan], events: WrapEvents
) -> tuple[list[int], list[bool]]:
    """The stretches' edges [µs], and whether each stretch is the window of a reel change; reels by time.

    No edge lies where the machine stands or has just restarted: what that cost falls on one side whole.
    """
    windows = _Windows(events)
    late, before, after = log_offset(mounts_us, events, period_us[1] - period_us[0])
    start, end = windows.after(period_us[0]), windows.before(period_us[1])
    if start >= end:
        return [period_us[0]], []
    edges = [start]
    changes: list[bool] = []
    has_splices = False
    for mounted, reel in zip(mounts_us.tolist(), reels, strict=True):
        opens, closes = windows.before(mounted - late - before), windows.after(mounted - late + after)
        if mounted - late > start and closes > edges[-1] and closes <= end:
            if opens > edges[-1]:
                _add_stretches(edges, changes, opens, windows, as_one=has_splices)
            changes.append(True)
            edges.append(closes)
        has_splices = reel.splices > 0
    if edges[-1] < end:
        _add_stretches(edges, changes, end, windows, as_one=has_splices)
    return edges, changes


def log_offset(mounts_us: Ints, events: WrapEvents, span_us: int) -> tuple[int, int, int]:
    """By how much a reel log is late, and how long before and after a mounting its waste may be fed [µs].

    A reel is changed while the machine stands: the offset is the one at which nearly all mountings fall into
    standings, where there is one that chance does not explain. Where there is none, the window reaches over
    any offset.
    Source: derived-reel-log
    """
    from scipy.special import bdtrc

    count = len(mounts_us)
    if count < LEAST_EVENTS or not events.standings_us:
        return 0, BEFORE_US, AFTER_US
    at, (begins, ends) = mounts_us / 1e6, np.array(events.standings_us).T / 1e6
    offsets = np.arange(-_MOST_LATE_S, _MOST_LATE_S + 1.0, _LATE_STEP_S)
    moments = at[None, :] - offsets[:, None]
    place = np.clip(np.searchsorted(begins - _NEAR_S, moments, side="right") - 1, 0, begins.size - 1)
    inside = (moments >= begins[place] - _NEAR_S) & (moments <= ends[place] + _NEAR_S)
    hits = inside.sum(axis=1)
    share = min(float(np.sum(ends - begins + 2.0 * _NEAR_S)) / max(span_us / 1e6, 1.0), 1.0)
    most = int(hits.max())
    by_chance = float(bdtrc(most - 1, count, share)) * offsets.size
    if most < _MOST_STAND * count or by_chance > _BY_CHANCE:
        return 0, _MOST_LATE_S * 1_000_000, _MOST_LATE_S * 1_000_000
    best = float(np.mean(offsets[hits == most]))
    late_us = round(best * 1e6)
    return late_us if abs(late_us) > BEFORE_US / 2.0 else 0, BEFORE_US, AFTER_US


def _add_stretches(edges: list[int], changes: list[bool], end: int, windows: _Windows, *, as_one: bool) -> None:
    """Add plain stretches up to `end`; one `as_one` where splices at unknown places lie in it."""
    while not as_one and (following := windows.after(edges[-1] + PLAIN_US)) < end:
        edges.append(following)
        changes.append(False)
    edges.append(end)
    changes.append(False)


class _Windows:
    """The stretches in which web may be fed for a standing or its restart, those that touch as one."""

    def __init__(self, events: WrapEvents) -> None:
        self._begins: list[int] = []
        self._ends: list[int] = []
        for begin, end in sorted(events.standings_us):
            closes = end + SETTLES_US
            if self._ends and begin <= self._ends[-1]:
                self._ends[-1] = max(self._ends[-1], closes)
            else:
                self._begins.append(begin)
                self._ends.append(closes)

    def before(self, moment: int) -> int:
        """The moment [µs], or the begin of the stretch that it lies in."""
        place = bisect_right(self._begins, moment) - 1
        return self._begins[place] if place >= 0 and moment < self._ends[place] else moment

    def after(self, moment: int) -> int:
        """The moment [µs], or the end of the stretch that it lies in."""
        place = bisect_right(self._begins, moment) - 1
        return self._ends[place] if place >= 0 and moment < self._ends[place] else moment


def _splices(fine_us: Ints, fed: Floats, mounts_us: Ints, reels: Sequence[ReelSpan]) -> Floats:
    """Share each reel's splices out over the stretches by metres fed; nan where that is not known.

    That is on the reel that was on before the log began, and on one that is still on and has splices.
    """
    if not reels:
        return np.zeros(len(fed))
    out = np.full(len(fed), np.nan)
    is_off = [reel.taken_off is not None for reel in reels]
    off_us = np.where(is_off, micros([reel.taken_off or reel.mounted for reel in reels]), fine_us[-1])
    for reel, off, *within in zip(
        reels, is_off, *np.searchsorted(fine_us[:-1], (mounts_us, off_us)).tolist(), strict=True
    ):
        if not reel.splices:
            out[slice(*within)] = 0.0
        elif off:
            out[slice(*within)] = reel.splices * _likely(fed[slice(*within)])
    return out


def _likely(fed: Floats) -> Floats:
    """The share of a reel's splices that falls in each of its stretches: none near start and core."""
    total = float(fed.sum())
    if total <= 0:
        return np.zeros(len(fed))
    guard = min(SPLICE_FREE_M, 0.1 * total)
    edges = np.clip(np.concatenate([[0.0], np.cumsum(fed)]), guard, total - guard)
    return np.asarray(np.diff(edges) / (total - 2.0 * guard))


def _cut_lengths(fine_us: Ints, starts_us: Ints, spans: Sequence[ProductSpan], cut_mm: Mapping[str, float]) -> Floats:
    """The cut length in each fine stretch; nan where the product is not known."""
    cuts = np.array([cut_mm.get(s.product, np.nan) for s in spans])
    index = np.searchsorted(starts_us, fine_us[:-1], side="right") - 1
    return np.asarray(cuts[np.clip(index, 0, len(spans) - 1)])


#: A cause is learned from at least so many of its events, and all of them from so many stretches.
LEAST_EVENTS = 8
LEAST_BINS = 20
#: With fewer degrees of freedom, one stretch alone says what a cause cost.
LEAST_DF = 2.0
#: The mean of what was measured needs so many.
LEAST_MEASURED = 5
CAUSES = ("restart", "reel_start", "splice", "changeover", "proportional")


def learn_waste(bins: Sequence[WrapBin], reels: Sequence[ReelSpan], plant_waste: Waste) -> Waste:
    """Learn the waste of one kind of web.

    Source: printers-waste, lawson-hanson-1974, mackinnon-white-1985
    """
    left_m = [r.scrapped_m for r in reels if r.scrapped_m]
    ends = _allowance(interval_of_mean(left_m, least=LEAST_MEASURED, floor=0.0))
    waste = plant_waste if ends is None else replace(plant_waste, reel_end=ends)
    return replace(waste, **_regress(bins))


def blanks_per_restart(counts: MachineCounts, events: WrapEvents, end: datetime) -> Estimate:
    """The blank wraps at a restart, from their counter; a run too short for the readings to show parts no two."""
    if not counts.has_read("blank wraps") or len(events.restarts_us) < LEAST_EVENTS:
        return Estimate.unknown(tr("no counter of blank wraps, or too few restarts"))
    restarts_us, end_us = np.sort(events.restarts_us), micros([end])
    at = np.concatenate((restarts_us[restarts_us < end_us], end_us))
    blanks = counts.count("blank wraps", at[:-1], at[1:])
    if blanks is None:
        return Estimate.unknown(tr("no counter of blank wraps"))
    return interval_of_mean(blanks.value[~np.isnan(blanks.value)].tolist(), least=LEAST_MEASURED, floor=0.0)


def _allowance(mean: Estimate) -> Allowance | None:
    if mean.value is None or mean.low is None or mean.high is None:
        return None
    return Allowance(mean.value, mean.low, mean.high, is_learned=True, n=mean.n)


def _regress(bins: Sequence[WrapBin]) -> dict[str, Allowance]:
    """Fit what was fed over; causes that cannot be separated are left out, the rarest first."""
    if len(bins) < LEAST_BINS:
        return {}
    columns = {
        "restart": np.array([b.restarts for b in bins], dtype=float),
        "reel_start": np.array([b.at_change for b in bins], dtype=float),
        "splice": np.array([b.splices for b in bins], dtype=float),
        "changeover": np.array([b.changeovers for b in bins], dtype=float),
        "proportional": np.array([b.net_m for b in bins], dtype=float),
    }
    names = [c for c in CAUSES if c == "proportional" or columns[c].sum() >= LEAST_EVENTS]
    over = np.array([b.over_m for b in bins])
    # What a changeover costs varies most: its stretches have a spread of their own.
    groups = np.array([b.at_change + 2 * (b.changeovers > 0) for b in bins], dtype=float)
    while names:
        try:
            design = np.column_stack([columns[c] for c in names])
            fit = nonnegative_fit(design / design.max(axis=0), over, groups=groups)
        except MeasureError:
            names.remove(min(names, key=lambda c: columns[c].sum()))
            continue
        top = design.max(axis=0)
        return {
            name: Allowance(
                float(fit.coefficients[k] / top[k]),
                float(fit.low[k] / top[k]),
                float(fit.high[k] / top[k]),
                is_learned=True,
                n=int(columns[name].sum()) if name != "proportional" else fit.n,
            )
            for k, name in enumerate(names)
            if fit.df[k] >= LEAST_DF
        }
    return {}
