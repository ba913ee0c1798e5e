"""The whole account of a cut-and-wrap machine's webs over a period, from its counters and logs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import polars as pl

from lineview.core.estimate import Estimate
from lineview.measures.counted import Counted, Steps, steps_by_kind
from lineview.measures.product_spans import ProductSpan, leave_out, product_spans
from lineview.measures.reel_balance import ReelSpan, reel_spans
from lineview.measures.reel_faults import ReelFault, reel_faults
from lineview.measures.reel_left import ReelLeft, reel_left
from lineview.measures.unseen_counts import standing_known
from lineview.measures.use_doubt import with_doubt
from lineview.measures.use_views import Views, reel_metres, views_of
from lineview.measures.wrap_bins import wrap_bins
from lineview.measures.wrap_events import WrapEvents, count_within
from lineview.measures.wrap_factors import web_for
from lineview.measures.wrap_learn import blanks_per_restart, learn_waste
from lineview.measures.wrap_per_thousand import PerThousand, fed_per_thousand
from lineview.measures.wrap_pieces import WRAP_COUNTERS, WrapPieces, wrap_pieces
from lineview.measures.wrap_use import Happened, WebUse, web_use
from lineview.measures.wrap_waste import Waste, assumed_waste
from lineview.plant import Machine, Plant, Web, WebKind

KINDS: tuple[WebKind, ...] = ("film", "wax paper")


@dataclass(frozen=True)
class WrapAccount:
    """What a machine wrapped and what its webs took; `uses` holds the kinds that can be told.

    `fed` holds the metres on each kind's feed counter [m], of webs too that plant.toml does not describe.

    `left_out_min` are minutes in no sum because some counter's increment is not known.
    """

    rows: tuple[WrapPieces, ...]
    uses: tuple[WebUse, ...]
    by_product: tuple[tuple[str, WebUse], ...]
    reels: tuple[ReelSpan, ...]
    faults: tuple[ReelFault, ...]
    waste: Mapping[str, Waste]
    views: tuple[Views, ...]
    blanks: Estimate
    left: Mapping[str, ReelLeft]
    left_out_min: float
    readings: int
    fed: Mapping[str, Counted] = field(default_factory=dict)

    @property
    def good(self) -> float:
        """Good pieces behind the account."""
        return sum(row.good for row in self.rows)

    @property
    def fed_alone(self) -> dict[str, PerThousand]:
        """Give the metres fed a thousand good pieces of each kind of web whose use cannot be split."""
        kinds = [kind for kind in self.fed if all(use.kind != kind for use in self.uses)]
        told = {kind: fed_per_thousand(self.fed[kind], self.good) for kind in kinds}
        return {kind: one for kind, one in told.items() if one is not None}

    def use(self, kind: WebKind) -> WebUse | None:
        """Give the use of a kind of web, or None where it cannot be told."""
        return next((use for use in self.uses if use.kind == kind), None)


def wrap_account(
    plant: Plant,
    machine: Machine,
    readings: pl.DataFrame,
    batches: pl.DataFrame,
    reels: pl.DataFrame,
    events: WrapEvents | None,
    period: tuple[datetime, datetime],
) -> WrapAccount:
    """Draw up the account.

    Parameters
    ----------
    plant, machine : Plant, Machine
        The works and the cut-and-wrap machine.
    readings, batches, reels : polars.DataFrame
        READINGS of the machine, BATCHES, REELS.
    events : WrapEvents or None
        Restarts and changeovers; None where no tape tells, and then no waste is learned.
    period : (datetime, datetime)
        From, to [UTC].

    Returns
    -------
    WrapAccount
        Empty of rows where nothing counts pieces.
    """
    start, end = period
    steps = {what: standing_known(own) for what, own in steps_by_kind(machine, readings).items()}
    spans = _counted_spans(steps, product_spans(batches, machine.line, start, end))
    rows = wrap_pieces(steps, spans, KINDS)
    mounted = [s for s in reel_spans(plant, machine.id, reels, steps, end) if s.mounted < end]
    uses, by_product, views = [], [], []
    wastes: dict[str, Waste] = {}
    fed = {kind: _fed(steps, spans, rows, kind, start, end) for kind in KINDS}
    for kind in KINDS:
        own = [reel for reel in mounted if reel.kind == kind]
        waste = _waste(plant, steps, spans, rows, own, kind, events)
        if waste is None:
            continue
        wastes[kind] = waste
        happened = _happened(events, own, start, end)
        use = web_use(plant, kind, rows, fed[kind], waste, happened)
        by_product += _each_product(plant, kind, rows, waste)
        reconciled = None if events is None else views_of(reel_metres(own, waste, events), kind)
        views += [] if reconciled is None else [reconciled]
        uses += [] if use is None else [with_doubt(use, reconciled)]
    return WrapAccount(
        rows=tuple(rows),
        uses=tuple(uses),
        by_product=tuple(by_product),
        reels=tuple(mounted),
        faults=tuple(reel_faults(mounted)),
        waste=wastes,
        views=tuple(views),
        left=_left(mounted, wastes, rows, (end - start).total_seconds() / 60.0),
        blanks=Estimate.unknown("no stops are known")
        if events is None
        else blanks_per_restart(steps, events, end),
        left_out_min=sum((s.end - s.start).total_seconds() for s in spans if not s.counted) / 60.0,
        readings=sum(steps[what].between(start, end).n for what in steps),
        fed={kind: told for kind, told in fed.items() if told is not None},
    )


def _left(
    reels: Sequence[ReelSpan], wastes: Mapping[str, Waste], rows: Sequence[WrapPieces], minutes: float
) -> dict[str, ReelLeft]:
    """Give what is left on the reels that are on, at the period's own pace."""
    pace = sum(row.wrapped + (row.blanks or 0.0) for row in rows) / minutes if minutes > 0 else 0.0
    out = {}
    for kind, waste in wastes.items():
        own = [reel for reel in reels if reel.kind == kind]
        left = reel_left(own[-1], waste.reel_end.metres, pace or None) if own else None
        if left is not None:
            out[kind] = left
    return out


