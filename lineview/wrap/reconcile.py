"""Three views of the same metres, reconciled reel by reel; a label, counter or cut that is wrong is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineview.core.estimate import Estimate, K
from lineview.core.language import mark
from lineview.stats.reconciliation import AgreedViews, critical_adjustment, reconcile_views
from lineview.wrap.reels import ReelSpan
from lineview.wrap.waste import Waste, WrapEvents, count_within

Floats = npt.NDArray[np.float64]
VIEWS = (mark("geometry"), mark("feed counter"), mark("reel balance"))
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
    unwound: float | None
    label_m: float | None
    own_sd_m: float

    @property
    def views(self) -> tuple[float | None, float | None, float | None]:
        """The three views in the order of VIEWS."""
        return self.geometry, self.fed, self.unwound


@dataclass(frozen=True)
class WrongLabel:
    """A reel that holds more or less than its label says, by a share and beyond the tolerance (k = 2).

    `view` is the one that does not fit: the label, the feed counter, or the wraps. Of a label `label_m` is what it
    says [m], and `length` what the reel held [m] by the other two.
    """

    reel: str
    kind: str
    view: str
    share: float
    tolerance: float
    standardized: float
    label_m: float | None = None
    length: Estimate | None = None


@dataclass(frozen=True)
class ViewTotal:
    """Metres of all compared reels in one view, with standard uncertainty and adjustment [m]."""

    view: str
    metres: float
    sd: float
    adjustment: float


@dataclass(frozen=True)
class ReelEstimates:
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
    """Each finished reel's metres in the three views."""
    mountings: dict[str, list[ReelSpan]] = {}
    for span in reels:
        mountings.setdefault(span.origin, []).append(span)
    out = []
    for reel, spans in mountings.items():
        if spans[-1].taken_off is None or any(s.wraps is None and s.fed is None for s in spans):
            continue
        geometry = _sum([_metres_needed(s, waste, events) for s in spans])
        fed = _sum([None if s.fed is None else s.fed.number for s in spans])
        unwound, doubt = _metres_unwound(spans, waste)
        if sum(v is not None for v in (geometry, fed, unwound)) >= 2:
            out.append(ReelMetres(reel, spans[0].kind, geometry, fed, unwound, spans[0].label_m, doubt))
    return out


def _metres_needed(span: ReelSpan, waste: Waste, events: WrapEvents | None) -> float | None:
    """The metres that a mounting's wraps, its start, splices and restarts needed."""
    if span.wraps is None or span.cut_length_mm is None or span.taken_off is None:
        return None
    metres = span.wraps * span.cut_length_mm / 1000.0
    metres += waste.reel_start.metres + span.splices * waste.splice.metres
    if events is None:
        return metres
    for moments, allowance in ((events.restarts_us, waste.restart), (events.changeovers_us, waste.changeover)):
        if allowance is not None:
            metres += allowance.metres * count_within(moments, span.mounted, span.taken_off)
    return metres


def _metres_unwound(spans: Sequence[ReelSpan], waste: Waste) -> tuple[float | None, float]:
    """Label less the final remainder, and the uncertainty of an end that was not measured [m]."""
    label, remainder_m = spans[0].label_m, spans[-1].left_m
    if label is None:
        return None, 0.0
    if remainder_m is None:
        return label - waste.reel_end.metres, max(waste.reel_end.metres, READ_SD_M)
    return label - remainder_m, READ_SD_M


def measured_length(metres: ReelMetres) -> Estimate | None:
    """What a reel held when it was new [m], by wraps and feed counter without its label; None without both.

    Their mean weighted by inverse variance, and what was left at last; 95 % of such intervals hold the length.

    Source: gum
    """
    if metres.geometry is None or metres.fed is None or metres.unwound is None or metres.label_m is None:
        return None
    shares = ((metres.geometry, CUT_COMMON_SD, CUT_OWN_SD), (metres.fed, FEED_COMMON_SD, FEED_OWN_SD))
    weights = [1 / ((size * common) ** 2 + (size * own_sd) ** 2 + CHANGE_SD_M**2) for size, common, own_sd in shares]
    used_m = sum(weight * size for weight, (size, _, _) in zip(weights, shares, strict=True)) / sum(weights)
    sd_m = (1 / sum(weights) + metres.own_sd_m**2) ** 0.5
    return Estimate.expanded(used_m + metres.label_m - metres.unwound, sd_m, 2, "95 % confidence (GUM, k = 2)")


def _sum(values: Sequence[float | None]) -> float | None:
    numbers = [v for v in values if v is not None]
    return float(sum(numbers)) if len(numbers) == len(values) else None


