"""The weight answer's words: its sentence, soft line, notes and cautions."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.core.units import convert, in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Span
from lineview.weight.account import WeightAccount
from lineview.weight.detail import WeightDetail
from lineview.weight.giveaway import NAMED_FROM
from lineview.weight.sources import SpreadSources

CAUTIONS = (
    "Net-weight hints are not a legal test; ask your local weights-and-measures authority.",
    "Before adjusting rollers or knives: stop and lock out by your site's procedure; guards on.",
    "Figures come from scales and counters and may be late or wrong; no interlock may depend on them.",
)


def mass(grams: float, plant: Plant, *, signed: bool = False) -> str:
    """Write a small mass in the plant's units.

    Takes `grams` [g].
    """
    sign = "−" if grams < 0 else "+" if signed else ""
    if plant.units == "US":
        return f"{sign}{abs(convert(grams, 'g', 'oz')):.4f} oz"
    return f"{sign}{abs(grams):.{3 if abs(grams) < 1 else 2}f} g"


def sentence(account: WeightAccount, plant: Plant) -> tuple[Span, ...]:
    """Say mean, distance from target and both spreads in one sentence."""
    spread = account.deviation
    if spread is None or account.target_g is None:
        return (Span(_nothing(account), call=bool(account.sorted.aside.height)),)
    single = account.sorted.kept["product"].n_unique() == 1
    side = "over" if spread.mean >= 0 else "under"
    off = mass(abs(spread.mean), plant)
    if single:
        start = f"A piece weighs {mass(spread.mean + account.target_g, plant)} on average, "
        spans = [Span(start), Span(f"{off} {side} its target", call=_off_target(account))]
    else:
        start = f"Pieces average {mass(spread.mean + account.target_g, plant)}, "
        spans = [Span(start), Span(f"{off} {side} target", call=_off_target(account))]
    between, within = _spread(spread.between, plant), _spread(spread.within, plant)
    if within and spread.between.value == 0:
        spans.append(Span(f"; pieces differ by {within}, batches by no more than that explains."))
    elif between and within:
        spans.append(Span(f"; batches differ by {between}, pieces within a batch by {within}."))
    elif within:
        spans.append(Span(f"; pieces differ by {within}; how far batches differ is not known."))
    elif _spread(spread.total, plant):
        spans.append(Span(f"; weights differ by {_spread(spread.total, plant)}."))
    else:
        spans.append(Span("; how far pieces differ is not known."))
    return tuple(spans)


def _spread(spread: Estimate, plant: Plant) -> str:
    return "" if spread.value is None else mass(spread.value, plant)


def _off_target(account: WeightAccount) -> bool:
    """Whether the mean is off by more than its tolerance, or tolerance is surely not held."""
    scaled, capability = account.scaled, account.capability
    beyond = scaled is not None and abs(scaled.mean) > 1
    ppk = capability.ppk if capability else None
    return beyond or (ppk is not None and ppk.high is not None and ppk.high < 2 / 3)


def _nothing(account: WeightAccount) -> str:
    if account.sorted.aside.height:
        reason, count = next(iter(account.sorted.reasons.items()))
        return f"Piece weight not known: {count} of {_all(account)} weights set aside: {reason}."
    if account.unplaced:
        return (
            "Piece weight against its target not known: "
            f"nothing says which product the {account.unplaced} weights are of."
        )
    return "Piece weight not known: no weights in this period."


def _all(account: WeightAccount) -> int:
    return account.sorted.kept.height + account.sorted.aside.height + account.unplaced


def soft_line(account: WeightAccount, label: str, plant: Plant, money: Estimate | None = None) -> str:
    """Say period, numbers and what was taken out, below the sentence."""
    spread = account.deviation
    parts = [label] if label else []
    if spread is not None:
        counted = (
            show.quantity(spread.pieces, "piece"),
            show.quantity(spread.weighings, "weighing"),
            show.quantity(spread.batches, "batch"),
        )
        parts.append("{} in {} of {}".format(*counted))
        if spread.mean_low is not None and spread.mean_high is not None:
            low, high = (mass(end, plant, signed=True) for end in (spread.mean_low, spread.mean_high))
            parts.append(f"mean off target {low} to {high} with 95 % confidence")
    parts += _giveaway_words(account, plant, money)
    if account.sorted.aside.height:
        parts.append(f"{account.sorted.aside.height} weights set aside")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:]


def _giveaway_words(account: WeightAccount, plant: Plant, money: Estimate | None) -> list[str]:
    """Say what lies above or below target a week, where the sign is sure."""
    week = account.giveaway.kg_per_week if account.giveaway else None
    if week is None or week.value is None or week.low is None or week.high is None:
        return []
    if week.low <= 0 <= week.high:
        return []
    amount, unit = in_units(abs(week.value), "kg", plant.units)
    side = "above" if week.value > 0 else "below"
    priced = money is not None and money.value is not None and money.value * week.value > 0
    cost = f", {abs(money.value):,.0f} {plant.currency}" if priced and money and money.value else ""
    part = "the rope's part of it, and what the rope takes at its present deviation, are on the page Rope"
    return [f"averaged over the period {amount:,.0f} {unit} a week {side} target{cost}; {part}"]


def notes(account: WeightAccount, plant: Plant) -> tuple[str, ...]:
    """Say what was set aside, what was taken off, and what other exports would add."""
    out = [f"{count} weights set aside: {reason}." for reason, count in account.sorted.reasons.items()]
    if account.unplaced:
        out.append(f"{account.unplaced} weights left out: nothing says which product they are of.")
    out += _wrap_notes(account, plant)
    deviation = account.deviation
    if deviation is None:
        return (*out, "Exports of bench samples or an inline scale would show what pieces weigh.")
    for spread, what in ((deviation.between, "Spread between batches"), (deviation.within, "Spread within batches")):
        if spread.why_none:
            out.append(f"{what}: {spread.why_none}.")
    if deviation.batches == 1:
        out.append("All weights are of one batch: the mean's interval covers that batch alone.")
    if account.week is None:
        out.append("Giveaway in kilograms a week needs the machine's piece counter in this period.")
    if account.balance is None:
        out.append("Yield needs the batch sheet's mass in and a piece counter over the same batches.")
    elif account.balance.share - 2 * account.balance.u_share > 1:
        out.append(
            f"More mass came out than went in ({100 * account.balance.share:.0f} %): the count, the mean "
            "mass or the batches' mass in is wrong, or batches are missing from the sheet."
        )
    return tuple(out)


def _wrap_notes(account: WeightAccount, plant: Plant) -> list[str]:
    gross = account.sorted.kept.filter("gross")
    if gross.is_empty():
        return []
    products: dict[str, list[str]] = {}
    each = gross.select("product", "wrap_g").unique("product", maintain_order=True)
    for product, wrap in each.iter_rows():
        products.setdefault(mass(wrap, plant), []).append(str(product))
    return [
        f"Weights of {', '.join(names)} were taken with the wrap: {wrap} a piece taken off, "
        "by the webs' grammage and cut area."
        for wrap, names in products.items()
    ]


#: Who is to look, by the source with the greatest share.
LOOK_AT = {
    "rope diameter": "look at the sizer",
    "cut length": "look at the knife",
    "density (air)": "look at pulling",
    "density and cut length between batches": "look at pulling and the knife; a rope counter tells which",
    "single cuts, air from piece to piece, or the scale": "look at the knife, then the scale",
}


def detail_notes(detail: WeightDetail | None) -> tuple[str, ...]:
    """Say what the detail means."""
    if detail is None:
        return ()
    return tuple(
        note
        for note in (_source_note(detail.sources), _stability_note(detail), _shape_note(detail), _bag_note(detail))
        if note
    )


def _source_note(sources: SpreadSources) -> str:
    if sources.why_none:
        return f"Source of the spread not known: {sources.why_none}."
    shares = {
        "rope diameter": sources.diameter,
        "cut length": sources.cut_length,
        "density (air)": sources.density,
        "single cuts, air from piece to piece, or the scale": sources.rest_within,
    }
    if sources.density is None:
        shares["density and cut length between batches"] = sources.rest_between
    known = {name: share.value for name, share in shares.items() if share is not None}
    most = max(known, key=known.__getitem__)
    return f"Most of the spread, {100 * known[most]:.0f} %, comes from {most}: {LOOK_AT[most]}."


def _stability_note(detail: WeightDetail) -> str:
    if not detail.chart.charts:
        return f"Stability of the process not known: needs 8 batches, has {detail.chart.batches}."
    chart = detail.chart
    outside = chart.outside
    text = f"{len(outside)} of {chart.batches} batches are beyond control limits"
    text += f" ({', '.join(outside[:5])}{' and more' if len(outside) > 5 else ''})" if outside else ""
    if chart.stable:
        return f"{text}; by chance about {chart.by_chance:.0f} would be." if outside else ""
    parts = [f"{text}, by chance about {chart.by_chance:.0f} would be"] if chart.too_many else []
    if chart.drifting:
        parts.append(f"batch means follow each other (lag-1 autocorrelation {chart.follow:.2f})")
    return (
        f"Not stable: {'; '.join(parts)}. Capability assumes a stable process; take it as a description "
        "of this period only."
    )


def _shape_note(detail: WeightDetail) -> str:
    shape = detail.shape
    if shape.normal is not False:
        return ""
    return (
        f"Pieces within a batch are not normal (skewness {shape.skewness:+.2f}, excess kurtosis "
        f"{shape.kurtosis:+.2f}): go by Pp and Ppk by quantiles where there are enough pieces."
    )


def _bag_note(detail: WeightDetail) -> str:
    if not detail.bags:
        return ""
    first = detail.bags[0]
    return (
        f"Bags are planned for a {100 * first.wanted:.0f} % chance of a lot to pass under {first.rules}, "
        f"from {first.shape}, {first.batches} batches a lot. A planning aid: the decision rests with the "
        "local authority."
    )


def giveaway_notes(account: WeightAccount) -> list[str]:
    """Say which products are in no sum, or have no price."""
    split = account.giveaway.by_product if account.giveaway else None
    if split is None:
        return []
    out = []
    if 1 - split.covered >= NAMED_FROM:
        names = ", ".join(split.not_weighed)
        which = f"{names} made but not weighed" if names else "the batch sheet names no product for the rest"
        out.append(f"Giveaway a week covers the products weighed, {100 * split.covered:.0f} % of the pieces: {which}.")
    if split.no_price:
        names = ", ".join(split.no_price)
        out.append(f"Money given away cannot be summed: no price_per_kg in plant.toml of {names}.")
    return out
