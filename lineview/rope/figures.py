"""The rope answer's figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import isfinite, sqrt

import numpy as np

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period
from lineview.core.language import in_digits, mark, tr
from lineview.plant import Plant
from lineview.report import show
from lineview.report.figures import FigureList
from lineview.rope.account import RopeAccount
from lineview.rope.drift_model import LEAST_BATCHES, RopeModel
from lineview.rope.forecast import HORIZON_H, SHARE_OUT, TimeToLeave, Verdict
from lineview.rope.mass import WeekEffect, mass_change_g, week_effect
from lineview.rope.watch import left_over

_LEAVING = ("hours_to_tolerance", "hours_to_first_out", "hours_to_share_out", "leaves_tolerance_at")
_WEIGHT = ("weight_effect_g_per_piece", "weight_effect_kg_per_week", "weight_effect_money_per_week")
#: The same of the deviation averaged over the period, which is the rope's part of what the weights show.
_AVERAGE = ("average_effect_kg_per_week", "average_effect_money_per_week")
#: The figures that rest on the model.
_MODELLED = (
    "drift_mm_per_h",
    "drift_since",
    *_LEAVING,
    "batch_to_batch_sd_mm",
    "temperature_mm_per_c",
    "level_mm",
    "deviation_mm",
    *_WEIGHT,
)
#: Products named one by one in a working.
MOST_NAMES = 6


def rope_figures(account: RopeAccount, judgement: Verdict | None, plant: Plant, period: Period) -> tuple[Figure, ...]:
    """Every figure of the rope answer."""
    figures = FigureList(period, currency=plant.currency, share=tr("{share:.0%}", share=SHARE_OUT))
    _targets(figures, account)
    if account.model is None or judgement is None:
        _no_model(figures, account)
    else:
        _drift(figures, account, account.model, judgement)
        _leaving(figures, account, account.model)
        _level_figures(figures, account, account.model)
        _weight(figures, account, account.model, plant)
        _effects(figures, account.model, judgement)
        _products(figures, account.model)
    _within(figures, account)
    return figures.all


def _mean(model: RopeModel, contrast: np.ndarray) -> Estimate:
    """What the model gives for a contrast of its columns, with its 95 % interval."""
    low, high = model.fit.interval(contrast)
    return Estimate(model.fit.mean(contrast), low, high, model.n, interval=_kind(model, tr("95 % confidence")))


def _kind(model: RopeModel, stated: str) -> str:
    """What an interval is where it holds more than a level and a wear that stay; "" where it does not."""
    if not model.fit.doubtful:
        return ""
    return tr(
        "at least {interval}, for a level that wanders or a pace that changes cannot be ruled out", interval=stated
    )


def _sum_words(size_mm: float, change_mm: float) -> str:
    sign = "−" if change_mm < 0 else "+"
    return in_digits(f"{size_mm:g} {sign} ") + show.number(abs(change_mm), 4)


def _targets(figures: FigureList, account: RopeAccount) -> None:
    middle, half = account.target.diameter_mm, account.target.tolerance_mm
    if middle is None or half is None:
        for name in ("target_mm", "tolerance_low_mm", "tolerance_high_mm"):
            figures.unknown(name, tr("no batch names its product, and products differ in diameter"))
        return
    figures.add("target_mm", middle, tr("the products' diameter_mm in plant.toml"))
    figures.add("tolerance_low_mm", middle - half, in_digits(f"{middle:g} − {half:g}"))
    figures.add("tolerance_high_mm", middle + half, in_digits(f"{middle:g} + {half:g}"))


def _no_model(figures: FigureList, account: RopeAccount) -> None:
    few = 0 < account.points.height < LEAST_BATCHES
    for name in _MODELLED:
        if few:
            figures.too_few(name, needs=LEAST_BATCHES, has=account.points.height)
        else:
            figures.unknown(name, account.problem or tr("no model of the rope"))


def _drift(figures: FigureList, account: RopeAccount, model: RopeModel, judgement: Verdict) -> None:
    steps = len(model.adjustments)
    clock = tr(account.clock.source) if account.clock is not None else tr("no clock")
    cooled = tr(", rope temperature") if model.temperature_c is not None else ""
    working = tr(
        "generalised least squares of {n} batch means on running hours ({clock}), {steps} "
        "step(s){cooled}; correlation of neighbouring batches about {phi}, averaged over its "
        "restricted likelihood; chance that the level wanders {wandering} %, that the pace "
        "changes slowly {bending} %; what is left depends on itself by chance {p} (Ljung–Box)",
        n=model.n,
        clock=clock,
        steps=steps,
        cooled=cooled,
        phi=show.number(model.fit.phi, 2),
        wandering=show.number(100 * model.fit.wandering, 0),
        bending=show.number(100 * model.fit.bending, 0),
        p=show.number(left_over(model).p, 2),
    )
    ends, kind = (judgement.wear_low, judgement.wear_high), _kind(model, tr("95 % confidence"))
    figures.add("drift_mm_per_h", Estimate(judgement.wear_mm_per_h, *ends, model.n, interval=kind), working)
    working = tr("last of {steps} step(s)", steps=steps) if steps else tr("no step in the period")
    figures.add("drift_since", model.since, working, n=model.n)


def _leaving(figures: FigureList, account: RopeAccount, model: RopeModel) -> None:
    """Add when the rope leaves tolerance, in running hours and by the planned shifts."""
    ahead = account.ahead
    if ahead is None:
        for name in _LEAVING:
            figures.unknown(name, tr("the tolerance is not known"))
        return None
    level, wear = model.fit.mean(model.at(ahead.now_h)), model.fit.mean(model.contrast(wear=1.0))
    working = tr(
        "(tolerance − ({level}) mm) ÷ {wear} mm/h; of the levels and wears that the data allow {share:.0%} leave "
        "within {hours:.0f} h",
        level=show.number(level, 4),
        wear=show.number(wear, 5),
        share=ahead.mean.share_within,
        hours=HORIZON_H,
    )
    _hours(figures, "hours_to_tolerance", ahead.mean, working, model)
    if ahead.first is not None:
        working = tr(
            "futures drawn of the levels, wears and batches' own offsets that the data allow, to the first one out"
        )
        _hours(figures, "hours_to_first_out", ahead.first, working, model)
    else:
        why = tr("some batches are farther off than a normal law has them, so one may be out at any time")
        figures.unknown("hours_to_first_out", why)
    if ahead.share is None:
        why = tr("even a rope on target has more than {share_out:.0%} of pieces outside", share_out=SHARE_OUT)
        figures.unknown("hours_to_share_out", why)
    else:
        working = tr("as the running hours until the batch mean leaves tolerance, with the band that a mean must keep")
        _hours(figures, "hours_to_share_out", ahead.share, working, model)
    if ahead.moment is None:
        never = tr("will not, within {hours:.0f} h of running", hours=HORIZON_H)
        why = never if ahead.mean.value_h is None else tr("the planned shifts end before")
        return figures.unknown("leaves_tolerance_at", why)
    text = mark("{hours} running hours ÷ {uptime} running hours a planned hour, along the planned shifts")
    working = tr(text, hours=show.number(ahead.mean.value_h or 0.0, 1), uptime=show.number(ahead.uptime, 2))
    ends = {"earliest": ahead.moment_low, "latest": ahead.moment_high}
    return figures.moment("leaves_tolerance_at", ahead.moment, working, n=model.n, **ends)


def _hours(figures: FigureList, name: str, time: TimeToLeave, working: str, model: RopeModel) -> None:
    kind = _kind(model, "90 %") or tr("90 % interval")
    kind += "" if time.high_h is not None else tr(", open above {hours:.0f} h", hours=HORIZON_H)
    why = "" if time.value_h is not None else tr("will not, within {hours:.0f} h", hours=HORIZON_H)
    figures.add(name, Estimate(time.value_h, time.low_h, time.high_h, model.n, interval=kind, why_none=why), working)


def _level_figures(figures: FigureList, account: RopeAccount, model: RopeModel) -> None:
    """Add how far batches lie apart and where the rope is now."""
    sampling = account.within.sampling_sd_mm if account.within else 0.0
    sd = model.fit.sd()
    spread, low, high = (sqrt(max(0.0, v**2 - sampling**2)) for v in (sd, *model.fit.sd_interval()))
    working = tr(
        "√({sd}² − {sampling}²): spread of batch means about the model, less what the readings within a batch explain",
        sd=show.number(sd, 4),
        sampling=show.number(sampling, 4),
    )
    figures.add("batch_to_batch_sd_mm", Estimate(spread, low, high, model.n), working)
    _temperature(figures, account, model)
    target, now_h = account.target.diameter_mm, float(model.hours[-1])
    deviation = _mean(model, model.at(now_h))
    if target is None:
        for name in ("level_mm", "deviation_mm"):
            figures.unknown(name, tr("the target diameter is not known"))
        return
    level = Estimate.exact(target) + deviation
    figures.add("level_mm", level, _sum_words(target, deviation.number), interval=deviation.interval)
    figures.add(
        "deviation_mm", deviation, tr("model at {hours} running hours, the last batch", hours=show.number(now_h, 2))
    )


def _temperature(figures: FigureList, account: RopeAccount, model: RopeModel) -> None:
    if model.temperature_c is None:
        why = tr("rope temperature was not exported, so wear and cooling cannot be separated")
        if account.points["temperature_c"].drop_nulls().len():
            why = tr("rope temperature hardly changes, or most batches have none")
        return figures.unknown("temperature_mm_per_c", why)
    working = tr(
        "slope on batch mean temperature about {temperature} °C", temperature=show.number(model.temperature_c, 1)
    )
    return figures.add("temperature_mm_per_c", _mean(model, model.contrast(temperature=1.0)), working)


def _weight(figures: FigureList, account: RopeAccount, model: RopeModel, plant: Plant) -> None:
    """Add what the deviation does to a piece, and to a week."""
    product, ahead = account.target.product, account.ahead
    if product is None or ahead is None:
        for name in _WEIGHT:
            figures.unknown(name, tr("the product on the line is not known"))
        return
    deviation = _mean(model, model.at(ahead.now_h))
    ends = (deviation.number, *deviation.ends)
    grams, low, high = (mass_change_g(product.mass_g, product.diameter_mm, d) for d in ends)
    size, mass = in_digits(f"{product.diameter_mm:g}"), in_digits(f"{product.mass_g:g}")
    working = f"{mass} g × ((({_sum_words(product.diameter_mm, ends[0])}) ÷ {size})² − 1), {product.flavour}"
    figures.add(_WEIGHT[0], Estimate(grams, low, high, model.n), working)
    if account.weeks_a_piece is None or account.pieces_by_product is None:
        why = tr("pieces were not counted") if account.pieces_by_product is None else tr("no shifts are planned")
        for name in _WEIGHT[1:]:
            figures.unknown(name, why)
        return
    effect = week_effect(plant, account.pieces_by_product, account.weeks_a_piece, ends, product)
    figures.add(_WEIGHT[1], Estimate(*effect.kg, n=model.n), _kg_working(effect))
    if effect.money is None:
        figures.unknown(_WEIGHT[2], effect.why_no_money)
    else:
        figures.add(_WEIGHT[2], Estimate(*effect.money, n=model.n), _money_working(effect))
    middle, least, most = model.average()
    over = Estimate(middle, least, most, model.n)
    average = week_effect(plant, account.pieces_by_product, account.weeks_a_piece, (over.number, *over.ends), product)
    text = mark("{deviation} mm off target on average of {batches} batches; ")
    mean = tr(text, deviation=show.number(over.number, 4), batches=model.n)
    figures.add(_AVERAGE[0], Estimate(*average.kg, n=model.n), mean + _kg_working(average))
    if average.money is not None:
        figures.add(_AVERAGE[1], Estimate(*average.money, n=model.n), mean + _money_working(average))


def weight_words(figures: Sequence[Figure], plant: Plant) -> str:
    """Say what the deviation takes a week, in kilograms and money."""
    by_name = {figure.name: figure for figure in figures}
    kg = by_name.get("weight_effect_kg_per_week")
    if kg is None or not isinstance(kg.value, float):
        return ""
    if not isinstance(kg.low, float) or not isinstance(kg.high, float) or kg.low * kg.high <= 0:
        return ""
    amount, money = (
        _without_week(replace(f, value=abs(f.value)), plant) if isinstance(f.value, float) else ""
        for f in (kg, by_name["weight_effect_money_per_week"])
    )
    ends = sorted(abs(end) for end in (kg.low, kg.high))
    low, high = (show.value(replace(kg, value=end), plant).split()[0] for end in ends)
    places = {"amount": amount, "low": low, "high": high, "money": money and ", " + money}
    if kg.value > 0:
        now = tr(
            "At its present deviation the rope gives away {amount} ({low} to {high}) of candy a week{money}.", **places
        )
    else:
        now = tr(
            "At its present deviation the rope is short by {amount} ({low} to {high}) of candy a week{money}.", **places
        )
    return f"{now} {_average_words(by_name, plant)}".rstrip()


def _without_week(figure: Figure, plant: Plant) -> str:
    return show.value(figure, plant).removesuffix(f"/{tr('week')}")


def _average_words(by_name: dict[str, Figure], plant: Plant) -> str:
    """Say what the period's average deviation came to, since the weights are averaged over the period too."""
    kg, money = (by_name.get(name) for name in _AVERAGE)
    if kg is None or not isinstance(kg.value, float):
        return ""
    amount = _without_week(kg, plant)
    cost = f", {_without_week(money, plant)}" if money and isinstance(money.value, float) else ""
    return tr(
        "Averaged over the period it was {amount}{money} a week: the rope's part of the giveaway on the page Weight.",
        amount=amount,
        money=cost,
    )


