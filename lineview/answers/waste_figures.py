"""The wrap answer's figures of waste: metres lost at each restart, reel, splice and changeover."""

from __future__ import annotations

from lineview.core.figure import slug
from lineview.figure import Figure, Period, cannot_tell
from lineview.measures.wrap_account import WrapAccount
from lineview.measures.wrap_waste import Allowance

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
    """Give what waste was learned, with intervals, and what is an assumption until it is.

    Parameters
    ----------
    account : WrapAccount
        Of the period.
    period : Period
        The time it speaks of.

    Returns
    -------
    tuple of Figure
        blanks_per_restart, then for each kind of web the metres lost each time.
    """
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
        return Figure(
            name, label, allowance.metres, "m", interval_kind=kind, period=period, working="plant.toml"
        )
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
    figure = _figure(
        f"{slug(kind)}_running_waste_percent", f"{kind}: waste in proportion", part, "stretches", period
    )
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
    """Give the reconciled metres of the compared reels, and how many labels do not fit."""
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
            f"{kind}: reels whose views do not fit",
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
    """Give what is left on the reel that is on, and how long it lasts at the period's pace."""
    names = f"{slug(kind)}_reel_left_m", f"{slug(kind)}_reel_left_min"
    labels = f"{kind}: left on the reel that is on", f"{kind}: until that reel ends"
    left = account.left.get(kind)
    if left is None:
        why = "no reel log, feed counter or reel length tells what is on"
        pairs = zip(names, labels, ("m", "min"), strict=True)
        return [cannot_tell(name, label, unit, why, period) for name, label, unit in pairs]
    kinds = "k = 2, from the label's and the counter's uncertainty"
    told = f"reel {left.reel}: held less fed less its end"
    out = [
        Figure(
            names[0], labels[0], left.metres, "m", left.low_m, left.high_m, kinds, period=period, working=told
        )
    ]
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