def views_of(metres: Sequence[ReelMetres], kind: str, *, label_sd: float = LABEL_SD) -> ReelEstimates | None:
    """Reconcile the views of one kind's reels and name mismatches.

    Only three views show which one is wrong; with two, nothing is named.

    Source: vdi-2048, narasimhan-jordache-2000, gum
    """
    of_kind = [m for m in metres if m.kind == kind]
    if not of_kind:
        return None
    table = _Table.of(of_kind, label_sd)
    critical = critical_adjustment(len(of_kind))
    wrong: list[WrongLabel] = []
    has_view = table.has_view.copy()
    while True:
        fit = table.fit(has_view)
        if fit is None:
            return None
        worst = table.worst(has_view, fit, critical)
        if worst is None:
            return table.sum_up(has_view, fit, kind, tuple(wrong))
        reel, view, label = worst
        wrong.append(label)
        has_view[view, reel] = False


@dataclass(frozen=True)
class _Table:
    """Views of reels: metres (3, n) [m] with nan where a view has nothing, and what they are unsure by."""

    reels: Sequence[ReelMetres]
    metres: Floats
    own_sd: Floats
    shared_sd: Floats
    label_m: Floats
    label_sd: float

    @classmethod
    def of(cls, reels: Sequence[ReelMetres], label_sd: float) -> _Table:
        """Each reel's own doubt [m], and what all reels of a view share: of cut length and of feed."""
        metres = np.array(
            [[np.nan if v is None else v for v in view] for view in zip(*(m.views for m in reels), strict=True)]
        )
        label = np.array([m.label_m or 0.0 for m in reels])
        size = np.nan_to_num(metres)
        # A label's error is one of the whole reel, however little of it was unwound.
        own_sd = np.stack((CUT_OWN_SD * size[0], FEED_OWN_SD * size[1], label_sd * label))
        end = np.array([m.own_sd_m for m in reels])
        doubt = np.stack((np.full(len(reels), CHANGE_SD_M), np.full(len(reels), CHANGE_SD_M), end))
        shared_sd = np.zeros((2, *metres.shape))
        shared_sd[0, 0], shared_sd[1, 1] = CUT_COMMON_SD * size[0], FEED_COMMON_SD * size[1]
        return cls(reels, metres, np.hypot(own_sd, doubt), shared_sd, label, label_sd)

    @property
    def has_view(self) -> npt.NDArray[np.bool_]:
        """Which views there are."""
        return ~np.isnan(self.metres)

    def fit(self, has_view: npt.NDArray[np.bool_]) -> AgreedViews | None:
        """Reconcile: within each reel all views must agree; None where no reel has two."""
        if not np.any(has_view.sum(axis=0) > 1):
            return None
        return reconcile_views(np.where(has_view, self.metres, np.nan), self.own_sd, self.shared_sd)

    def worst(
        self, has_view: npt.NDArray[np.bool_], fit: AgreedViews, critical: float
    ) -> tuple[int, int, WrongLabel] | None:
        """The largest standardized adjustment beyond the critical one, in a reel with three views."""
        size = np.where(has_view.all(axis=0), np.abs(fit.standardized), 0.0)
        k, v = divmod(int(size.T.argmax()), len(VIEWS))
        if size[v, k] <= critical:
            return None
        metres = self.label_m[k] if v == 2 else self.metres[v, k]
        tolerance = K * (CUT_OWN_SD, FEED_OWN_SD, self.label_sd)[v]
        view = (mark("wraps"), "feed counter", mark("label"))[v]
        reel = self.reels[k]
        length = measured_length(reel) if v == 2 else None
        # What a label is off by is measured without it: the agreed length still leans towards it.
        off_m = float(fit.adjustments[v, k]) if length is None else length.number - float(metres)
        share = off_m / (float(metres) or 1.0)
        distance = float(fit.standardized[v, k])
        of = (reel.reel, reel.kind, view)
        return k, v, WrongLabel(*of, share, tolerance, distance, reel.label_m, length)

    def sum_up(
        self, has_view: npt.NDArray[np.bool_], fit: AgreedViews, kind: str, wrong: tuple[WrongLabel, ...]
    ) -> ReelEstimates:
        """Sum measured and reconciled metres over the reels."""
        totals, agreed_m = [], float(fit.values.sum())
        for v, name in enumerate(VIEWS):
            if np.isnan(self.metres[v]).any():
                continue
            separate, shared_sd = self.own_sd[v, has_view[v]], self.shared_sd[:, v, has_view[v]]
            sd = float(np.sqrt((separate**2).sum() + (shared_sd.sum(axis=1) ** 2).sum()))
            total = float(self.metres[v].sum())
            totals.append(ViewTotal(name, total, sd, agreed_m - total))
        agreement = (agreed_m, fit.sum_sd, fit.statistic, fit.df, fit.p)
        return ReelEstimates(kind, len(self.reels), tuple(totals), *agreement, wrong)
