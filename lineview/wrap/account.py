"""The whole account of a cut-and-wrap machine's webs over a period, from its counters and logs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.machine.calendar import calendar, shift_windows
from lineview.machine.counters import Ints
from lineview.machine.pieces import MachineCounts, micros
from lineview.machine.products import (
    WEBS,
    WRAP_COUNTERS,
    ProductSpan,
    WrapPieces,
    leave_out,
    product_spans,
    read_moments,
    wrap_pieces,
)
from lineview.plant import Plant, Web, WebKind
from lineview.wrap.learning import blanks_per_restart, learn_waste, wrap_bins
from lineview.wrap.reconcile import ReelEstimates, reel_metres, views_of
from lineview.wrap.reels import ReelFault, ReelSpan, reel_faults, reel_spans
from lineview.wrap.use import EventCounts, ReelLeft, WebUse, reel_left, web_for, web_use, with_doubt
from lineview.wrap.waste import Waste, WrapEvents, assumed_waste, count_within

#: A feed counter read so many usual intervals later or sooner than the wraps is read as they are.
_USUAL = 1.5


@dataclass(frozen=True)
class PerThousand:
    """An amount per thousand good pieces, with bounds; None where it is not known."""

    value: float
    low: float
    high: float
    working: str


def per_thousand(use: WebUse, part: str, unit: str, unit_name: str = "") -> PerThousand | None:
    """What a thousand good pieces take; the working names the unit as people read it."""
    factor = use.factors.get(unit)
    metres = _metres(use, part)
    if factor is None or metres is None or use.good <= 0:
        return None
    value, low, high, working = metres
    scale = factor * 1000.0 / use.good
    factor_text = "" if unit == "m" else tr(" × {factor:.4g} {unit} a metre", factor=factor, unit=unit_name)
    working += factor_text + tr(" ÷ {good:,.0f} good pieces × {thousand:,}", good=use.good, thousand=1000)
    return PerThousand(value * scale, low * scale, high * scale, working)


def fed_per_thousand(fed: Estimate, good: float) -> PerThousand | None:
    """The metres fed a thousand good pieces, of a web that plant.toml does not describe.

    Takes `fed` [m] and the good pieces of the same time.
    """
    if good <= 0:
        return None
    scale = 1000.0 / good
    working = _on_the_counter(fed) + tr(" ÷ {good:,.0f} good pieces × {thousand:,}", good=good, thousand=1000)
    return PerThousand(fed.number * scale, fed.ends[0] * scale, fed.ends[1] * scale, working)


def _metres(use: WebUse, part: str) -> tuple[float, float, float, str] | None:
    """The metres, their bounds and their working."""
    if part == "":
        how = tr("metres fed and left on reels taken off") if use.has_feed else tr("sum of the causes; no feed counter")
        return use.metres, use.low_m, use.high_m, tr("{metres:,.1f} m ({how})", metres=use.metres, how=how)
    if part in ("fed", "difference"):
        return None if use.fed is None else _fed_metres(use, use.fed, part)
    cause = use.cause(part)
    if cause is None:
        return None
    working = tr("{metres:,.2f} m: {working}", metres=cause.metres, working=cause.working)
    return cause.metres, cause.low, cause.high, working


def _fed_metres(use: WebUse, fed: Estimate, part: str) -> tuple[float, float, float, str]:
    if part == "fed":
        return fed.number, *fed.ends, _on_the_counter(fed)
    working = tr("({fed:,.1f} m fed − {geometry:,.1f} m by geometry)", fed=fed.number, geometry=use.geometry_m)
    low, high = fed.ends[0] - use.geometry_high_m, fed.ends[1] - use.geometry_low_m
    return fed.number - use.geometry_m, low, high, working


def _blanks(counts: MachineCounts, events: WrapEvents | None, end: datetime) -> Estimate:
    return Estimate.unknown(tr("no stops are known")) if events is None else blanks_per_restart(counts, events, end)


def _on_the_counter(fed: Estimate) -> str:
    return tr("{fed:,.1f} m on the feed counter", fed=fed.number)


@dataclass(frozen=True)
class WrapAccount:
    """What a machine wrapped and what its webs took; `uses` holds the kinds whose use is known.

    `fed` holds the metres on each kind's feed counter [m], of webs too that plant.toml does not describe, and
    `fed_good` the good pieces of the same time.

    `pieces` are the good pieces of the whole period, as every other answer counts them, and `outside` those of
    them that were made outside every shift; `left_out_min` are minutes in no other sum because some counter's
    increment is not known.
    """

    rows: tuple[WrapPieces, ...]
    uses: tuple[WebUse, ...]
    by_product: tuple[tuple[str, WebUse], ...]
    reels: tuple[ReelSpan, ...]
    faults: tuple[ReelFault, ...]
    waste: Mapping[str, Waste]
    views: tuple[ReelEstimates, ...]
    blanks: Estimate
    reels_left: Mapping[str, ReelLeft]
    left_out_min: float
    readings: int
    fed: Mapping[str, Estimate] = field(default_factory=dict)
    fed_good: Mapping[str, float] = field(default_factory=dict)
    pieces: Estimate | None = None
    outside: Estimate = field(default_factory=lambda: Estimate.exact(0.0))

    @property
    def good(self) -> float:
        """Good pieces behind the account."""
        return sum(row.good for row in self.rows)

    @property
    def fed_alone(self) -> dict[str, PerThousand]:
        """The metres fed a thousand good pieces of each kind of web whose use cannot be split."""
        kinds = [kind for kind in self.fed if all(use.kind != kind for use in self.uses)]
        amounts = {kind: fed_per_thousand(self.fed[kind], self.fed_good[kind]) for kind in kinds}
        return {kind: amount for kind, amount in amounts.items() if amount is not None}

    def use(self, kind: str) -> WebUse | None:
        """The use of a kind of web, or None where it is not known."""
        return next((use for use in self.uses if use.kind == kind), None)


def wrap_account(
    plant: Plant,
    counts: MachineCounts,
    batches: pl.DataFrame,
    reels: pl.DataFrame,
    events: WrapEvents | None,
    period: tuple[datetime, datetime],
) -> WrapAccount:
    """Draw up the account.

    Parameters
    ----------
    plant : Plant
        The works.
    counts : MachineCounts
        Of the cut-and-wrap machine, over the period.
    batches, reels : polars.DataFrame
        BATCHES, REELS.
    events : WrapEvents or None
        Restarts and changeovers; None without a timeline, and then no waste is learned.
    period : (datetime, datetime)
        From, to [UTC].

    Returns
    -------
    WrapAccount
        Empty of rows where nothing counts pieces.
    """
    start, end = period
    spans = _readable_spans(counts, product_spans(batches, counts.machine.line, start, end))
    rows = wrap_pieces(counts, spans)
    read_until = _moment(int(read_moments(counts, [end])[0]))
    on_machine = [s for s in reel_spans(plant, counts, reels, read_until) if s.mounted < end]
    readings = _readings(counts, start, end)
    mounts = [s for s in on_machine if readings and (s.taken_off is None or s.taken_off > start)]
    in_period = {(s.reel, s.mounted) for s in mounts}
    uses, by_product, views = [], [], []
    wastes: dict[str, Waste] = {}
    by_kind = {kind: _common_time(counts, spans, rows, kind) for kind in WEBS}
    for kind, (its_spans, its_rows, fed, (first, last)) in by_kind.items():
        of_kind = [reel for reel in on_machine if reel.kind == kind]
        waste = _waste(plant, counts, its_spans, its_rows, of_kind, kind, events)
        if waste is None:
            continue
        wastes[kind] = waste
        event_counts = _event_counts(events, of_kind, first, last)
        use = web_use(plant, kind, its_rows, fed, waste, event_counts)
        by_product += _each_product(plant, kind, its_rows, waste)
        before = {reel.origin for reel in of_kind if reel.mounted < start}
        within = [reel for reel in of_kind if reel.origin not in before]
        kind_views = None if events is None else views_of(reel_metres(within, waste, events), kind)
        views += [] if kind_views is None else [kind_views]
        uses += [] if use is None else [with_doubt(use, kind_views)]
    return WrapAccount(
        rows=tuple(rows),
        uses=tuple(uses),
        by_product=tuple(by_product),
        reels=tuple(mounts),
        faults=tuple(fault for fault in reel_faults(on_machine) if (fault.reel, fault.at) in in_period),
        waste=wastes,
        views=tuple(views),
        reels_left=_reels_left(on_machine, wastes, rows, (end - start).total_seconds() / 60.0),
        blanks=_blanks(counts, events, end),
        left_out_min=max(_uncounted_min(part.spans) for part in by_kind.values()),
        readings=readings,
        fed={kind: part.fed for kind, part in by_kind.items() if part.fed is not None},
        fed_good={kind: sum(row.good for row in part.rows) for kind, part in by_kind.items()},
        pieces=None if (good := counts.between([start, end]).good) is None else good.at(0),
        outside=counts.outside(shift_windows(calendar(plant.shifts, plant.zone, start, end)), start, end),
    )


def _readings(counts: MachineCounts, start: datetime, end: datetime) -> int:
    """How many readings of the counters a period rests on."""
    at = micros([start, end])
    counts_of = [counts.count(kind, at[:1], at[1:]) for kind in (*WRAP_COUNTERS, *WEBS)]
    return sum(int(pieces.readings[0]) for pieces in counts_of if pieces is not None)


def _reels_left(
    reels: Sequence[ReelSpan], wastes: Mapping[str, Waste], rows: Sequence[WrapPieces], minutes: float
) -> dict[str, ReelLeft]:
    """What is left on the reels that are on, at the period's own pace."""
    pace = sum(row.wrapped + (row.blanks or 0.0) for row in rows) / minutes
    out = {}
    for kind, waste in wastes.items():
        of_kind = [reel for reel in reels if reel.kind == kind]
        reel_left_now = reel_left(of_kind[-1], waste.reel_end.metres, pace or None) if of_kind else None
        if reel_left_now is not None:
            out[kind] = reel_left_now
    return out


