"""What the rope's deviation does to the weight of pieces: grams a piece, kilograms and money a week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lineview import show
from lineview.answers.rope_words import number
from lineview.figure import Figure, Period, cannot_tell
from lineview.measures.rope_account import RopeAccount
from lineview.measures.rope_model import RopeModel
from lineview.measures.rope_pieces import WeekEffect, week_effect
from lineview.measures.rope_weight import mass_change_g
from lineview.plant import Plant

LABELS = {
    "weight_effect_g_per_piece": "weight effect of the deviation",
    "weight_effect_kg_per_week": "weight effect of the deviation",
    "weight_effect_money_per_week": "cost of the deviation",
}
SOURCES = ("restricted-likelihood", "derived-rope")
KIND = "95 % confidence, of the deviation alone"
#: Products named one by one in a working.
SHOWN = 6


def weight_figures(account: RopeAccount, model: RopeModel, plant: Plant, period: Period) -> list[Figure]:
    """Give the figures of the deviation's weight.

    Parameters
    ----------
    account : RopeAccount
        What was measured.
    model : RopeModel
        Its model.
    plant : Plant
        For products, prices and currency.
    period : Period
        What was asked.

    Returns
    -------
    list of Figure
        Grams a piece of the product now on the line; kilograms and money a week summed over the products.
    """
    units = ("g/piece", "kg/week", f"{plant.currency}/week")
    named = list(zip(LABELS, LABELS.values(), units, strict=True))
    product, ahead = account.target.product, account.ahead
    if product is None or ahead is None:
        why = "the product on the line is not known"
        return [cannot_tell(name, label, unit, why, period) for name, label, unit in named]
    contrast = model.at(ahead.now_h)
    ends = (model.fit.mean(contrast), *model.fit.interval(contrast))
    grams = [mass_change_g(product.mass_g, product.diameter_mm, d) for d in ends]
    name, label, unit = named[0]
    piece = Figure(
        name, label, grams[0], unit, grams[1], grams[2], KIND, model.n, period, SOURCES,
        f"{product.mass_g:g} g × ((({product.diameter_mm:g} + {number(ends[0], 4)}) ÷ "
        f"{product.diameter_mm:g})² − 1), {product.flavour}",
    )  # fmt: skip
    to_week, made = account.weeks_a_piece, account.made
    if to_week is None or made is None:
        why = "pieces were not counted" if made is None else "no shifts are planned"
        return [piece, *(cannot_tell(n, told, in_, why, period) for n, told, in_ in named[1:])]
    effect = week_effect(plant, made, to_week, ends, product)
    kg, money = named[1], named[2]
    return [
        piece,
        Figure(*kg[:2], effect.kg[0], kg[2], effect.kg[1], effect.kg[2], KIND, model.n, period, SOURCES,
               _kg_words(effect)),
        _money(effect, money, model.n, period),
    ]  # fmt: skip


def weight_words(figures: Sequence[Figure], plant: Plant) -> str:
    """Say what the deviation takes a week, in kilograms and money.

    Parameters
    ----------
    figures : sequence of Figure
        Of the answer.
    plant : Plant
        For its units.

    Returns
    -------
    str
        A sentence, "" where it cannot be told or cannot be told from nothing.
    """
    told = {f.name: f for f in figures if f.name in LABELS}
    kg = told.get("weight_effect_kg_per_week")
    if kg is None or not isinstance(kg.value, float):
        return ""
    if not isinstance(kg.low, float) or not isinstance(kg.high, float) or kg.low * kg.high <= 0:
        return ""
    amount, money = (
        show.value(replace(f, value=abs(f.value)), plant).removesuffix("/week")
        if isinstance(f.value, float)
        else ""
        for f in (kg, told["weight_effect_money_per_week"])
    )
    way = "takes" if kg.value > 0 else "saves, in light pieces,"
    ends = sorted(abs(end) for end in (kg.low, kg.high))
    low, high = (show.value(replace(kg, value=end), plant).split()[0] for end in ends)
    return (
        f"As far off its target as it now is, the rope {way} {amount} ({low} to {high}) of candy a week"
        f"{money and ', ' + money}."
    )


def _kg_words(effect: WeekEffect) -> str:
    parts = [
        f"{number(one.grams[0], 4)} g × {one.pieces:,.0f} pieces ({one.product.flavour})"
        for one in effect.products[:SHOWN]
    ]
    if effect.products[SHOWN:]:
        parts.append(f"{len(effect.products) - SHOWN} further products")
    return f"({' + '.join(parts)}) ÷ 1000, pieces a planned week"


def _money(effect: WeekEffect, named: tuple[str, str, str], n: int, period: Period) -> Figure:
    if effect.money is None:
        return cannot_tell(*named, effect.why_no_money, period)
    priced = [one for one in effect.products if one.product.price_per_kg is not None]
    parts = [
        f"{number(one.kg[0], 2)} kg × {one.product.price_per_kg:g} ({one.product.flavour})"
        for one in priced[:SHOWN]
    ]
    if priced[SHOWN:]:
        parts.append(f"{len(priced) - SHOWN} further products")
    working = " + ".join(parts)
    if effect.unnamed > 0:
        working += f"; {effect.unnamed:.1%} of the pieces name no product and are left out"
    return Figure(named[0], named[1], effect.money[0], named[2], effect.money[1], effect.money[2], KIND, n,
                  period, SOURCES, working)  # fmt: skip