def _kg_working(effect: WeekEffect) -> str:
    parts = [
        tr(
            "{mass} g × {pieces:,.0f} pieces ({product})",
            mass=show.number(week.grams[0], 4),
            pieces=week.pieces,
            product=week.product.flavour,
        )
        for week in effect.products[:MOST_NAMES]
    ]
    if effect.products[MOST_NAMES:]:
        parts.append(tr("{count} further products", count=len(effect.products) - MOST_NAMES))
    return tr("({sum}) ÷ 1,000, pieces a planned week", sum=" + ".join(parts))


def _money_working(effect: WeekEffect) -> str:
    priced = [(week.kg[0], week.product) for week in effect.products if week.product.price_per_kg is not None]
    parts = [
        tr("{kg} kg × {price:g} ({product})", kg=show.number(kg, 2), price=candy.price_per_kg, product=candy.flavour)
        for kg, candy in priced[:MOST_NAMES]
    ]
    if priced[MOST_NAMES:]:
        parts.append(tr("{count} further products", count=len(priced) - MOST_NAMES))
    text = " + ".join(parts)
    if effect.unnamed > 0:
        text += tr("; {share:.1%} of the pieces name no product and are left out", share=effect.unnamed)
    return text


def _effects(figures: FigureList, model: RopeModel, judgement: Verdict) -> None:
    """Add what each step did."""
    for i, effect in enumerate(judgement.effects, 1):
        kind = _kind(model, tr("95 % confidence"))
        size = Estimate(effect.size_mm, effect.low_mm, effect.high_mm, model.n, interval=kind)
        text = mark("{after} after − {before} before")
        working = tr(text, after=show.number(effect.after_mm, 3), before=show.number(effect.before_mm, 3))
        figures.add("adjustment_{i}_mm", size, working, i=i, what=effect.label)