def _waste(
    plant: Plant,
    counts: MachineCounts,
    spans: Sequence[ProductSpan],
    rows: Sequence[WrapPieces],
    reels: Sequence[ReelSpan],
    kind: WebKind,
    events: WrapEvents | None,
) -> Waste | None:
    """The waste of a kind: learned where a timeline shows events, else plant.toml's."""
    plant_waste = _plant_waste(plant, rows, kind)
    if plant_waste is None or events is None:
        return plant_waste
    webs = {row.product: web_for(plant, row.product, kind) for row in rows}
    cut_mm = {product: web.cut_length_mm for product, web in webs.items() if web is not None}
    return learn_waste(wrap_bins(counts, kind, spans, cut_mm, reels, events), reels, plant_waste)


def _readable_spans(counts: MachineCounts, spans: list[ProductSpan]) -> list[ProductSpan]:
    """Leave out the time in which a counter of wraps or a feed counter did something unknown."""
    gaps = counts.open_intervals(*WRAP_COUNTERS, *WEBS)
    return leave_out(spans, [(_moment(a), _moment(b)) for a, b in gaps])


def _moment(at_us: int) -> datetime:
    return datetime.fromtimestamp(at_us / 1e6, UTC)


class _CommonTime(NamedTuple):
    """The time in which a kind's feed counter and the wraps were both read, and what they counted in it."""

    spans: list[ProductSpan]
    rows: list[WrapPieces]
    fed: Estimate | None
    window: tuple[datetime, datetime]


