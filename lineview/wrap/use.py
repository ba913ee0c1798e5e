"""Use of one kind of web over a period: metres by cause, and what they are in m², kg and money."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from lineview.core.errors import check_positive
from lineview.core.estimate import Estimate, K
from lineview.core.language import mark, tr
from lineview.machine.products import WrapPieces
from lineview.plant import Plant, Web, WebKind
from lineview.wrap.reconcile import FEED_COMMON_SD, LABEL_SD, ReelEstimates
from lineview.wrap.reels import ReelSpan, full_reel_m
from lineview.wrap.waste import Allowance, Waste


def grammage_g_m2(thickness_um: float, density_g_cm3: float) -> float:
    """The mass of a square metre of film [g/m²].

    Takes `thickness_um` [µm], `density_g_cm3` [g/cm³].

    Not for coated papers, whose thickness does not follow from grammage and density.

    Source: flexo-yield
    """
    check_positive(thickness_um=thickness_um, density_g_cm3=density_g_cm3)
    return thickness_um * density_g_cm3


def web_grammage_g_m2(web: Web) -> float | None:
    """A web's grammage [g/m²], or None where neither it nor thickness and density are known."""
    if web.grammage_g_m2 is not None:
        return web.grammage_g_m2
    if web.thickness_um is not None and web.density_g_cm3 is not None:
        return grammage_g_m2(web.thickness_um, web.density_g_cm3)
    return None


def wrap_mass_g(webs: Sequence[Web]) -> float | None:
    """The mass of the webs around one piece [g].

    Parameters
    ----------
    webs : sequence of Web
        All that wrap the product.

    Returns
    -------
    float or None
        Sum of grammage × width × cut length [g]; None where there is no web, or one has no grammage.

    Examples
    --------
    >>> film = Web(id="film", kind="film", cut_length_mm=60, width_mm=80, grammage_g_m2=32.5,
    ...            reel_outer_mm=300, reel_core_mm=76)
    >>> round(wrap_mass_g([film]), 4)
    0.156
    >>> wrap_mass_g([]) is None
    True
    """
    masses = []
    for web in webs:
        grammage = web_grammage_g_m2(web)
        if grammage is None:
            return None
        masses.append(grammage * web.cut_length_mm * web.width_mm / 1e6)
    return sum(masses) if masses else None


@dataclass(frozen=True)
class ReelLeft:
    """Metres left on a mounted reel [m] with bounds (k = 2), wraps they make, and minutes they last."""

    reel: str
    metres: float
    low_m: float
    high_m: float
    wraps: int
    minutes: float | None


def reel_left(span: ReelSpan, end_m: float, wraps_per_min: float | None) -> ReelLeft | None:
    """What is left on the reel that is on."""
    if span.taken_off is not None or span.held_m is None or span.fed is None or span.cut_length_mm is None:
        return None
    remainder = max(span.held_m - span.fed.number - end_m, 0.0)
    doubt = K * math.hypot(LABEL_SD * (span.label_m or span.held_m), FEED_COMMON_SD * span.fed.number)
    wraps = math.floor(remainder * 1000.0 / span.cut_length_mm)
    minutes = wraps / wraps_per_min if wraps_per_min else None
    return ReelLeft(span.reel, remainder, max(remainder - doubt, 0.0), remainder + doubt, wraps, minutes)


#: Per metre of web: what it is in each unit.
UNITS = ("m", "m2", "kg", "money")


def web_for(plant: Plant, product: str, kind: WebKind) -> Web | None:
    """The web of a kind that wraps a product; without a product, the one web that all share."""
    entry = plant.product(product) if product else None
    if entry is not None:
        webs = [plant.web(web_id) for web_id in entry.webs]
        return next((web for web in webs if web is not None and web.kind == kind), None)
    of_kind = [web for web in plant.webs if web.kind == kind]
    shapes = {(web.cut_length_mm, web.width_mm, web_grammage_g_m2(web), web.price_per_reel) for web in of_kind}
    return of_kind[0] if len(shapes) == 1 else None


def mix_factors(
    plant: Plant, kind: WebKind, total: Sequence[tuple[WrapPieces, float]]
) -> tuple[dict[str, float | None], dict[str, str]]:
    """m², kg and money a metre over the period's mix of webs, and why one is not known."""
    factors: dict[str, float | None] = {"m": 1.0}
    why: dict[str, str] = {}
    for unit in UNITS[1:]:
        weight, amount = 0.0, 0.0
        missing: set[str] = set()
        for row, cut_mm in total:
            web = web_for(plant, row.product, kind)
            if web is None:
                continue
            per_m = PER_METRE[unit](web)
            weight += row.good * cut_mm
            if per_m is None:
                missing.add(web.id)
            else:
                amount += row.good * cut_mm * per_m
        factors[unit] = None if missing or weight <= 0 else amount / weight
        if missing:
            why[unit] = tr(
                "no {needs} in plant.toml for {webs}", needs=tr(_NEEDS[unit]), webs=", ".join(sorted(missing))
            )
    return factors, why