def _products(figures: FigureList, model: RopeModel) -> None:
    """Add the offset of each kind of product against the one on the line."""
    if model.kinds is None:
        return
    other = model.kinds.reference
    for i, name in enumerate(model.kinds.names):
        batches = int(model.kinds.columns[:, i].sum())
        text = mark("offset of {batches} batches from their own target, beside that of {product}")
        working = tr(text, batches=batches, product=other)
        offset = _mean(model, model.contrast(**{f"product{i}": 1.0}))
        figures.add("product_{i}_mm", offset, working, n=batches, i=i + 1, product=name, other=other)


def _within(figures: FigureList, account: RopeAccount) -> None:
    """Add the spread within batches and the taper along them."""
    blocks, within = account.marks == "blocks", account.within
    parts = (
        (
            "within_batch_sd_mm",
            within.sd if within else None,
            tr("two readings in a batch"),
            tr("readings about each batch's own line, restricted likelihood of noise with memory, a gauge's own on it"),
        ),
        (
            "taper_mm",
            within.taper if within and not blocks else None,
            tr("batch marks") if blocks else tr("two batches of 8 readings"),
            tr("mean over batches of slope × length"),
        ),
    )
    for name, estimate, needs, working in parts:
        if estimate is None or estimate.value is None:
            figures.unknown(name, tr("it needs {needs}", needs=needs))
            continue
        high = estimate.high if estimate.high is not None and isfinite(estimate.high) else None
        kind = estimate.interval if estimate.low is None else ""
        figures.add(
            name,
            replace(estimate, high=high, interval=kind),
            tr("{working}, {batches:,} batches", working=working, batches=estimate.n),
        )