def _common_time(counts: MachineCounts, spans: list[ProductSpan], rows: list[WrapPieces], kind: WebKind) -> _CommonTime:
    """Keep to the time in which a kind's feed counter was read too; all of it where it never was."""
    start, end = spans[0].start, spans[-1].end
    nothing = _CommonTime(spans, rows, None, (start, end))
    if not rows or not counts.has_read(kind):
        return nothing
    counter = counts.counters[kind]
    first, last = (
        _moment(int(at)) for at in np.clip(read_moments(counts, [start, end]), counter.start_us[0], counter.end_us[-1])
    )
    if first >= last:
        return nothing
    # A reading or so less at an edge is the edge's own doubt; what is longer has no wraps beside its metres.
    spare = timedelta(microseconds=_USUAL * counter.usual_us)
    unread = [(a, b) for a, b in ((start, first), (last, end)) if b - a > spare and _has_wraps(counts, kind, a, b)]
    within = leave_out(spans, unread) if unread else spans
    pieces = wrap_pieces(counts, within) if unread else rows
    fed = _metres_fed(counts, within, pieces, kind)
    if fed is None:
        return nothing
    return _CommonTime(within, pieces, fed, (first if unread else start, last if unread else end))


def _has_wraps(counts: MachineCounts, kind: WebKind, start: datetime, end: datetime) -> bool:
    """Whether anything was wrapped, or fed, in some time."""
    at = read_moments(counts, [start, end])
    wraps, fed = counts.total(at[:1], at[1:]), counts.count(kind, at[:1], at[1:])
    return any(count is not None and float(count.high[0]) > 0 for count in (wraps, fed)) and at[1] > at[0]


