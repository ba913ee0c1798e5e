"""The wrap answer's figures: use per thousand good pieces in each unit, whole and by cause."""

from __future__ import annotations

from lineview.core.figure import Figure, Period, cannot_tell, slug
from lineview.machine.products import WEBS
from lineview.wrap.account import PerThousand, WrapAccount, per_thousand
from lineview.wrap.use import CAUSES, UNITS, WebUse
from lineview.wrap.waste import Allowance

_SOURCES = ("printers-waste", "lawson-hanson-1974", "mackinnon-white-1985")
#: What is learned, how it is called, and what its events are.
_PARTS = (
    ("restart", "m_per_restart", "metres beyond counted blank wraps at a restart", "restarts"),
    ("reel_start", "m_per_reel_start", "metres lost threading a reel", "reel starts"),
    ("reel_end", "m_per_reel_end", "metres thrown away with a core", "reel ends"),
    ("splice", "m_per_splice", "metres lost at a splice", "splices"),
    ("changeover", "m_per_changeover", "metres lost at a changeover", "changeovers"),
)


def waste_figures(account: WrapAccount, period: Period) -> tuple[Figure, ...]:
    """What waste was learned, with intervals, and what is an assumption until it is."""
    figures = [_blanks(account, period)]
    for kind, waste in account.waste.items():
        for field, tail, label, events in _PARTS:
            name, said = f"{slug(kind)}_{tail}", f"{kind}: {label}"
            allowance: Allowance | None = getattr(waste, field)
            if allowance is None:
                figures.append(cannot_tell(name, said, "m", f"too few {events} to learn from", period))
            else:
                figures.append(_figure(name, said, allowance, events, period))
        figures.append(_running(kind, waste.proportional, period))
        figures += _reconciled(account, kind, period)
        figures += _left(account, kind, period)
    return tuple(figures)


def _blanks(account: WrapAccount, period: Period) -> Figure:
    name, label = "blanks_per_restart", "blank wraps at a restart"
    if account.blanks.value is None:
        return cannot_tell(name, label, "wraps", "no counter of blank wraps, or too few restarts", period)
    told = account.blanks
    return Figure(
        name,
        label,
        told.value,
        "wraps",
        told.low,
        told.high,
        "95 % confidence",
        told.n,
        period,
        working=f"mean over {told.n} restarts of the blank wraps up to the next one",
    )


def _figure(name: str, label: str, allowance: Allowance, events: str, period: Period) -> Figure:
    if not allowance.learned:
        kind = "an assumption from plant.toml until learned: no interval"
        return Figure(name, label, allowance.metres, "m", interval_kind=kind, period=period, working="plant.toml")
    return Figure(
        name,
        label,
        allowance.metres,
        "m",
        allowance.low,
        allowance.high,
        "95 % confidence",
        allowance.n,
        period,
        _SOURCES,
        f"mean of what the reel log says was left on {allowance.n} reels"
        if events == "reel ends"
        else f"non-negative regression of metres fed beyond the wraps' need, {allowance.n} {events}",
    )


def _running(kind: str, part: Allowance, period: Period) -> Figure:
    figure = _figure(f"{slug(kind)}_running_waste_percent", f"{kind}: waste in proportion", part, "stretches", period)
    return Figure(
        figure.name,
        figure.label,
        100.0 * part.metres,
        "%",
        100.0 * part.low if part.learned else None,
        100.0 * part.high if part.learned else None,
        figure.interval_kind,
        figure.n,
        period,
        figure.sources,
        figure.working,
    )


def _reconciled(account: WrapAccount, kind: str, period: Period) -> list[Figure]:
    """The reconciled metres of the compared reels, and how many labels do not fit."""
    views = next((v for v in account.views if v.kind == kind), None)
    name = f"{slug(kind)}_reconciled_m"
    if views is None:
        why = "no reel could be compared: that needs a reel log and counters"
        return [cannot_tell(name, f"{kind}: metres of the compared reels, reconciled", "m", why, period)]
    half = 1.96 * views.reconciled_sd_m
    views_said = ", ".join(f"{t.view} {t.metres:,.0f} ± {2 * t.sd:,.0f} m" for t in views.totals)
    return [
        Figure(
            name,
            f"{kind}: metres of {views.reels} compared reels, reconciled",
            views.reconciled_m,
            "m",
            views.reconciled_m - half,
            views.reconciled_m + half,
            "95 %, from the uncertainties of the three views",
            views.reels,
            period,
            ("vdi-2048", "narasimhan-jordache-2000", "gum"),
            f"least squares of {views_said}; χ² {views.statistic:.1f} on {views.df}, p {views.p:.2g}",
        ),
        Figure(
            f"{slug(kind)}_reels_wrong",
            f"{kind}: reels whose measurements disagree",
            len(views.wrong),
            "reels",
            interval_kind=f"tested at 95 % over {views.reels} reels",
            n=views.reels,
            period=period,
            sources=("narasimhan-jordache-2000",),
            working="; ".join(f"reel {w.reel}: {w.what} {w.share:+.1%}" for w in views.wrong) or "none",
        ),
    ]


