"""The weight answer's words: its sentence, soft line, notes and cautions."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.core.language import in_digits, mark, tr, tr_count
from lineview.core.units import convert, in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Span
from lineview.weight.account import WeightAccount
from lineview.weight.bags import PASS_CHANCE
from lineview.weight.detail import WeightDetail
from lineview.weight.giveaway import NAMED_FROM
from lineview.weight.sources import SpreadSources

CAUTIONS = (
    mark("Net-weight hints are not a legal test; ask your local weights-and-measures authority."),
    mark("Before adjusting rollers or knives: stop and lock out by your site's procedure; guards on."),
    mark("Figures come from scales and counters and may be late or wrong; no interlock may depend on them."),
)


def mass(grams: float, plant: Plant, *, signed: bool = False) -> str:
    """Write a small mass in the plant's units.

    Takes `grams` [g].
    """
    sign = "−" if grams < 0 else "+" if signed else ""
    if plant.units == "US":
        return in_digits(f"{sign}{abs(convert(grams, 'g', 'oz')):.4f} oz")
    return in_digits(f"{sign}{abs(grams):.{3 if abs(grams) < 1 else 2}f} g")


def sentence(account: WeightAccount, plant: Plant) -> tuple[Span, ...]:
    """Say mean, distance from target and both spreads in one sentence."""
    spread = account.deviation
    if spread is None or account.target_g is None:
        return (Span(_nothing(account), call=bool(account.sorting.aside.height)),)
    off, mean = mass(abs(spread.mean), plant), mass(spread.mean + account.target_g, plant)
    if account.sorting.good["product"].n_unique() == 1:
        start = tr("A piece weighs {mass} on average, ", mass=mean)
        side = tr("{mass} over its target", mass=off) if spread.mean >= 0 else tr("{mass} under its target", mass=off)
    else:
        start = tr("Pieces average {mass}, ", mass=mean)
        side = tr("{mass} over target", mass=off) if spread.mean >= 0 else tr("{mass} under target", mass=off)
    spans = [Span(start), Span(side, call=_off_target(account))]
    between, within = _spread(spread.between, plant), _spread(spread.within, plant)
    if within and spread.between.value == 0:
        spans.append(Span(tr("; pieces differ by {within}, batches by no more than that explains.", within=within)))
    elif between and within:
        spans.append(
            Span(
                tr("; batches differ by {between}, pieces within a batch by {within}.", between=between, within=within)
            )
        )
    elif within:
        spans.append(Span(tr("; pieces differ by {within}; how far batches differ is not known.", within=within)))
    elif _spread(spread.total, plant):
        spans.append(Span(tr("; weights differ by {spread}.", spread=_spread(spread.total, plant))))
    else:
        spans.append(Span(tr("; how far pieces differ is not known.")))
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
    if account.sorting.aside.height:
        reason, count = next(iter(account.sorting.reasons.items()))
        return tr(
            "Piece weight not known: {count} of {all} weights set aside: {reason}.",
            count=count,
            all=account.sorting.good.height + account.sorting.aside.height + account.unplaced,
            reason=reason,
        )
    if account.unplaced:
        return tr(
            "Piece weight against its target not known: nothing says which product the {count} weights are of.",
            count=account.unplaced,
        )
    return tr("Piece weight not known: no weights in this period.")


def soft_line(account: WeightAccount, label: str, plant: Plant, money: Estimate | None = None) -> str:
    """Say period, numbers and what was taken out, below the sentence."""
    spread = account.deviation
    parts = [label] if label else []
    if spread is not None:
        counted = tr(
            "{pieces} in {weighings} of {batches}",
            pieces=tr_count("{count} piece", "{count:,} pieces", spread.pieces),
            weighings=tr_count("{count} weighing", "{count:,} weighings", spread.weighings),
            batches=tr_count("{count} batch", "{count:,} batches", spread.batches),
        )
        parts.append(counted)
        if spread.mean_low is not None and spread.mean_high is not None:
            low, high = (mass(end, plant, signed=True) for end in (spread.mean_low, spread.mean_high))
            parts.append(tr("mean off target {low} to {high} with 95 % confidence", low=low, high=high))
    parts += _giveaway_words(account, plant, money)
    if account.sorting.aside.height:
        parts.append(tr("{count:,} weights set aside", count=account.sorting.aside.height))
    return f"{show.capital('; '.join(parts))}." if parts else ""


def _giveaway_words(account: WeightAccount, plant: Plant, money: Estimate | None) -> list[str]:
    """Say what lies above or below target a week, where the sign is sure."""
    week = account.giveaway.kg_per_week if account.giveaway else None
    if week is None or week.value is None or week.low is None or week.high is None:
        return []
    if week.low <= 0 <= week.high:
        return []
    amount, unit = in_units(abs(week.value), "kg", plant.units)
    priced = money is not None and money.value is not None and money.value * week.value > 0
    cost = f", {show.number(abs(money.value), 0)} {plant.currency}" if priced and money and money.value else ""
    places = {"amount": amount, "unit": unit, "money": cost}
    if week.value > 0:
        words = tr("averaged over the period {amount:,.0f} {unit} a week above target{money}", **places)
    else:
        words = tr("averaged over the period {amount:,.0f} {unit} a week below target{money}", **places)
    return [words, tr("the rope's part of it, and what the rope takes at its present deviation, are on the page Rope")]


def notes(account: WeightAccount, plant: Plant) -> tuple[str, ...]:
    """Say what was set aside, what was taken off, and what other exports would add."""
    out = [
        tr("{count:,} weights set aside: {reason}.", count=count, reason=reason)
        for reason, count in account.sorting.reasons.items()
    ]
    if account.unplaced:
        out.append(tr("{count:,} weights left out: nothing says which product they are of.", count=account.unplaced))
    out += _wrap_notes(account, plant)
    deviation = account.deviation
    if deviation is None:
        return (*out, tr("Exports of bench samples or an inline scale would show what pieces weigh."))
    for spread, what in (
        (deviation.between, tr("Spread between batches")),
        (deviation.within, tr("Spread within batches")),
    ):
        if spread.why_none:
            out.append(f"{what}: {spread.why_none}.")
    if deviation.batches == 1:
        out.append(tr("All weights are of one batch: the mean's interval covers that batch alone."))
    if account.week is None:
        out.append(tr("Giveaway in kilograms a week needs the machine's piece counter in this period."))
    if account.balance is None:
        out.append(tr("Yield needs the batch sheet's mass in and a piece counter over the same batches."))
    elif account.balance.share - 2 * account.balance.u_share > 1:
        out.append(
            tr(
                "More mass came out than went in ({percent:.0f} %): the count, the mean mass or the "
                "batches' mass in is wrong, or batches are missing from the sheet.",
                percent=100 * account.balance.share,
            )
        )
    return tuple(out)


def _wrap_notes(account: WeightAccount, plant: Plant) -> list[str]:
    gross = account.sorting.good.filter("gross")
    if gross.is_empty():
        return []
    products: dict[str, list[str]] = {}
    each = gross.select("product", "wrap_g").unique("product", maintain_order=True)
    for product, wrap in each.iter_rows():
        products.setdefault(mass(wrap, plant), []).append(str(product))
    return [
        tr(
            "Weights of {products} were taken with the wrap: {wrap} a piece taken off, by the webs' "
            "grammage and cut area.",
            products=", ".join(names),
            wrap=wrap,
        )
        for wrap, names in products.items()
    ]


#: Who is to look, by the source with the greatest share.
LOOK_AT = {
    mark("rope diameter"): mark("look at the sizer"),
    mark("cut length"): mark("look at the knife"),
    mark("density (air)"): mark("look at pulling"),
    mark("density and cut length between batches"): mark("look at pulling and the knife; a rope counter tells which"),
    mark("single cuts, air from piece to piece, or the scale"): mark("look at the knife, then the scale"),
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
        return tr("Source of the spread not known: {why}.", why=sources.why_none)
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
    return tr(
        "Most of the spread, {percent:.0f} %, comes from {source}: {look_at}.",
        percent=100 * known[most],
        source=tr(most),
        look_at=tr(LOOK_AT[most]),
    )


def _stability_note(detail: WeightDetail) -> str:
    if not detail.chart.charts:
        return tr("Stability of the process not known: needs 8 batches, has {batches}.", batches=detail.chart.batches)
    chart = detail.chart
    outside = chart.outside
    counts = {"outside": len(outside), "batches": chart.batches, "names": "", "chance": chart.by_chance}
    if outside:
        counts["names"] = f" ({', '.join(outside[:5])}{tr(' and more') if len(outside) > 5 else ''})"
    if chart.stable and not outside:
        return ""
    if chart.stable:
        return tr(
            "{outside} of {batches} batches are beyond control limits{names}; by chance about {chance:.0f} would be.",
            **counts,
        )
    beyond = tr(
        "{outside} of {batches} batches are beyond control limits{names}, by chance about {chance:.0f} would be",
        **counts,
    )
    parts = [beyond] if chart.too_many else []
    if chart.drifting:
        parts.append(tr("batch means follow each other (lag-1 autocorrelation {r:.2f})", r=chart.follow))
    return tr(
        "Not stable: {reasons}. Capability assumes a stable process; take it as a description of this period only.",
        reasons="; ".join(parts),
    )


def _shape_note(detail: WeightDetail) -> str:
    shape = detail.shape
    if shape.normal is not False:
        return ""
    return tr(
        "Pieces within a batch are not normal (skewness {skewness:+.2f}, excess kurtosis "
        "{kurtosis:+.2f}): go by Pp and Ppk by quantiles where there are enough pieces.",
        skewness=shape.skewness,
        kurtosis=shape.kurtosis,
    )


def _bag_note(detail: WeightDetail) -> str:
    if not detail.bags:
        return ""
    first = detail.bags[0]
    return tr(
        "Bags are planned for a {percent:.0f} % chance of a lot to pass under {rules}, from "
        "{shape}, {batches} batches a lot. A planning aid: the decision rests with the local "
        "authority.",
        percent=100 * PASS_CHANCE,
        rules=first.rules,
        shape=first.shape,
        batches=first.batches,
    )


def giveaway_notes(account: WeightAccount) -> list[str]:
    """Say which products are in no sum, or have no price."""
    split = account.giveaway.by_product if account.giveaway else None
    if split is None:
        return []
    out = []
    if 1 - split.covered >= NAMED_FROM:
        which = tr("the batch sheet names no product for the rest")
        if split.not_weighed:
            which = tr("{products} made but not weighed", products=", ".join(split.not_weighed))
        text = mark("Giveaway a week covers the products weighed, {percent:.0f} % of the pieces: {which}.")
        out.append(tr(text, percent=100 * split.covered, which=which))
    if split.no_price:
        names = ", ".join(split.no_price)
        out.append(
            tr("Money given away cannot be summed: no price_per_kg in plant.toml of {products}.", products=names)
        )
    return out