def _waste(
    plant: Plant,
    steps: Mapping[str, Steps],
    spans: Sequence[ProductSpan],
    rows: Sequence[WrapPieces],
    reels: Sequence[ReelSpan],
    kind: WebKind,
    events: WrapEvents | None,
) -> Waste | None:
    """Give the waste of a kind: learned where a tape shows events, else what stands in plant.toml."""
    stated = _stated(plant, rows, kind)
    if stated is None or events is None:
        return stated
    webs = {row.product: web_for(plant, row.product, kind) for row in rows}
    cut_mm = {product: web.cut_length_mm for product, web in webs.items() if web is not None}
    return learn_waste(wrap_bins(steps, kind, spans, cut_mm, reels, events), reels, stated)


def _counted_spans(steps: dict[str, Steps], spans: list[ProductSpan]) -> list[ProductSpan]:
    """Leave out the time in which a counter of wraps or a feed counter did something unknown."""
    names = (*WRAP_COUNTERS, *KINDS)
    return leave_out(spans, [gap for what in names if what in steps for gap in steps[what].unknown()])


def _fed(
    steps: dict[str, Steps],
    spans: list[ProductSpan],
    rows: list[WrapPieces],
    kind: WebKind,
    start: datetime,
    end: datetime,
) -> Counted | None:
    """Give the metres fed in counted time, with a counter's step of doubt at each edge of it."""
    if kind not in steps or not rows:
        return None
    whole = steps[kind].between(start, end)
    if whole.n < 2:
        return None
    value = sum(row.fed_m.get(kind, 0.0) for row in rows)
    edges = 1 + sum(not span.counted for span in spans)
    doubt = steps[kind].unit_value * edges
    return Counted(value, max(value - doubt, 0.0), value + doubt, whole.n, exact=True)


def _stated(plant: Plant, rows: Sequence[WrapPieces], kind: WebKind) -> Waste | None:
    """Give the allowances in plant.toml of the web that wrapped most."""
    webs: list[tuple[float, Web]] = []
    for row in rows:
        web = web_for(plant, row.product, kind)
        if web is not None:
            webs.append((row.good, web))
    if not webs:
        return None
    return assumed_waste(max(webs, key=lambda pair: pair[0])[1])


def _happened(events: WrapEvents | None, own: Sequence[ReelSpan], start: datetime, end: datetime) -> Happened:
    ended = [r for r in own if r.taken_off is not None and start <= r.taken_off < end]
    known = [r for r in ended if r.left_m is not None]
    scrapped = sum(r.scrapped_m or 0.0 for r in known)
    within = [r for r in own if r.mounted >= start]
    return Happened(
        restarts=None if events is None else count_within(events.restarts, start, end),
        changeovers=None if events is None else count_within(events.changeovers, start, end),
        reels_changed=len(within) if own else None,
        splices=sum(r.splices for r in within) if own else None,
        ends_left_m=scrapped if ended and len(known) == len(ended) else None,
    )


def _each_product(
    plant: Plant, kind: WebKind, rows: Sequence[WrapPieces], waste: Waste
) -> list[tuple[str, WebUse]]:
    """Give each product's own use: geometry, rejects, blank wraps and what is left to explain."""
    out = []
    nothing = Happened(None, None, None, None, None)
    for row in rows:
        fed = row.fed_m.get(kind)
        counted = None if fed is None else Counted(fed, fed, fed, 2)
        use = web_use(plant, kind, [row], counted, waste, nothing)
        if use is not None:
            out.append((row.product, use))
    return out
