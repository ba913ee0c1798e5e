"""The rope answer's figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from math import sqrt

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period, cannot_tell, too_few
from lineview.plant import Plant
from lineview.report import show
from lineview.rope.account import RopeAccount
from lineview.rope.drift_model import LEAST_BATCHES, RopeModel
from lineview.rope.forecast import HORIZON_H, SHARE_OUT, TimeToLeave, Verdict
from lineview.rope.mass import WeekEffect, mass_change_g, week_effect
from lineview.rope.tables import product_figures
from lineview.rope.words import number

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
    """The figures of the deviation's weight."""
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
    """Say what the deviation takes a week, in kilograms and money."""
    told = {f.name: f for f in figures if f.name in LABELS}
    kg = told.get("weight_effect_kg_per_week")
    if kg is None or not isinstance(kg.value, float):
        return ""
    if not isinstance(kg.low, float) or not isinstance(kg.high, float) or kg.low * kg.high <= 0:
        return ""
    amount, money = (
        show.value(replace(f, value=abs(f.value)), plant).removesuffix("/week") if isinstance(f.value, float) else ""
        for f in (kg, told["weight_effect_money_per_week"])
    )
    way = "gives away" if kg.value > 0 else "is short by"
    ends = sorted(abs(end) for end in (kg.low, kg.high))
    low, high = (show.value(replace(kg, value=end), plant).split()[0] for end in ends)
    return (
        f"At its present deviation the rope {way} {amount} ({low} to {high}) of candy a week{money and ', ' + money}."
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
        f"{number(one.kg[0], 2)} kg × {one.product.price_per_kg:g} ({one.product.flavour})" for one in priced[:SHOWN]
    ]
    if priced[SHOWN:]:
        parts.append(f"{len(priced) - SHOWN} further products")
    working = " + ".join(parts)
    if effect.unnamed > 0:
        working += f"; {effect.unnamed:.1%} of the pieces name no product and are left out"
    return Figure(named[0], named[1], effect.money[0], named[2], effect.money[1], effect.money[2], KIND, n,
                  period, SOURCES, working)  # fmt: skip


#: Name, label and unit of the figures that rest on the model.
MODELLED = (
    ("drift_mm_per_h", "drift of the rope", "mm/h"),
    ("drift_since", "drift unchanged since", ""),
    ("hours_to_tolerance", "running hours until the batch mean leaves tolerance", "h"),
    ("hours_to_share_out", f"running hours until {SHARE_OUT:.0%} of pieces are out of tolerance", "h"),
    ("leaves_tolerance_at", "leaves tolerance at, under the planned shifts", ""),
    ("batch_to_batch_sd_mm", "one batch to the next, standard deviation", "mm"),
    ("temperature_mm_per_c", "effect of rope temperature", "mm/°C"),
    ("level_mm", "rope diameter now", "mm"),
    ("deviation_mm", "deviation from target now", "mm"),
    ("weight_effect_g_per_piece", "weight effect of the deviation", "g/piece"),
    ("weight_effect_kg_per_week", "weight effect of the deviation", "kg/week"),
    ("weight_effect_money_per_week", "cost of the deviation", "money/week"),
)
SPREAD = "95 % confidence, averaged over the readings' autocorrelation"
CONFIDENCE = "95 % confidence, averaged over the noise's autocorrelation"


def rope_figures(account: RopeAccount, found: Verdict | None, plant: Plant, period: Period) -> tuple[Figure, ...]:
    """Every figure of the rope answer."""
    figures = list(_targets(account, period))
    if account.model is None or found is None:
        money = f"{plant.currency}/week"
        figures += [
            _untold(account, name, label, unit.replace("money/week", money), period) for name, label, unit in MODELLED
        ]
    else:
        figures += _drift(account, account.model, found, period)
        figures += _leaving(account, period)
        figures += _moved(account, account.model, period)
        figures += weight_figures(account, account.model, plant, period)
        figures += _effects(account, found, period)
        figures += product_figures(account.model, period, CONFIDENCE)
    return (*figures, *_within(account, period))


def _untold(account: RopeAccount, name: str, label: str, unit: str, period: Period) -> Figure:
    if account.problem.startswith("too few batches"):
        return too_few(name, label, unit, needs=LEAST_BATCHES, has=account.points.height, period=period)
    return cannot_tell(name, label, unit, account.problem or "no model of the rope", period)