def _money_per_m(web: Web) -> float | None:
    length = full_reel_m(web)
    return None if web.price_per_reel is None or length is None else web.price_per_reel / length


def _kg_per_m(web: Web) -> float | None:
    grammage = web_grammage_g_m2(web)
    return None if grammage is None else web.width_mm / 1000.0 * grammage / 1000.0


#: What a metre of a web is in each unit, None where plant.toml lacks it.
PER_METRE: Mapping[str, Callable[[Web], float | None]] = {
    "m": lambda _: 1.0,
    "m2": lambda web: web.width_mm / 1000.0,
    "kg": _kg_per_m,
    "money": _money_per_m,
}
_NEEDS = {
    "m2": mark("width"),
    "kg": mark("grammage, nor thickness and density,"),
    "money": mark("price or reel length"),
}


#: In the order of the picture.
CAUSES = (
    *(mark("geometry"), mark("rejects"), mark("blank wraps"), mark("restarts"), mark("reel ends"), mark("splices")),
    *(mark("changeovers"), mark("unexplained")),
)


@dataclass(frozen=True)
class EventCounts:
    """How often events that cost web happened in the period; None where it is not known.

    A reel's splices count where it is mounted, so that each counts once in periods that follow each other. Those of
    `splices_open` may have come later, of the reel that is still on, or here, of the one that was on before.
    """

    restarts: int | None
    changeovers: int | None
    reels_changed: int | None
    splices: int | None
    ends_left_m: float | None
    splices_open: tuple[int, int] = (0, 0)


@dataclass(frozen=True)
class Cause:
    """Metres that one cause took, with bounds, whether an assumption stands behind it, and its working."""

    name: str
    metres: float
    low: float
    high: float
    is_assumed: bool
    working: str


@dataclass(frozen=True)
class WebUse:
    """Use of one kind of web [m]: what the geometry needs, each cause, and all of it.

    `fed` is what the feed counter says; `metres` is all that was used: fed and what stayed on reels taken
    off, or without a feed counter the sum of the causes. `doubt` says what its bounds are.
    """

    kind: WebKind
    good: float
    geometry_m: float
    geometry_low_m: float
    geometry_high_m: float
    fed: Estimate | None
    causes: tuple[Cause, ...]
    metres: float
    low_m: float
    high_m: float
    has_feed: bool
    factors: Mapping[str, float | None]
    why_none: Mapping[str, str]
    doubt: str = ""

    def cause(self, name: str) -> Cause | None:
        """The cause of this name, or None."""
        return next((c for c in self.causes if c.name == name), None)


def web_use(
    plant: Plant, kind: WebKind, rows: Sequence[WrapPieces], fed: Estimate | None, waste: Waste, events: EventCounts
) -> WebUse | None:
    """Split the use of a kind of web by cause.

    Takes `fed` [m].

    Film follows wraps, not good pieces: rejects and blank wraps are on the film's side of the account.

    Source: wrap-efficiency
    """
    cuts = [(row, _cut_length_mm(plant, row.product, kind)) for row in rows]
    rows_with_cut = [(row, cut_mm) for row, cut_mm in cuts if cut_mm is not None]
    good_known = sum(row.good for row, _ in rows_with_cut)
    if not rows_with_cut or good_known <= 0:
        return None
    mean_cut = sum(row.good * cut_mm for row, cut_mm in rows_with_cut) / good_known
    all_cuts = [web.cut_length_mm for web in plant.webs if web.kind == kind]
    total = [(row, mean_cut if cut_mm is None else cut_mm) for row, cut_mm in cuts]
    geometry_m = sum(row.good * cut_mm for row, cut_mm in total) / 1000.0
    unknown = sum(row.good for row, cut_mm in cuts if cut_mm is None) / 1000.0
    known_m = sum(row.good * cut_mm for row, cut_mm in rows_with_cut) / 1000.0
    causes = [
        Cause(
            "geometry",
            geometry_m,
            known_m + unknown * min(all_cuts),
            known_m + unknown * max(all_cuts),
            False,
            tr("{good:,.0f} good pieces × {cut:.4g} mm", good=sum(r.good for r in rows), cut=mean_cut),
        ),
        *_wrap_causes(total),
        *_event_causes(waste, events),
    ]
    causes_m = sum(cause.metres for cause in causes)
    default_m = (events.reels_changed or 0) * waste.reel_end.metres
    ends_m = default_m if events.ends_left_m is None else events.ends_left_m
    metres = causes_m if fed is None else fed.number + ends_m
    if fed is not None:
        rest_m = metres - causes_m
        causes.append(
            Cause(
                "unexplained",
                rest_m,
                rest_m - (fed.number - fed.ends[0]) - sum(c.high - c.metres for c in causes),
                rest_m + (fed.ends[1] - fed.number) + sum(c.metres - c.low for c in causes),
                False,
                tr("{used:,.1f} m used − {explained:,.1f} m explained", used=metres, explained=causes_m),
            )
        )
    low = sum(c.low for c in causes) if fed is None else fed.ends[0] + ends_m
    high = sum(c.high for c in causes) if fed is None else fed.ends[1] + ends_m
    factors, why = mix_factors(plant, kind, total)
    return WebUse(
        kind=kind,
        good=sum(row.good for row in rows),
        geometry_m=geometry_m,
        geometry_low_m=causes[0].low,
        geometry_high_m=causes[0].high,
        fed=fed,
        causes=tuple(causes),
        metres=metres,
        low_m=low,
        high_m=high,
        has_feed=fed is not None,
        factors=factors,
        why_none=why,
    )


