"""The order answer's words: its sentence, its soft line, its notes and its cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta

import polars as pl

from lineview.order.demand import Demand
from lineview.order.orders import RISK, OrderLine
from lineview.plant import Plant, Web
from lineview.report.answer import Span

CAUTIONS = (
    "A planning aid: check the count on the shelf before a large order is sent.",
    "Wrap that touches food must be approved for it. The date shown is that of the supplier's declaration on "
    "file; whether it covers the use is for you and the supplier to judge.",
    "Printed wrap must match the recipe and its allergens; check the artwork before ordering.",
)


def day_words(at: datetime, plant: Plant) -> str:
    """A moment's day in the plant's zone ("Thursday 25 June", in US units "Thursday, June 25")."""
    local = at.astimezone(plant.tz)
    return f"{local:%A, %B} {local.day}" if plant.units == "US" else f"{local:%A} {local.day} {local:%B}"


def chance_words(chance: float) -> str:
    """A chance as people say it."""
    if chance >= 0.95:
        return "a risk above 95 %"
    if chance < 0.001:
        return "a risk below 0.1 %"
    return f"a risk of {100 * chance:.2g} %"


def web_name(web: Web) -> str:
    """A web as it is called in a sentence."""
    return web.name or web.id


def sentence(lines: Sequence[OrderLine], plant: Plant, now: datetime) -> tuple[Span, ...]:
    """Say what to order by when and what waiting risks; of several webs, the most urgent."""
    if not plant.webs:
        return (Span("No order advice: plant.toml describes no web."),)
    told = [line for line in lines if line.advice is not None]
    due = [line for line in told if line.order_by is not None]
    if due:
        return (*_order(due, plant, now), *_open(told, plant, now, due[0].web))
    if told:
        nothing = Span("Nothing has to be ordered: what is on hand and on order lasts beyond a year.")
        return (nothing, *_open(told, plant, now))
    needed = [line for line in lines if line.week_reels > 0]
    if not needed:
        return (Span("No order advice yet: there is neither a plan nor a history."),)
    first = max(needed, key=lambda line: line.week_reels)
    text = f"A week takes {first.week_reels:.1f} reels of {web_name(first.web)}; "
    return (Span(text), Span("no order date: no stock count was entered", call=True), Span("."))


def _order(due: Sequence[OrderLine], plant: Plant, now: datetime) -> tuple[Span, ...]:
    first = due[0]
    if first.advice is None or first.order_by is None:
        return ()
    reels = f"{first.advice.reels} reel{'s' if first.advice.reels != 1 else ''}"
    late = first.order_by <= now
    name = web_name(first.web)
    # There is no today here: the advice is of the last reading's day, and says so.
    start = (
        f"As of {day_words(now, plant)}, order {reels} of {name} at once"
        if late
        else f"Order {reels} of {name} by {day_words(first.order_by, plant)}"
    )
    if late and first.advice.chance > RISK:
        coming = 0.0 if first.supply is None else sum(reels for _, reels in first.supply.coming)
        even = f"once the {coming:,.0f} on order are in, it may run out again" if coming else "it may run out"
        risk = f"{even} before the new ones come, with {chance_words(first.advice.chance)}"
        spans = [Span(start + "; "), Span(risk, call=True)]
    else:
        spans = [Span(start + "; ")]
        risk = f"waiting a week means {chance_words(first.advice.chance_week_later)} of running out"
        spans.append(Span(risk, call=first.advice.chance_week_later > 2 * RISK))
    return (*spans, Span("."))


def _open(told: Sequence[OrderLine], plant: Plant, now: datetime, named: Web | None = None) -> tuple[Span, ...]:
    """Name the webs likely to run out before a delivery that is already ordered; no order helps that."""
    risky = [(line.open_risk, line.web) for line in told if line.open_risk is not None]
    over = [(risk, web) for risk, web in risky if risk is not None and risk[0] > RISK]
    if not over:
        return ()
    (chance, day), web = max(over, key=lambda pair: pair[0][0])
    at = day_words(now + timedelta(days=day), plant)
    name = "It" if named is not None and named.id == web.id else web_name(web)
    if chance >= 0.95:
        text = f"{name} will almost surely run out before its delivery of {at}"
    else:
        text = f"{name} may run out before its delivery of {at}, with {chance_words(chance)}"
    others = [(c, f"{web_name(w)} ({day_words(now + timedelta(days=d), plant)})") for (c, d), w in over if w != web]
    sure, maybe = ([words for c, words in others if (c >= 0.95) is wanted] for wanted in (True, False))
    named_too = f"; almost surely also {listed(sure)}" if sure else ""
    named_too += f"; possibly also {listed(maybe)}" if maybe else ""
    ask = ": ask the supplier to bring those forward." if others else ": ask the supplier to bring it forward."
    return (Span(" "), Span(text + named_too, call=True), Span(ask))


def listed(names: Sequence[str]) -> str:
    """Give names as a sentence lists them."""
    return " and ".join(part for part in (", ".join(names[:-1]), *names[-1:]) if part)


def history_words(made: pl.DataFrame, plant: Plant, now: datetime) -> str:
    """Say over what time use was learned ("14 days up to Friday 19 June")."""
    if made.is_empty():
        return ""
    first: date = made["date"].to_list()[int(made["date"].arg_min() or 0)]
    days = (now.astimezone(plant.tz).date() - first).days + 1
    length = f"{days} day{'s' if days != 1 else ''}" if days < 56 else f"{days // 7} weeks"
    return f"{length} up to {day_words(now, plant)}"


def soft_line(lines: Sequence[OrderLine], plant: Plant, history: str) -> str:
    """The line below the sentence: cover, lead time, accepted chance, and how many webs follow."""
    due = [line for line in lines if line.order_by is not None]
    parts = []
    if due and due[0].advice is not None and due[0].supply is not None:
        first, advice = due[0], due[0].advice
        cover = "beyond a year" if math.isinf(advice.cover_days) else f"{advice.cover_days:.0f} days"
        lead = f"{first.web.lead_time_days:g} ± {first.web.lead_time_sd_days:g} days"
        parts.append(f"{due[0].supply.on_hand:.1f} reels on hand, cover {cover}, lead time {lead}")
    if any(line.advice is not None for line in lines):
        parts.append(f"accepted: a {100 * RISK:.0f} % chance of running out before a delivery")
    parts += _further(due[1:], plant)
    if history:
        parts.append(f"history: {history}")
    text = "; ".join(parts)
    if not text:
        return ""
    return text[0].upper() + text[1:] + "."


def _further(due: Sequence[OrderLine], plant: Plant) -> list[str]:
    """Say which webs are ordered after the first: those of the next day by name, the others by number."""
    days = [(line, line.order_by) for line in due if line.order_by is not None]
    if not days:
        return []
    first = min(day for _, day in days)
    same = [web_name(line.web) for line, day in days if day.date() == first.date()]
    later = [day for _, day in days if day.date() != first.date()]
    parts = [f"then {listed(same)} by {day_words(first, plant)}"]
    if later:
        more = "1 further web" if len(later) == 1 else f"{len(later)} further webs"
        parts.append(f"{more} from {day_words(min(later), plant)}")
    return parts


def notes(lines: Sequence[OrderLine], demand: Demand, plant: Plant) -> tuple[str, ...]:
    """Say what cannot be told, what was refused and what stands on an assumption."""
    out = [f"{name} is in the plan or on the batch sheet but not in plant.toml." for name in demand.unknown]
    out += [f"{what}." for what in demand.without_web]
    for web in (plant.web(web_id) for web_id in demand.borrowed):
        if web is not None:
            out.append(
                f"{web_name(web)}: its flavour was never made; its need is that of the mean flavour of its "
                "base, and may be half or twice that."
            )
    if any(line.advice is not None for line in lines):
        out.append(
            "Days count weekends too, with the need spread evenly over the week; what cannot be wrapped "
            "while a web is out is assumed to be wrapped once it arrives."
        )
    uncounted = [web_name(line.web) for line in lines if line.on_hand is None]
    if uncounted:
        some = ", ".join(uncounted[:6]) + (" and others" if len(uncounted) > 6 else "")
        out.append(f"No stock count of {some}: the need is shown without an order date.")
    no_lead = [web_name(line.web) for line in lines if line.on_hand is not None and line.advice is None]
    if no_lead:
        out.append(f"No lead_time_days in plant.toml for {', '.join(no_lead)}: no order date.")
    for line in lines:
        out += [] if line.on_hand is None else [f"Not counted: {why}" for why in line.on_hand.refused]
    undeclared = [web_name(line.web) for line in lines if not line.web.food_contact_declared_on]
    if undeclared:
        out.append(
            f"No date of a food-contact declaration in plant.toml for {', '.join(undeclared[:6])}: ask the "
            "supplier for it before ordering."
        )
    unpriced = [web_name(line.web) for line in lines if line.web.price_per_reel is None]
    if unpriced:
        out.append(f"No price in plant.toml for {', '.join(unpriced[:6])}: no money is shown for it.")
    known = {line.web.id for line in lines}
    out += [f"{web_name(w)}: no reel length, nor thickness, in plant.toml." for w in plant.webs if w.id not in known]
    return tuple(out)