def _targets(account: RopeAccount, period: Period) -> tuple[Figure, ...]:
    target = account.target
    if target.diameter_mm is None or target.tolerance_mm is None:
        why = "no batch names its product, and products differ in diameter"
        return tuple(
            cannot_tell(name, label, "mm", why, period)
            for name, label in (
                ("target_mm", "target diameter"),
                ("tolerance_low_mm", "tolerance, low end"),
                ("tolerance_high_mm", "tolerance, high end"),
            )
        )
    given = "given in plant.toml, no interval"
    middle, half = target.diameter_mm, target.tolerance_mm
    return (
        Figure("target_mm", "target diameter", middle, "mm", interval_kind=given, period=period,
               working="the products' diameter_mm in plant.toml"),
        Figure("tolerance_low_mm", "tolerance, low end", middle - half, "mm", interval_kind=given,
               period=period, working=f"{middle:g} − {half:g}"),
        Figure("tolerance_high_mm", "tolerance, high end", middle + half, "mm", interval_kind=given,
               period=period, working=f"{middle:g} + {half:g}"),
    )  # fmt: skip


def _drift(account: RopeAccount, model: RopeModel, found: Verdict, period: Period) -> list[Figure]:
    steps = len(model.adjustments)
    clock = account.clock.source if account.clock is not None else "no clock"
    cooled = ", rope temperature" if model.temperature_c is not None else ""
    working = (
        f"generalised least squares of {model.n} batch means on running hours ({clock}), {steps} step(s)"
        f"{cooled}; correlation of neighbouring batches about {number(model.fit.phi, 2)}, averaged over its "
        "restricted likelihood"
    )
    return [
        Figure("drift_mm_per_h", "drift of the rope", found.wear_mm_per_h, "mm/h", found.wear_low,
               found.wear_high, CONFIDENCE, model.n, period, SOURCES, working),
        Figure("drift_since", "drift unchanged since", model.since, "", interval_kind="the last step, or the "
               "first batch", n=model.n, period=period, sources=SOURCES,
               working=f"last of {steps} step(s)" if steps else "no step in the period"),
    ]  # fmt: skip


def _leaving(account: RopeAccount, period: Period) -> list[Figure]:
    ahead, model = account.ahead, account.model
    names = {name: (label, unit) for name, label, unit in MODELLED}
    wanted = ("hours_to_tolerance", "hours_to_share_out", "leaves_tolerance_at")
    if ahead is None or model is None:
        why = "the tolerance is not known"
        return [cannot_tell(name, *names[name], why, period) for name in wanted]
    level = model.fit.mean(model.at(ahead.now_h))
    wear = model.fit.mean(model.contrast(wear=1.0))
    working = (
        f"(tolerance − {number(level, 4)} mm) ÷ {number(wear, 5)} mm/h, over the levels and wears that "
        f"the data allow; {ahead.mean.share_within:.0%} of them leave within {HORIZON_H:.0f} h"
    )
    share = ahead.share
    out = [_hours("hours_to_tolerance", *names["hours_to_tolerance"], ahead.mean, working, model.n, period)]
    if share is None:
        why = f"even a rope on target has more than {SHARE_OUT:.0%} of pieces outside"
        out.append(cannot_tell("hours_to_share_out", *names["hours_to_share_out"], why, period))
    else:
        out.append(
            _hours("hours_to_share_out", *names["hours_to_share_out"], share, "as hours_to_tolerance, "
                   "with the band that a mean must keep", model.n, period)
        )  # fmt: skip
    return [*out, _calendar(account, names["leaves_tolerance_at"], period)]


def _hours(name: str, label: str, unit: str, time: TimeToLeave, working: str, n: int, period: Period) -> Figure:
    kind = "90 % interval"
    if time.high_h is None:
        kind += f", open above {HORIZON_H:.0f} h"
    if time.value_h is None:
        why = f"will not, within {HORIZON_H:.0f} h"
        return Figure(name, label, None, unit, time.low_h, None, kind, n, period, SOURCES, working, why)
    return Figure(name, label, time.value_h, unit, time.low_h, time.high_h, kind, n, period, SOURCES, working)


def _calendar(account: RopeAccount, named: tuple[str, str], period: Period) -> Figure:
    ahead, model = account.ahead, account.model
    if ahead is None or model is None or ahead.moment is None:
        why = f"will not, within {HORIZON_H:.0f} h of running"
        if ahead is not None and ahead.mean.value_h is not None:
            why = "the planned shifts end before"
        return cannot_tell("leaves_tolerance_at", *named, why, period)
    working = (
        f"{number(ahead.mean.value_h or 0.0, 1)} running hours ÷ {number(ahead.uptime, 2)} running hours a "
        "planned hour, along the planned shifts"
    )
    low: datetime | None = ahead.moment_low
    return Figure("leaves_tolerance_at", named[0], ahead.moment, "", low, ahead.moment_high, "90 % interval",
                  model.n, period, SOURCES, working)  # fmt: skip


