"""The wrap answer's figures: use per thousand good pieces in each unit, whole and by cause."""

from __future__ import annotations

from lineview.core.estimate import Estimate, K
from lineview.core.figure import Figure, Period
from lineview.core.language import mark, tr
from lineview.machine.products import WEBS
from lineview.report.figures import FigureList
from lineview.wrap.account import WrapAccount, per_thousand
from lineview.wrap.use import CAUSES, UNITS, WebUse
from lineview.wrap.waste import Allowance

#: What is learned (a field of Waste), its figure, and what its events are.
_LEARNED = (
    ("restart", "{kind}_m_per_restart", mark("restarts")),
    ("reel_start", "{kind}_m_per_reel_start", mark("reel starts")),
    ("reel_end", "{kind}_m_per_reel_end", mark("reel ends")),
    ("splice", "{kind}_m_per_splice", mark("splices")),
    ("changeover", "{kind}_m_per_changeover", mark("changeovers")),
)


def wrap_figures(account: WrapAccount, period: Period, currency: str) -> tuple[Figure, ...]:
    """Every figure of a wrap account."""
    figures = FigureList(period)
    if account.readings == 0:
        figures.unknown("wrap_good_pieces", tr("no counter was read in this period"))
    else:
        working = tr("good pieces, or pieces less rejects, while every counter's increment is known")
        figures.add("wrap_good_pieces", round(account.good), working, n=account.readings)
    for kind in WEBS:
        use = account.use(kind)
        for unit in UNITS if use is not None else UNITS[:1]:  # what is not known has one row, in metres
            for part in ("", "geometry", "fed", "difference", *CAUSES[1:]):
                _per_thousand(figures, account, kind, unit, part, unit_words(unit, currency))
    _blanks(figures, account)
    for web, waste in account.waste.items():
        for field, name, events in _LEARNED:
            allowance: Allowance | None = getattr(waste, field)
            if allowance is None:
                figures.unknown(name, tr("too few {events} to learn from", events=tr(events)), kind=web)
            else:
                _waste_figures(figures, name, web, allowance, events)
        _waste_figures(figures, "{kind}_running_waste_percent", web, waste.proportional, mark("stretches"), scale=100.0)
        _reconciled_figures(figures, account, web)
        _reel_left_figures(figures, account, web)
    return figures.all


def _blanks(figures: FigureList, account: WrapAccount) -> None:
    if account.blanks.value is None:
        return figures.unknown("blanks_per_restart", tr("no counter of blank wraps, or too few restarts"))
    working = tr(
        "mean over {n:,} restarts that readings tell apart of the blank wraps up to the next", n=account.blanks.n
    )
    return figures.add("blanks_per_restart", account.blanks, working)


def _waste_figures(
    figures: FigureList, name: str, kind: str, allowance: Allowance, events: str, *, scale: float = 1.0
) -> None:
    """Add metres lost each time, or the plant file's assumption of them."""
    if not allowance.is_learned:
        assumption = tr("an assumption from plant.toml until learned: no interval")
        return figures.add(name, allowance.metres * scale, "plant.toml", interval=assumption, sources=(), kind=kind)
    metres = Estimate(allowance.metres, allowance.low, allowance.high, allowance.n).scaled(scale)
    working = tr(
        "non-negative regression of metres fed beyond the wraps' need, {n:,} {events}", n=allowance.n, events=tr(events)
    )
    if events == "reel ends":
        working = tr("mean of what the reel log says was left on {n:,} reels", n=allowance.n)
    return figures.add(name, metres, working, kind=kind)


def _reconciled_figures(figures: FigureList, account: WrapAccount, kind: str) -> None:
    """Add the reconciled metres of the compared reels, and how many labels do not fit."""
    views = next((v for v in account.views if v.kind == kind), None)
    if views is None:
        why = tr("no reel could be compared: that needs a reel log and counters")
        return figures.unknown("{kind}_reconciled_m", why, kind=kind, reels=mark("the compared reels"))
    metres = Estimate.expanded(views.reconciled_m, views.reconciled_sd_m, views.reels)
    view_words = ", ".join(
        tr("{view} {metres:,.0f} ± {doubt:,.0f} m", view=tr(t.view), metres=t.metres, doubt=K * t.sd)
        for t in views.totals
    )
    working = tr(
        "least squares of {measured}; χ² {statistic:.1f} on {df}, p {p:.2g}",
        measured=view_words,
        statistic=views.statistic,
        df=views.df,
        p=views.p,
    )
    figures.add(
        "{kind}_reconciled_m", metres, working, kind=kind, reels=tr("{reels} compared reels", reels=views.reels)
    )
    interval, wrong = tr("tested at 95 % over {reels} reels", reels=views.reels), views.wrong
    working = "; ".join(
        tr("reel {reel}: {what} {share:+.1%}", reel=w.reel, what=tr(w.view), share=w.share) for w in wrong
    )
    return figures.add(
        "{kind}_reels_wrong", len(wrong), working or tr("none"), n=views.reels, interval=interval, kind=kind
    )