def _left(account: WrapAccount, kind: str, period: Period) -> list[Figure]:
    """What is left on the reel that is on, and how long it lasts at the period's pace."""
    names = f"{slug(kind)}_reel_left_m", f"{slug(kind)}_reel_left_min"
    labels = f"{kind}: left on the reel that is on", f"{kind}: until that reel ends"
    left = account.left.get(kind)
    if left is None:
        why = "no reel log, feed counter or reel length tells what is on"
        pairs = zip(names, labels, ("m", "min"), strict=True)
        return [cannot_tell(name, label, unit, why, period) for name, label, unit in pairs]
    kinds = "k = 2, from the label's and the counter's uncertainty"
    told = f"reel {left.reel}: held less fed less its end"
    out = [Figure(names[0], labels[0], left.metres, "m", left.low_m, left.high_m, kinds, period=period, working=told)]
    if left.minutes is None or left.metres <= 0:
        return [*out, cannot_tell(names[1], labels[1], "min", "nothing was wrapped", period)]
    scale = left.minutes / left.metres
    out.append(
        Figure(
            names[1],
            labels[1],
            left.minutes,
            "min",
            left.low_m * scale,
            left.high_m * scale,
            kinds,
            period=period,
            working=f"{left.wraps:,} wraps at the period's pace, stops included",
        )
    )
    return out


_SOURCES_wrap_figures = ("wrap-efficiency", "flexo-yield", "reel-formula")


def wrap_figures(account: WrapAccount, period: Period, currency: str) -> tuple[Figure, ...]:
    """Every figure of a wrap account."""
    name, label = "wrap_good_pieces", "good pieces behind these figures"
    figures = [
        cannot_tell(name, label, "pieces", "no counter was read in this period", period)
        if account.readings == 0
        else Figure(
            name,
            label,
            round(account.good),
            "pieces",
            n=account.readings,
            period=period,
            working="good pieces, or pieces less rejects, while every counter's increment is known",
        )
    ]
    for kind in WEBS:
        use = account.use(kind)
        for unit in UNITS if use is not None else UNITS[:1]:  # what is not known is said once, in metres
            for what in ("", "geometry", "fed", "difference", *CAUSES[1:]):
                figures.append(_figure_wrap_figures(account, use, kind, unit, what, period, currency))
    return (*figures, *waste_figures(account, period))


def shown_unit(unit: str, currency: str) -> str:
    """A unit as a person reads it ("m2" as "m²", "money" as the currency)."""
    return {"m2": "m²", "money": currency}.get(unit, unit)


def _figure_wrap_figures(
    account: WrapAccount, use: WebUse | None, kind: str, unit: str, what: str, period: Period, currency: str
) -> Figure:
    tail = f"_{slug(what)}" if what else ""
    name = f"{slug(kind)}_{unit}_per_thousand{tail}"
    label = f"{kind} per thousand good pieces" + (f", {what}" if what else "")
    told = told_of(account, kind, what, unit)
    said = f"{shown_unit(unit, currency)}/1000 pieces"
    if told is None:
        return cannot_tell(name, label, said, _why(account, use, kind, unit, what), period)
    return Figure(
        name=name,
        label=label,
        value=told.value,
        unit=said,
        low=told.low,
        high=told.high,
        interval_kind=_interval(use, what),
        n=account.readings,
        period=period,
        sources=_SOURCES_wrap_figures,
        working=told.working,
    )


def told_of(account: WrapAccount, kind: str, what: str, unit: str) -> PerThousand | None:
    """What a thousand pieces take; of a web without geometry, the metres fed."""
    use = next((u for u in account.uses if u.kind == kind), None)
    if use is not None:
        return per_thousand(use, what, unit)
    return account.fed_alone.get(kind) if (what, unit) == ("fed", "m") else None


def _interval(use: WebUse | None, what: str) -> str:
    if use is None or what in ("fed", "difference"):
        return "bounds: the feed counter's step and the edges of the period"
    if what == "geometry":
        exact = use.geometry_low_m == use.geometry_high_m
        return "exact for the cut lengths in plant.toml" if exact else "bounds: product not known for a part"
    if what == "":
        return use.doubt or "bounds: the sum of the causes' own"
    if what == "unexplained":
        return f"the use's ({use.doubt}) and the causes' intervals together"
    return _interval_of_cause(use, what)


def _interval_of_cause(use: WebUse, what: str) -> str:
    cause = use.cause(what)
    if cause is not None and cause.assumed:
        return "an assumption from plant.toml until learned: no interval"
    if what in ("rejects", "blank wraps"):
        return "from exact counts"
    return "95 % confidence, from the plant's own counters"


def _why(account: WrapAccount, use: WebUse | None, kind: str, unit: str, what: str) -> str:
    if not account.rows:
        return "no counter of pieces has readings in this period"
    if use is None:
        return f"no {kind} is described in plant.toml for what was wrapped, so its geometry is not known"
    if unit in use.why_none:
        return use.why_none[unit]
    if use.fed is None and what in ("fed", "difference", "unexplained"):
        return f"no {kind} feed counter has readings in this period"
    return {
        "rejects": "no counter of rejects has readings",
        "blank wraps": "no counter of blank wraps has readings",
        "restarts": "too few restarts to learn from, or none seen",
        "changeovers": "too few changeovers to learn from, or none seen",
        "reel ends": "no reel log",
        "splices": "no reel log",
    }.get(what, "nothing to calculate it from")
