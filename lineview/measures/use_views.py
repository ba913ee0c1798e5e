"""Three views of the same metres, reconciled reel by reel; a label, counter or cut that is wrong is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from lineview.measures.reel_balance import ReelSpan
from lineview.measures.wrap_events import WrapEvents, count_within
from lineview.measures.wrap_waste import Waste
from lineview.stats.reconciliation import AgreedViews, critical_adjustment, reconcile_views

Floats = npt.NDArray[np.float64]
VIEWS = ("geometry", "feed counter", "reel balance")
#: Standard uncertainty of a reel's labelled length over the length: ±2 % is usual (k = 2). An assumption.
LABEL_SD = 0.01
#: Of the feed counter: a scale error common to all reels, and one of each reel. Assumptions.
FEED_COMMON_SD, FEED_OWN_SD = 0.005, 0.003
#: Of the cut length: common, and of each reel. Assumptions.
CUT_COMMON_SD, CUT_OWN_SD = 0.005, 0.003
#: Metres by which the moment of a reel change may put counts on the wrong reel, and by which a rest is read.
CHANGE_SD_M, READ_SD_M = 1.5, 2.5


@dataclass(frozen=True)
class ReelMetres:
    """One reel's metres in each view [m], None where a view has nothing; all its mountings together."""

    reel: str
    kind: str
    geometry: float | None
    fed: float | None
    drawn: float | None
    label_m: float | None
    own_sd_m: float

    @property
    def told(self) -> tuple[float | None, float | None, float | None]:
        """The three views in the order of VIEWS."""
        return self.geometry, self.fed, self.drawn


@dataclass(frozen=True)
class WrongLabel:
    """A reel that holds more or less than its label says, by a share and beyond the tolerance (k = 2).

    `what` is the view that does not fit: the label, the feed counter, or the wraps.
    """

    reel: str
    kind: str
    what: str
    share: float
    tolerance: float
    standardized: float


@dataclass(frozen=True)
class ViewTotal:
    """Metres of all compared reels in one view, with standard uncertainty and adjustment [m]."""

    view: str
    metres: float
    sd: float
    adjustment: float


@dataclass(frozen=True)
class Views:
    """The reconciled use of one kind of web over the reels that could be compared."""

    kind: str
    reels: int
    totals: tuple[ViewTotal, ...]
    reconciled_m: float
    reconciled_sd_m: float
    statistic: float
    df: int
    p: float
    wrong: tuple[WrongLabel, ...]


def reel_metres(reels: Sequence[ReelSpan], waste: Waste, events: WrapEvents | None) -> list[ReelMetres]:
    """Give each finished reel's metres in the three views.

    Parameters
    ----------
    reels : sequence of ReelSpan
        Of one kind on one machine.
    waste : Waste
        Metres lost at restarts, reel starts and splices; they are part of the geometry's view.
    events : WrapEvents or None
        Restarts and changeovers.

    Returns
    -------
    list of ReelMetres
        Of reels that were taken off and whose counters are known throughout.
    """
    mountings: dict[str, list[ReelSpan]] = {}
    for number, span in enumerate(reels):
        mountings.setdefault(span.origin or span.reel or f"number {number + 1}", []).append(span)
    out = []
    for reel, spans in mountings.items():
        if spans[-1].taken_off is None or any(s.wraps is None and s.fed is None for s in spans):
            continue
        geometry = _sum([_needed(s, waste, events) for s in spans])
        fed = _sum([None if s.fed is None else s.fed.number for s in spans])
        drawn, doubt = _drawn(spans, waste)
        if sum(v is not None for v in (geometry, fed, drawn)) >= 2:
            out.append(ReelMetres(reel, spans[0].kind, geometry, fed, drawn, spans[0].label_m, doubt))
    return out


def _needed(span: ReelSpan, waste: Waste, events: WrapEvents | None) -> float | None:
    """Give the metres that a mounting's wraps, its start, splices and restarts needed."""
    if span.wraps is None or span.cut_length_mm is None or span.taken_off is None:
        return None
    metres = span.wraps * span.cut_length_mm / 1000.0
    metres += waste.reel_start.metres + span.splices * waste.splice.metres
    if events is None:
        return metres
    for moments, allowance in ((events.restarts, waste.restart), (events.changeovers, waste.changeover)):
        if allowance is not None:
            metres += allowance.metres * count_within(moments, span.mounted, span.taken_off)
    return metres


def _drawn(spans: Sequence[ReelSpan], waste: Waste) -> tuple[float | None, float]:
    """Give label less what was left at last, and the doubt of an end that nobody measured [m]."""
    label, left = spans[0].label_m, spans[-1].left_m
    if label is None:
        return None, 0.0
    if left is None:
        return label - waste.reel_end.metres, max(waste.reel_end.metres, READ_SD_M)
    return label - left, READ_SD_M


def _sum(values: Sequence[float | None]) -> float | None:
    told = [v for v in values if v is not None]
    return float(sum(told)) if len(told) == len(values) else None