def _cut_length_mm(plant: Plant, product: str, kind: WebKind) -> float | None:
    web = web_for(plant, product, kind)
    return None if web is None else web.cut_length_mm


def _wrap_causes(total: Sequence[tuple[WrapPieces, float]]) -> list[Cause]:
    """The metres in rejects and counted blank wraps; a cause that nothing counts is left out."""
    causes = []
    for name, words, row_counts in (
        ("rejects", mark("{count:,.0f} rejects × cut length"), [row.rejects for row, _ in total]),
        ("blank wraps", mark("{count:,.0f} blank wraps × cut length"), [row.blanks for row, _ in total]),
    ):
        counts = [count for count in row_counts if count is not None]
        if len(counts) == len(total):
            m = sum(count * cut_mm for count, (_, cut_mm) in zip(counts, total, strict=True)) / 1000.0
            causes.append(Cause(name, m, m, m, False, tr(words, count=sum(counts))))
    return causes


def _event_causes(waste: Waste, events: EventCounts) -> list[Cause]:
    """The metres that each event cost; events without a count are left out, never 0."""
    causes = []
    if events.restarts is not None and waste.restart is not None:
        causes.append(_times("restarts", events.restarts, waste.restart, "restarts"))
    if events.reels_changed is not None:
        start = _times("reel ends", events.reels_changed, waste.reel_start, "reel starts")
        ends = events.ends_left_m
        if ends is None:
            end = _times("reel ends", events.reels_changed, waste.reel_end, "reel ends")
        else:
            end = Cause("reel ends", ends, ends, ends, False, tr("{ends:,.1f} m left on reels taken off", ends=ends))
        causes.append(
            Cause(
                "reel ends",
                start.metres + end.metres,
                start.low + end.low,
                start.high + end.high,
                (start.is_assumed and start.metres > 0) or (end.is_assumed and end.metres > 0),
                f"{start.working}; {end.working}",
            )
        )
    if events.splices is not None:
        later, earlier = events.splices_open
        low, high = (events.splices - later) * waste.splice.low, (events.splices + earlier) * waste.splice.high
        causes.append(replace(_times("splices", events.splices, waste.splice, "splices"), low=low, high=high))
    if events.changeovers is not None and waste.changeover is not None:
        causes.append(_times("changeovers", events.changeovers, waste.changeover, "changeovers"))
    return causes


def _times(name: str, count: float, allowance: Allowance, events: str) -> Cause:
    basis = tr("learned") if allowance.is_learned else tr("assumed")
    facts = {"count": count, "events": tr(events), "metres": allowance.metres, "basis": basis}
    bounds = (count * allowance.metres, count * allowance.low, count * allowance.high)
    working = tr("{count:,g} {events} × {metres:.3g} m ({basis})", **facts)
    return Cause(name, *bounds, not allowance.is_learned, working)


def with_doubt(use: WebUse, views: ReelEstimates | None) -> WebUse:
    """A use the bounds that its uncertainty makes, instead of the counter's step alone.

    Source: vdi-2048, gum
    """
    if use.fed is None or use.metres <= 0:
        return use
    relative, share, kind = _relative(views)
    step = max(use.high_m - use.metres, use.metres - use.low_m)
    half = math.hypot(K * relative * use.metres, step)
    shift_m = share * use.metres
    low = use.metres + min(shift_m, 0.0) - half
    high = use.metres + max(shift_m, 0.0) + half
    causes = tuple(_as_unsure(cause, use, low, high) for cause in use.causes)
    return replace(use, low_m=max(low, 0.0), high_m=high, causes=causes, doubt=kind)


def _relative(views: ReelEstimates | None) -> tuple[float, float, str]:
    """The relative standard uncertainty, the counter's adjustment over its metres, and words."""
    fed = None if views is None else next((v for v in views.totals if v.view == "feed counter"), None)
    if views is None or fed is None or fed.metres <= 0 or views.reconciled_m <= 0:
        return (
            FEED_COMMON_SD,
            0.0,
            tr("k = 2; the feed counter's scale assumed sure to {doubt:.1%}", doubt=FEED_COMMON_SD),
        )
    relative = views.reconciled_sd_m / views.reconciled_m
    return (
        relative,
        fed.adjustment / fed.metres,
        tr("k = 2, from the views of {reels} reels, reconciled", reels=views.reels),
    )


def _as_unsure(cause: Cause, use: WebUse, low: float, high: float) -> Cause:
    """Widen what is unexplained by as much as the use itself."""
    if cause.name != "unexplained":
        return cause
    return replace(cause, low=cause.low - max(use.low_m - low, 0.0), high=cause.high + max(high - use.high_m, 0.0))