def _metres_fed(
    counts: MachineCounts, spans: list[ProductSpan], rows: list[WrapPieces], kind: WebKind
) -> Estimate | None:
    """The metres fed for the good pieces of counted time, with the doubt of each edge of it.

    An interval over an edge may lie on either side of it, with its metres and with its pieces, and a counter
    hides up to a step. What the pieces may be more or fewer is given as metres, for they are divided by them.
    """
    at = _stretches(spans, counts.counters[kind].start_us[0], counts.counters[kind].end_us[-1], counts)
    fed = counts.count(kind, at[0], at[1])
    good = counts.pieces(at[0], at[1]).good
    if fed is None or good is None or not len(at[0]) or int(fed.readings.sum()) < 2:
        return None
    value, pieces = sum(row.fed_m.get(kind, 0.0) for row in rows), sum(row.good for row in rows)
    low, high = float(fed.low.sum()), float(fed.high.sum())
    if pieces > 0:
        least = float(good.low.sum())
        low *= pieces / max(float(good.high.sum()), pieces)
        high = high * pieces / min(least, pieces) if least > 0 else math.inf
    return Estimate(value, min(low, value), max(high, value), int(fed.readings.sum()))


def _stretches(spans: Sequence[ProductSpan], first: int, last: int, counts: MachineCounts) -> tuple[Ints, Ints]:
    """Begins and ends [µs] of counted time without a break in it, where both counters were read."""
    at = np.clip(read_moments(counts, [span.start for span in spans] + [spans[-1].end]), first, last)
    readable = np.array([span.is_counted for span in spans]) & (at[1:] > at[:-1])
    edge = np.diff(np.concatenate(([0], readable.astype(int), [0])))
    return at[np.flatnonzero(edge > 0)], at[np.flatnonzero(edge < 0)]


def _uncounted_min(spans: Sequence[ProductSpan]) -> float:
    """Minutes [min] that are not counted."""
    return sum((span.end - span.start).total_seconds() for span in spans if not span.is_counted) / 60.0


def _plant_waste(plant: Plant, rows: Sequence[WrapPieces], kind: WebKind) -> Waste | None:
    """The allowances in plant.toml of the web that wrapped most."""
    webs: list[tuple[float, Web]] = []
    for row in rows:
        web = web_for(plant, row.product, kind)
        if web is not None:
            webs.append((row.good, web))
    if not webs:
        return None
    return assumed_waste(max(webs, key=lambda pair: pair[0])[1])


def _event_counts(events: WrapEvents | None, reels: Sequence[ReelSpan], start: datetime, end: datetime) -> EventCounts:
    reels_off = [r for r in reels if r.taken_off is not None and start <= r.taken_off < end]
    with_rest = [r for r in reels_off if r.left_m is not None]
    scrapped_m = sum(r.scrapped_m or 0.0 for r in with_rest)
    within = [r for r in reels if r.mounted >= start]
    later = sum(r.splices for r in within if r.taken_off is None or r.taken_off > end)
    earlier = sum(r.splices for r in reels if r.mounted < start and (r.taken_off is None or r.taken_off > start))
    return EventCounts(
        restarts=None if events is None else count_within(events.restarts_us, start, end),
        changeovers=None if events is None else count_within(events.changeovers_us, start, end),
        reels_changed=len(within) if reels else None,
        splices=sum(r.splices for r in within) if reels else None,
        ends_left_m=scrapped_m if reels_off and len(with_rest) == len(reels_off) else None,
        splices_open=(later, earlier),
    )


def _each_product(plant: Plant, kind: WebKind, rows: Sequence[WrapPieces], waste: Waste) -> list[tuple[str, WebUse]]:
    """Each product's own use: geometry, rejects, blank wraps and what is left to explain."""
    out = []
    nothing = EventCounts(None, None, None, None, None)
    for row in rows:
        fed = row.fed_m.get(kind)
        metres = None if fed is None else Estimate.exact(fed, 2)
        use = web_use(plant, kind, [row], metres, waste, nothing)
        if use is not None:
            out.append((row.product, use))
    return out


def waste_ratios(accounts: Sequence[WrapAccount]) -> dict[str, float]:
    """Give used over geometry for each kind of web that a feed counter measured.

    Parameters
    ----------
    accounts : sequence of WrapAccount
        One a machine.

    Returns
    -------
    dict
        From kind to ratio; sums of metres over sums of metres, at least 1. A kind without a feed counter is
        not in it.
    """
    out: dict[str, float] = {}
    for kind in WEBS:
        uses = [use for account in accounts if (use := account.use(kind)) is not None and use.has_feed]
        geometry = sum(use.geometry_m for use in uses)
        if geometry > 0:
            out[kind] = max(sum(use.metres for use in uses) / geometry, 1.0)
    return out