def _moved(account: RopeAccount, model: RopeModel, period: Period) -> list[Figure]:
    now_h = float(model.hours[-1])
    contrast = model.at(now_h)
    low, high = model.fit.interval(contrast)
    deviation = model.fit.mean(contrast)
    target = account.target.diameter_mm
    sampling = account.within.sampling_sd_mm if account.within else 0.0
    spread = model.fit.sd()
    ends = model.fit.sd_interval()

    def own(sd: float) -> float:
        return sqrt(max(0.0, sd**2 - sampling**2))

    out = [
        Figure("batch_to_batch_sd_mm", "one batch to the next, standard deviation", own(spread), "mm",
               own(ends[0]), own(ends[1]), "95 % interval", model.n, period, SOURCES,
               f"√({number(spread, 4)}² − {number(sampling, 4)}²): spread of batch means about the model, "
               "less what the readings within a batch explain"),
        _temperature(account, model, period),
    ]  # fmt: skip
    if target is None:
        why = "the target diameter is not known"
        out.append(cannot_tell("level_mm", "rope diameter now", "mm", why, period))
        out.append(cannot_tell("deviation_mm", "deviation from target now", "mm", why, period))
        return out
    out.append(
        Figure("level_mm", "rope diameter now", target + deviation, "mm", target + low, target + high,
               CONFIDENCE, model.n, period, SOURCES, f"{target:g} + {number(deviation, 4)}")
    )  # fmt: skip
    out.append(
        Figure("deviation_mm", "deviation from target now", deviation, "mm", low, high, CONFIDENCE, model.n,
               period, SOURCES, f"model at {number(now_h, 2)} running hours, the last batch")
    )  # fmt: skip
    return out


def _temperature(account: RopeAccount, model: RopeModel, period: Period) -> Figure:
    name, label, unit = "temperature_mm_per_c", "effect of rope temperature", "mm/°C"
    if model.temperature_c is None:
        known = account.points["temperature_c"].drop_nulls().len()
        why = (
            "rope temperature hardly changes, or most batches have none"
            if known
            else "rope temperature was not exported, so wear and cooling cannot be separated"
        )
        return cannot_tell(name, label, unit, why, period)
    contrast = model.contrast(temperature=1.0)
    low, high = model.fit.interval(contrast)
    return Figure(name, label, model.fit.mean(contrast), unit, low, high, CONFIDENCE, model.n, period,
                  SOURCES, "slope on batch mean temperature about "
                  f"{number(model.temperature_c, 1)} °C")  # fmt: skip


def _effects(account: RopeAccount, found: Verdict, period: Period) -> list[Figure]:
    n = account.model.n if account.model else 0
    return [
        Figure(f"adjustment_{i}_mm", f"effect of: {effect.label}", effect.size_mm, "mm", effect.low_mm,
               effect.high_mm, CONFIDENCE, n, period, SOURCES,
               f"{number(effect.after_mm, 3)} after − {number(effect.before_mm, 3)} before")
        for i, effect in enumerate(found.effects, 1)
    ]  # fmt: skip


def _within(account: RopeAccount, period: Period) -> list[Figure]:
    spread = account.within.sd if account.within else None
    taper = account.within.taper if account.within else None
    blocks = account.marks == "blocks"
    return [
        _estimate("within_batch_sd_mm", "within a batch, standard deviation", spread,
                  "two readings in a batch", period,
                  "readings about each batch's own line, restricted likelihood of autocorrelated noise",
                  SPREAD),
        _estimate("taper_mm", "from a batch's start to its end", None if blocks else taper,
                  "batch marks" if blocks else "two batches of 8 readings", period,
                  "mean over batches of slope × length"),
    ]  # fmt: skip


def _estimate(
    name: str, label: str, found: Estimate | None, needs: str, period: Period, working: str,
    kind: str = "95 % confidence, from the change between batches",
) -> Figure:  # fmt: skip
    if found is None or found.value is None:
        return cannot_tell(name, label, "mm", f"it needs {needs}", period)
    high = found.high if found.high != float("inf") else None
    return Figure(name, label, found.value, "mm", found.low, high, kind, found.n, period, SOURCES,
                  f"{working}, {found.n} batches")  # fmt: skip