def _reel_left_figures(figures: FigureList, account: WrapAccount, kind: str) -> None:
    """Add what is left on the reel that is on, and how long it lasts at the period's pace."""
    remainder = account.reels_left.get(kind)
    if remainder is None:
        for name in ("{kind}_reel_left_m", "{kind}_reel_left_min"):
            figures.unknown(name, tr("no reel log, feed counter or reel length tells what is on"), kind=kind)
        return None
    metres = Estimate(remainder.metres, remainder.low_m, remainder.high_m)
    figures.add(
        "{kind}_reel_left_m", metres, tr("reel {reel}: held less fed less its end", reel=remainder.reel), kind=kind
    )
    if remainder.minutes is None or remainder.metres <= 0:
        return figures.unknown("{kind}_reel_left_min", tr("nothing was wrapped"), kind=kind)
    scale, working = (
        remainder.minutes / remainder.metres,
        tr("{wraps:,} wraps at the period's pace, stops included", wraps=remainder.wraps),
    )
    minutes = Estimate(remainder.minutes, remainder.low_m * scale, remainder.high_m * scale)
    return figures.add("{kind}_reel_left_min", minutes, working, kind=kind)


def unit_words(unit: str, currency: str) -> str:
    """A unit as a person reads it ("m2" as "m²", "money" as the currency)."""
    return {"m2": "m²", "money": currency}.get(unit, unit)


def _per_thousand(figures: FigureList, account: WrapAccount, kind: str, unit: str, part: str, label: str) -> None:
    """Add what a thousand pieces take of a web: in all, or one part of it."""
    name = "{kind}_{unit}_per_thousand" + ("_{part}" if part else "")
    use = account.use(kind)
    if use is not None:
        amount = per_thousand(use, part, unit, label)
    else:  # of a web without geometry, the metres fed
        amount = account.fed_alone.get(kind) if (part, unit) == ("fed", "m") else None
    if amount is None:
        why = _why(account, use, kind, unit, part)
        return figures.unknown(name, why, kind=kind, unit=unit, part=part, shown=label)
    estimate = Estimate(amount.value, amount.low, amount.high, account.readings, interval=_interval(use, part))
    return figures.add(name, estimate, amount.working, kind=kind, unit=unit, part=part, shown=label)


def _interval(use: WebUse | None, part: str) -> str:
    if use is None or part in ("fed", "difference"):
        return tr("bounds: the feed counter's step and the edges of the period")
    if part == "geometry":
        exact = use.geometry_low_m == use.geometry_high_m
        return tr("exact for the cut lengths in plant.toml") if exact else tr("bounds: product not known for a part")
    if part == "":
        return use.doubt or tr("bounds: the sum of the causes' own")
    if part == "unexplained":
        return tr("the use's ({doubt}) and the causes' intervals together", doubt=use.doubt)
    return _interval_of_cause(use, part)


def _interval_of_cause(use: WebUse, part: str) -> str:
    cause = use.cause(part)
    if cause is not None and cause.is_assumed:
        return tr("an assumption from plant.toml until learned: no interval")
    if part in ("rejects", "blank wraps"):
        return tr("from exact counts")
    return tr("95 % confidence, from the plant's own counters")


def _why(account: WrapAccount, use: WebUse | None, kind: str, unit: str, part: str) -> str:
    if not account.rows:
        return tr("no counter of pieces has readings in this period")
    if use is None:
        return tr(
            "no {kind} is described in plant.toml for what was wrapped, so its geometry is not known", kind=tr(kind)
        )
    if unit in use.why_none:
        return use.why_none[unit]
    if use.fed is None and part in ("fed", "difference", "unexplained"):
        return tr("no {kind} feed counter has readings in this period", kind=tr(kind))
    return {
        "rejects": tr("no counter of rejects has readings"),
        "blank wraps": tr("no counter of blank wraps has readings"),
        "restarts": tr("too few restarts to learn from, or none seen"),
        "changeovers": tr("too few changeovers to learn from, or none seen"),
        "reel ends": tr("no reel log"),
        "splices": tr("no reel log"),
    }.get(part, tr("nothing to calculate it from"))
