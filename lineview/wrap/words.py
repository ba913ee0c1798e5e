"""The wrap answer's words: its sentence, its soft line, its notes and its cautions."""

from __future__ import annotations

from lineview.core.units import convert
from lineview.plant import Machine, Plant
from lineview.report import show
from lineview.report.answer import Span
from lineview.wrap.account import WrapAccount, per_thousand
from lineview.wrap.tables import verdict
from lineview.wrap.use import WebUse

#: An unexplained part above this share of the geometry, and beyond its own interval, needs a person.
_CALL_SHARE = 0.01

CAUTIONS = (
    "Before reaching past a guard, clearing a jam or changing a reel near rollers and knives: stop and lock "
    "out by your site's procedure.",
    "Wrap that touches food must be approved for it; the supplier's declaration decides, not this page.",
    "Figures come from counters and may be late or wrong; no interlock may depend on them.",
)


def sentence(account: WrapAccount, plant: Plant) -> tuple[Span, ...]:
    """Say what a thousand pieces take and what has no explanation."""
    if not account.uses:
        return _by_counter_alone(account, plant)
    amounts = [f"{_metres(use, '', plant)} of {use.kind}" for use in account.uses]
    measured = all(use.measured for use in account.uses)
    start = "A thousand pieces take " if measured else "By geometry a thousand pieces take "
    spans = [Span(start), Span(show.sentence_list(amounts))]
    odd = [use for use in account.uses if needs_person(use)]
    if not odd:
        return (*spans, Span("."))
    parts = [_unexplained(use, plant, short=len(account.uses) > 1) for use in odd]
    return (*spans, Span("; "), Span(show.sentence_list(parts), call=True), Span("."))


def _by_counter_alone(account: WrapAccount, plant: Plant) -> tuple[Span, ...]:
    """Say what the feed counters alone show, where plant.toml describes no web."""
    amounts = []
    for kind, amount in account.fed_alone.items():
        metres, unit = in_plant_units(amount.value, plant)
        amounts.append(f"{metres:.1f} {unit} of {kind}")
    if not amounts:
        return (Span("What a thousand pieces take is not known yet."),)
    return (
        Span(f"By the feed counter a thousand pieces take {show.sentence_list(amounts)}; "),
        Span("the causes are not known: plant.toml describes no such web."),
    )


def needs_person(use: WebUse) -> bool:
    """Whether the unexplained part is too large, or too far below nothing, to leave alone."""
    unexplained = use.cause("unexplained")
    if unexplained is None or abs(unexplained.metres) <= _CALL_SHARE * use.geometry_m:
        return False
    return unexplained.low > 0 or unexplained.high < 0


def _unexplained(use: WebUse, plant: Plant, *, short: bool) -> str:
    unexplained = per_thousand(use, "unexplained", "m")
    value = 0.0 if unexplained is None else unexplained.value
    amount, unit = in_plant_units(abs(value), plant)
    what = f"the {use.kind.split()[-1]}" if short else "it"
    if value < 0:
        return f"{amount:.1f} {unit} less of {what} was fed than the wraps need"
    return f"{amount:.1f} {unit} of {what} have no explanation"


def _metres(use: WebUse, what: str, plant: Plant) -> str:
    amount = per_thousand(use, what, "m")
    if amount is None:
        return "?"
    value, unit = in_plant_units(amount.value, plant)
    return f"{value:.1f} {unit}"


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
                ranges.append(f"{use.kind} {low:.1f} to {high:.1f} {unit}")
    for kind, fed in account.fed_alone.items():
        low, unit = in_plant_units(fed.low, plant)
        high, _ = in_plant_units(fed.high, plant)
        ranges.append(f"{kind} {low:.2f} to {high:.2f} {unit}")
    parts = [", ".join(ranges)] if ranges else []
    parts.append(f"{machine.shown}, {label}" if label else machine.shown)
    parts.append(f"{_pieces_text(account.good)} good pieces" if account.readings else "no counter was read")
    text = ", ".join(parts) + "."
    text = text[0].upper() + text[1:]
    outside = account.outside.least
    if outside >= 0.5:
        text = f"{text[:-1]}, {_pieces_text(outside)} of them made outside every shift."
    odd = [verdict(w) for views in account.views for w in views.wrong] + [f.what for f in account.faults]
    return " ".join([text, *[f"{what[0].upper()}{what[1:]}." for what in odd]])


def _pieces_text(pieces: float) -> str:
    return f"{pieces / 1e6:.1f} million" if pieces >= 1e6 else f"{pieces:,.0f}"


def notes(account: WrapAccount, machine: Machine, *, has_timeline: bool, has_batches: bool) -> tuple[str, ...]:
    """Say what is not known and which export would show it."""
    out = []
    if not account.rows:
        out.append("No counter of pieces or good pieces has readings in this period.")
    for kind in ("film", "wax paper"):
        if machine.counter(kind) is None:
            out.append(f"No {kind} feed counter: use follows from geometry and the allowances in plant.toml.")
    if machine.counter("blank wraps") is None:
        out.append("No counter of blank wraps: what they take is learned from restarts, or stays unexplained.")
    if not has_batches:
        out.append("No batch sheet: use cannot be split by product.")
    if not account.reels:
        out.append("No reel log: reel ends and splices are in the unexplained part, and no reel can be checked.")
    if not has_timeline:
        out.append("Restarts and changeovers cannot be counted.")
    if account.left_out_min >= 1:
        out.append(f"{account.left_out_min:,.0f} minutes are left out: a counter reset or turned unseen in them.")
    out += [
        f"{kind.capitalize()}: fed metres only; geometry, waste, m², kg and money need a web of that kind in "
        "plant.toml, named by the products it wraps."
        for kind in account.fed_alone
    ]
    out += [f"{use.kind.capitalize()}: {why}." for use in account.uses for why in use.why_none.values()]
    return tuple(out)