def views_of(metres: Sequence[ReelMetres], kind: str, *, label_sd: float = LABEL_SD) -> Views | None:
    """Reconcile the views of one kind's reels and name what does not fit.

    Parameters
    ----------
    metres : sequence of ReelMetres
        Of one kind.
    kind : str
        "film" or "wax paper".
    label_sd : float
        Standard uncertainty of a label over its length.

    Returns
    -------
    Views or None
        None where no reel has two views. A view found wrong is set aside and the rest reconciled again,
        one at a time, until all that is left fits.

    Notes
    -----
    Only with three views can it be told which is wrong; with two, nothing is named.

    Source: vdi-2048, narasimhan-jordache-2000, gum
    """
    own = [m for m in metres if m.kind == kind]
    if not own:
        return None
    wrong: list[WrongLabel] = []
    current = list(own)
    critical = critical_adjustment(len(own))
    while True:
        index = [(k, v) for k, m in enumerate(current) for v in range(3) if m.told[v] is not None]
        fit = _fit(current, index, label_sd)
        found = None if fit is None else _worst(current, index, fit, critical, label_sd)
        if fit is None:
            return None
        if found is None:
            break
        k, bad = found
        wrong.append(bad)
        current[k] = _without(current[k], bad.what)
    return _summed(own, current, index, fit, kind, tuple(wrong), label_sd)


def _fit(
    current: Sequence[ReelMetres], index: Sequence[tuple[int, int]], label_sd: float
) -> AgreedViews | None:
    """Reconcile: within each reel, every view there is must say the same."""
    reel = np.array([k for k, _ in index])
    if not (reel[1:] == reel[:-1]).any():
        return None
    measured = np.array([current[k].told[v] or 0.0 for k, v in index])
    return reconcile_views(measured, reel, *_uncertainties(current, index, measured, label_sd))


def _uncertainties(
    current: Sequence[ReelMetres], index: Sequence[tuple[int, int]], measured: Floats, label_sd: float
) -> tuple[Floats, Floats]:
    """Each reel's own doubt [m], and what all reels of a view share: of the cut length, and of the feed."""
    view = np.array([v for _, v in index])
    label = np.array([current[k].label_m or 0.0 for k, _ in index])
    # A label's error is one of the whole reel, however little of it was drawn.
    own = np.where(view == 2, label_sd * label, np.choose(view, [CUT_OWN_SD, FEED_OWN_SD, 0.0]) * measured)
    doubt = np.array([current[k].own_sd_m if v == 2 else CHANGE_SD_M for k, v in index])
    shared = [np.where(view == v, sd * measured, 0.0) for v, sd in ((0, CUT_COMMON_SD), (1, FEED_COMMON_SD))]
    return np.hypot(own, doubt), np.column_stack(shared)


def _worst(
    current: Sequence[ReelMetres],
    index: Sequence[tuple[int, int]],
    fit: AgreedViews,
    critical: float,
    label_sd: float,
) -> tuple[int, WrongLabel] | None:
    """Find the largest standardized adjustment beyond the critical one, in a reel with three views."""
    three = {k for k, _ in index if all(v is not None for v in current[k].told)}
    size = np.array(
        [abs(s) if k in three else 0.0 for (k, _), s in zip(index, fit.standardized, strict=True)]
    )
    at = int(size.argmax())
    if size[at] <= critical:
        return None
    k, v = index[at]
    whole = current[k].label_m if v == 2 else current[k].told[v]
    share = float(fit.adjustments[at]) / (whole or 1.0)
    tolerance = 2.0 * (CUT_OWN_SD, FEED_OWN_SD, label_sd)[v]
    what = ("wraps", "feed counter", "label")[v]
    return k, WrongLabel(
        current[k].reel, current[k].kind, what, share, tolerance, float(fit.standardized[at])
    )


def _without(metres: ReelMetres, what: str) -> ReelMetres:
    """Set one view of a reel aside."""
    if what == "label":
        return replace(metres, drawn=None)
    return replace(metres, fed=None) if what == "feed counter" else replace(metres, geometry=None)


def _summed(
    own: Sequence[ReelMetres],
    current: Sequence[ReelMetres],
    index: Sequence[tuple[int, int]],
    fit: AgreedViews,
    kind: str,
    wrong: tuple[WrongLabel, ...],
    label_sd: float,
) -> Views:
    """Sum measured and reconciled metres over the reels."""
    first: dict[int, int] = {}
    for at, (k, _) in enumerate(index):
        first.setdefault(k, at)
    pick = list(first.values())
    values = fit.values[pick]
    measured = np.array([current[k].told[v] or 0.0 for k, v in index])
    own_sd, shared_sd = _uncertainties(current, index, measured, label_sd)
    totals = []
    for v, name in enumerate(VIEWS):
        told = [m.told[v] for m in own]
        if any(t is None for t in told):
            continue
        rows = [i for i, (_, view) in enumerate(index) if view == v]
        total = float(sum(t for t in told if t is not None))
        sd = float(np.sqrt((own_sd[rows] ** 2).sum() + (shared_sd[rows].sum(axis=0) ** 2).sum()))
        totals.append(ViewTotal(name, total, sd, float(values.sum()) - total))
    return Views(
        kind=kind,
        reels=len(own),
        totals=tuple(totals),
        reconciled_m=float(values.sum()),
        reconciled_sd_m=fit.sum_sd,
        statistic=fit.statistic,
        df=fit.df,
        p=fit.p,
        wrong=wrong,
    )
