"""The wrap answer's figures: use per thousand good pieces in each unit, whole and by cause."""

from __future__ import annotations

from lineview.answers.waste_figures import waste_figures
from lineview.core.figure import slug
from lineview.figure import Figure, Period, cannot_tell
from lineview.measures.wrap_account import WrapAccount
from lineview.measures.wrap_factors import UNITS
from lineview.measures.wrap_per_thousand import PerThousand, per_thousand
from lineview.measures.wrap_pieces import WEBS
from lineview.measures.wrap_use import CAUSES, WebUse

_SOURCES = ("wrap-efficiency", "flexo-yield", "reel-formula")


def wrap_figures(account: WrapAccount, period: Period, currency: str) -> tuple[Figure, ...]:
    """Give every figure of a wrap account.

    Parameters
    ----------
    account : WrapAccount
        Of the period.
    period : Period
        The time it speaks of.
    currency : str
        Of the plant description.

    Returns
    -------
    tuple of Figure
        For each kind of web and unit: all of it, then `_geometry`, `_fed`, `_difference` and each cause.
        Where a kind cannot be told its figures say why.
    """
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
                figures.append(_figure(account, use, kind, unit, what, period, currency))
    return (*figures, *waste_figures(account, period))


def shown_unit(unit: str, currency: str) -> str:
    """Give a unit as a person reads it ("m2" as "m²", "money" as the currency).

    Parameters
    ----------
    unit : str
        "m", "m2", "kg" or "money".
    currency : str
        Of the plant description.
    """
    return {"m2": "m²", "money": currency}.get(unit, unit)


def _figure(
    account: WrapAccount,
    use: WebUse | None,
    kind: str,
    unit: str,
    what: str,
    period: Period,
    currency: str,
) -> Figure:
    tail = f"_{slug(what)}" if what else ""
    name = f"{slug(kind)}_{unit}_per_thousand{tail}"
    label = f"{kind} a thousand good pieces" + (f", {what}" if what else "")
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
        sources=_SOURCES,
        working=told.working,
    )


def told_of(account: WrapAccount, kind: str, what: str, unit: str) -> PerThousand | None:
    """Give what a thousand pieces take; of a web without geometry, the metres fed.

    Parameters
    ----------
    account : WrapAccount
        Of the period.
    kind : str
        "film" or "wax paper".
    what, unit : str
        As in lineview.measures.wrap_per_thousand.
    """
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
        return "counted, no interval"
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
    }.get(what, "nothing to reckon it from")
