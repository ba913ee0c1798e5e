"""The wrap answer's words: its sentence, its soft line, its notes and its cautions."""

from __future__ import annotations

from lineview.core.language import mark, tr, tr_in
from lineview.core.units import convert
from lineview.plant import Machine, Plant
from lineview.report import show
from lineview.report.answer import Span
from lineview.wrap.account import WrapAccount, per_thousand
from lineview.wrap.tables import verdict
from lineview.wrap.use import WebUse

#: An unexplained part above this share of the geometry, and beyond its own interval, needs a person.
_CALL_SHARE = 0.01

_THE_WEB = {mark("film"): mark("the film"), mark("wax paper"): mark("the paper")}
CAUTIONS = (
    mark(
        "Before reaching past a guard, clearing a jam or changing a reel near rollers and "
        "knives: stop and lock out by your site's procedure."
    ),
    mark("Wrap that touches food must be approved for it; the supplier's declaration decides, not this page."),
    mark("Figures come from counters and may be late or wrong; no interlock may depend on them."),
)


def sentence(account: WrapAccount, plant: Plant) -> tuple[Span, ...]:
    """Say what a thousand pieces take and what has no explanation."""
    if not account.uses:
        return _by_counter_alone(account, plant)
    amounts = [_amount_of(use.kind, _metres(use, "", plant)) for use in account.uses]
    is_measured = all(use.has_feed for use in account.uses)
    start = tr("A thousand pieces take ") if is_measured else tr("By geometry a thousand pieces take ")
    spans = [Span(start), Span(show.sentence_list(amounts))]
    odd = [use for use in account.uses if needs_person(use)]
    if not odd:
        return (*spans, Span("."))
    parts = [_rest_words(use, plant, short=len(account.uses) > 1) for use in odd]
    return (*spans, Span("; "), Span(show.sentence_list(parts), call=True), Span("."))


def _by_counter_alone(account: WrapAccount, plant: Plant) -> tuple[Span, ...]:
    """Say what the feed counters alone show, where plant.toml describes no web."""
    amounts = []
    for kind, amount in account.fed_alone.items():
        metres, unit = in_plant_units(amount.value, plant)
        amounts.append(_amount_of(kind, _amount_words(metres, unit)))
    if not amounts:
        return (Span(tr("What a thousand pieces take is not known yet.")),)
    return (
        Span(tr("By the feed counter a thousand pieces take {amounts}; ", amounts=show.sentence_list(amounts))),
        Span(tr("the causes are not known: plant.toml describes no such web.")),
    )


def _amount_of(kind: str, amount: str) -> str:
    return tr("{amount} of {kind}", amount=amount, kind=tr(kind))


def _amount_words(amount: float, unit: str) -> str:
    return tr("{amount:.1f} {unit}", amount=amount, unit=unit)


def needs_person(use: WebUse) -> bool:
    """Whether the unexplained part is too large, or too far below nothing, to leave alone."""
    rest = use.cause("unexplained")
    if rest is None or abs(rest.metres) <= _CALL_SHARE * use.geometry_m:
        return False
    return rest.low > 0 or rest.high < 0


def _rest_words(use: WebUse, plant: Plant, *, short: bool) -> str:
    rest = per_thousand(use, "unexplained", "m")
    value = 0.0 if rest is None else rest.value
    amount, unit = in_plant_units(abs(value), plant)
    web = tr(_THE_WEB[use.kind]) if short else tr_in("of what was fed", "it")
    if value < 0:
        return tr("{amount} less of {what} was fed than the wraps need", amount=_amount_words(amount, unit), what=web)
    return tr("{amount} of {what} have no explanation", amount=_amount_words(amount, unit), what=web)


def _metres(use: WebUse, part: str, plant: Plant) -> str:
    amount = per_thousand(use, part, "m")
    if amount is None:
        return "?"
    value, unit = in_plant_units(amount.value, plant)
    return _amount_words(value, unit)


def in_plant_units(metres: float, plant: Plant) -> tuple[float, str]:
    """Give metres and their unit as the plant's people read them: metres, or feet.

    Takes `metres` [m].
    """
    unit = "ft" if plant.units == "US" else "m"
    return convert(metres, "m", unit), unit


def soft_line(account: WrapAccount, plant: Plant, machine: Machine, label: str) -> str:
    """The line below the sentence: intervals, period, pieces and what the reel log cannot mean."""
    ranges = []
    for use in account.uses:
        amount = per_thousand(use, "", "m")
        if amount is not None:
            low, unit = in_plant_units(amount.low, plant)
            high, _ = in_plant_units(amount.high, plant)
            if f"{low:.1f}" != f"{high:.1f}":
                ranges.append(
                    tr("{kind} {low:.1f} to {high:.1f} {unit}", kind=tr(use.kind), low=low, high=high, unit=unit)
                )
    for kind, fed in account.fed_alone.items():
        low, unit = in_plant_units(fed.low, plant)
        high, _ = in_plant_units(fed.high, plant)
        ranges.append(tr("{kind} {low:.2f} to {high:.2f} {unit}", kind=tr(kind), low=low, high=high, unit=unit))
    parts = [", ".join(ranges)] if ranges else []
    parts.append(f"{machine.label}, {label}" if label else machine.label)
    parts.append(
        tr("{pieces} good pieces", pieces=_pieces_text(account.good)) if account.readings else tr("no counter was read")
    )
    text = ", ".join(parts) + "."
    text = show.capital(text)
    outside = account.outside.least
    if outside >= 0.5:
        text = tr("{text}, {pieces} of them made outside every shift.", text=text[:-1], pieces=_pieces_text(outside))
    odd = [verdict(w) for views in account.views for w in views.wrong] + [f.message for f in account.faults]
    return " ".join([text, *[f"{show.capital(words)}." for words in odd]])


def _pieces_text(pieces: float) -> str:
    if pieces >= 1e6:
        return tr("{pieces:.1f} million", pieces=pieces / 1e6)
    return show.number(pieces, 0)


def notes(account: WrapAccount, machine: Machine, *, has_timeline: bool, has_batches: bool) -> tuple[str, ...]:
    """Say what is not known and which export would show it."""
    out = []
    if not account.rows:
        out.append(tr("No counter of pieces or good pieces has readings in this period."))
    for kind in ("film", "wax paper"):
        if machine.counter(kind) is None:
            out.append(
                tr("No {kind} feed counter: use follows from geometry and the allowances in plant.toml.", kind=tr(kind))
            )
    if machine.counter("blank wraps") is None:
        out.append(tr("No counter of blank wraps: what they take is learned from restarts, or stays unexplained."))
    if account.rows and not has_batches:
        out.append(tr("No batch sheet: use cannot be split by product."))
    if account.rows and not account.reels:
        out.append(tr("No reel log: reel ends and splices are in the unexplained part, and no reel can be checked."))
    if not has_timeline:
        out.append(tr("Restarts and changeovers cannot be counted."))
    if account.left_out_min >= 1:
        text = mark("{minutes:,.0f} minutes are left out: in them a counter was not read, or reset or turned unseen.")
        out.append(tr(text, minutes=account.left_out_min))
    out += [
        tr(
            "{kind}: fed metres only; geometry, waste, m², kg and money need a web of that "
            "kind in plant.toml, named by the products it wraps.",
            kind=show.capital(tr(kind)),
        )
        for kind in account.fed_alone
    ]
    out += [f"{show.capital(tr(use.kind))}: {why}." for use in account.uses for why in use.why_none.values()]
    return tuple(out)
