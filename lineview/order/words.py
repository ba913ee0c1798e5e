"""The order answer's words: its sentence, its soft line, its notes and its cautions."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr, tr_count, tr_in
from lineview.order.demand import Demand
from lineview.order.orders import OrderLine
from lineview.plant import Plant, Web
from lineview.report import show
from lineview.report.answer import Span

CAUTIONS = (
    mark("A planning aid: check the count on the shelf before a large order is sent."),
    mark(
        "Wrap that touches food must be approved for it. The date shown is that of the "
        "supplier's declaration on file; whether it covers the use is for you and the supplier "
        "to judge."
    ),
    mark("Printed wrap must match the recipe and its allergens; check the artwork before ordering."),
)

#: From this chance on, running out is called almost sure.
_ALMOST_SURE = 0.95


def day_words(at: datetime, plant: Plant) -> str:
    """A moment's day in the plant's zone ("Thursday 25 June", in US units "Thursday, June 25")."""
    return show.a_day(at.astimezone(plant.tz).date(), plant, long=True)


def chance_words(chance: float) -> str:
    """A chance in words."""
    if chance >= _ALMOST_SURE:
        return tr("a risk above 95 %")
    if chance < 0.001:
        return tr("a risk below 0.1 %")
    return tr("a risk of {chance:.2g} %", chance=100 * chance)


def reels_words(reels: int) -> str:
    """A number of reels in words."""
    return tr_count("{count} reel", "{count:,} reels", reels)


def sentence(lines: Sequence[OrderLine], plant: Plant, now: datetime, *, disputed: bool = False) -> tuple[Span, ...]:
    """What to order by when, and the gravest risk; of several webs, the most urgent. The rest is in the list below.

    `disputed` says whether stock counts contradict each other.
    """
    if not plant.webs:
        return (Span(tr("No order advice: plant.toml describes no web.")),)
    with_advice = [line for line in lines if line.advice is not None]
    due = [line for line in with_advice if line.order_by is not None]
    short = _short_before_delivery(with_advice, plant, now)
    if due:
        return _order(due[0], short, plant, now)
    if with_advice:
        nothing = Span(tr("Nothing has to be ordered: what is on hand and on order lasts beyond a year."))
        return (nothing, Span(" "), Span(_open_words(short[0]), call=True), Span(".")) if short else (nothing,)
    in_use = [line for line in lines if line.week_reels > 0]
    if not in_use:
        return (Span(tr("No order advice yet: there is neither a plan nor a history.")),)
    first = max(in_use, key=lambda line: line.week_reels)
    text = tr("A week takes {reels:.1f} reels of {web}; ", reels=first.week_reels, web=first.web.label)
    uncounted = tr("two stock counts disagree") if disputed else tr("no stock count was entered")
    why = uncounted if first.on_hand is None else first.why_none
    return (Span(text), Span(tr("no order date: {why}", why=why), call=True), Span("."))


def _order(first: OrderLine, short: Sequence[_Short], plant: Plant, now: datetime) -> tuple[Span, ...]:
    if first.advice is None or first.order_by is None:
        return ()
    reels = reels_words(first.advice.reels)
    name = first.web.label
    # There is no today here: the advice is of the last reading's day, and says so.
    start = (
        tr("As of {day}, order {reels} of {name} at once; ", day=day_words(now, plant), reels=reels, name=name)
        if first.order_by <= now
        else tr("Order {reels} of {name} by {day}; ", reels=reels, name=name, day=day_words(first.order_by, plant))
    )
    if short:
        risk, call = _open_words(short[0], first.web), True
    elif first.order_by <= now and first.advice.chance > first.risk:
        risk, call = (
            tr("even so it may run out before they come, with {risk}", risk=chance_words(first.advice.chance)),
            True,
        )
    else:
        later = first.advice.chance_week_later
        risk, call = (
            tr("waiting a week means {risk} of running out", risk=chance_words(later)),
            later > 2 * first.risk,
        )
    return (Span(start), Span(risk, call=call), Span("."))


@dataclass(frozen=True)
class _Short:
    """A web that may run out before a delivery that is already ordered, how likely, and that delivery's day."""

    web: Web
    chance: float
    day: str


def _short_before_delivery(advised: Sequence[OrderLine], plant: Plant, now: datetime) -> list[_Short]:
    """The webs likely to run out before a delivery already ordered, the likeliest first; no order helps that."""
    risks = [(line, *line.open_risk) for line in advised if line.open_risk is not None]
    short = [
        _Short(line.web, c, day_words(now + timedelta(days=days), plant)) for line, c, days in risks if c > line.risk
    ]
    return sorted(short, key=lambda web: -web.chance)


def _open_words(short: _Short, subject: Web | None = None) -> str:
    name = tr_in("of a web", "it") if subject is not None and subject.id == short.web.id else short.web.label
    if short.chance >= _ALMOST_SURE:
        return tr("{name} will almost surely run out before its delivery of {day}", name=name, day=short.day)
    text = mark("{name} may run out before its delivery of {day} ({chance:.2g} % risk)")
    return tr(text, name=name, day=short.day, chance=100 * short.chance)


def history_words(daily_output: pl.DataFrame, plant: Plant, now: datetime) -> str:
    """Say over what time use was learned ("14 days up to Friday 19 June")."""
    if daily_output.is_empty():
        return ""
    first: date = daily_output["date"].to_list()[int(daily_output["date"].arg_min() or 0)]
    days = (now.astimezone(plant.tz).date() - first).days + 1
    length = tr_count("{count} day", "{count:,} days", days) if days < 56 else tr("{weeks} weeks", weeks=days // 7)
    return tr("{length} up to {day}", length=length, day=day_words(now, plant))


def soft_line(lines: Sequence[OrderLine], history: str) -> str:
    """The line below the sentence: the chance that is accepted, and the time that use was learned over."""
    advised = [line for line in lines if line.advice is not None]
    parts = (
        [tr("Accepted: a {risk:g} % chance of running out before a delivery.", risk=100 * advised[0].risk)]
        if advised
        else []
    )
    return " ".join((*parts, *([tr("History: {history}.", history=history)] if history else [])))


#: So many webs that need a person stand in the list below; the others are counted.
MOST_LISTED = 5


def order_points(lines: Sequence[OrderLine], plant: Plant, now: datetime) -> tuple[str, ...]:
    """The list below the sentence, a web a line: deliveries to bring forward, then orders, the most urgent first."""
    short = {entry.web.id: entry for entry in _short_before_delivery(lines, plant, now)}
    due = [line for line in lines if line.advice is not None and line.order_by is not None]
    waiting = [line for line in lines if line.web.id in short and line not in due]
    first = [line for line in due if line.web.id in short]
    order = [*waiting, *first, *(line for line in due if line not in first)]
    most = max(MOST_LISTED, len(short))
    points = [_point(line, short.get(line.web.id), plant, now) for line in order[:most]]
    later = [line.order_by for line in order[most:] if line.order_by is not None]
    if later:
        points.append(
            tr_count(
                "{count} further web from {day}: in the table below.",
                "{count:,} further webs from {day}: in the table below.",
                len(later),
                day=day_words(min(later), plant),
            )
        )
    return tuple(points)


def _point(line: OrderLine, short: _Short | None, plant: Plant, now: datetime) -> str:
    """What one web asks for, and what it rests on."""
    acts = []
    if short is not None:
        acts.append(
            tr(
                "ask the supplier to bring forward the delivery of {day}, before which it will almost surely run out",
                day=short.day,
            )
            if short.chance >= _ALMOST_SURE
            else tr(
                "ask the supplier to bring forward the delivery of {day}, before which it may run out", day=short.day
            )
        )
    if line.advice is not None and line.order_by is not None:
        late = line.order_by <= now
        reels = reels_words(line.advice.reels)
        act = (
            tr("order {reels} at once", reels=reels)
            if late
            else tr("order {reels} by {day}", reels=reels, day=day_words(line.order_by, plant))
        )
        risk = tr(", although it may run out before they come ({risk})", risk=chance_words(line.advice.chance))
        acts.append(f"{act}{risk if late and line.advice.chance > line.risk else ''}")
    return f"{line.web.label}: {'; '.join(acts)}. {_stand(line)}."


def _stand(line: OrderLine) -> str:
    """What is there and on its way, when it first runs out, and how long an order takes."""
    parts = []
    if line.supply is not None and line.advice is not None:
        coming = sum(reels for _, reels in line.supply.coming)
        parts += [
            tr("{reels:,.1f} reels on hand", reels=line.supply.on_hand),
            *([tr("{reels:,.0f} on order", reels=coming)] if coming else []),
        ]
        days = line.advice.cover_days
        parts.append(
            tr("lasts beyond a year")
            if math.isinf(days)
            else tr("runs out within a day")
            if days < 1.0
            else tr("at the expected need out in {days:.0f} days", days=days)
        )
    return ", ".join(
        (
            *parts,
            tr(
                "lead time {days:g} ± {spread_days:g} days",
                days=line.web.lead_time_days,
                spread_days=line.web.lead_time_sd_days,
            ),
        )
    )


def later_counts(stock: pl.DataFrame, plant: Plant) -> list[str]:
    """Say which counts are dated after today, so that they are not used."""
    if stock.is_empty():
        return []
    webs, first = (
        ", ".join(sorted(stock["web"].unique(maintain_order=True))[:6]),
        day_words(stock["at"].to_list()[0], plant),
    )
    return [tr("Stock counts of {webs} from {day} on are not used: that is to come.", webs=webs, day=first)]


def notes(lines: Sequence[OrderLine], demand: Demand, plant: Plant) -> tuple[str, ...]:
    """Say what is not known, what was refused and what rests on an assumption."""
    out = [
        tr("{name} is in the plan or on the batch sheet but not in plant.toml.", name=name) for name in demand.unknown
    ]
    out += [f"{words}." for words in demand.without_web]
    for web in (plant.web(web_id) for web_id in demand.borrowed):
        if web is not None:
            out.append(
                tr(
                    "{web}: its flavour was never made; its need is that of the mean flavour of its "
                    "base, and may be half or twice that.",
                    web=web.label,
                )
            )
    if any(line.advice is not None for line in lines):
        out.append(
            tr(
                "Days count weekends too, with the need spread evenly over the week; what cannot be "
                "wrapped while a web is out is assumed to be wrapped once it arrives."
            )
        )
    no_count = [line.web.label for line in lines if line.on_hand is None]
    if no_count:
        names = ", ".join(no_count[:6]) + (tr(" and others") if len(no_count) > 6 else "")
        out.append(tr("No stock count of {webs}: the need is shown without an order date.", webs=names))
    no_lead = [line.web.label for line in lines if line.on_hand is not None and line.advice is None]
    if no_lead:
        out.append(tr("No lead_time_days in plant.toml for {webs}: no order date.", webs=", ".join(no_lead)))
    for line in lines:
        out += [] if line.on_hand is None else [tr("Not counted: {why}", why=why) for why in line.on_hand.refused]
    no_declaration = [line.web.label for line in lines if not line.web.food_contact_declared_on]
    if no_declaration:
        out.append(
            tr(
                "No date of a food-contact declaration in plant.toml for {webs}: ask the supplier "
                "for it before ordering.",
                webs=", ".join(no_declaration[:6]),
            )
        )
    no_price = [line.web.label for line in lines if line.web.price_per_reel is None]
    if no_price:
        out.append(tr("No price in plant.toml for {webs}: no money is shown for it.", webs=", ".join(no_price[:6])))
    with_line = {line.web.id for line in lines}
    out += [
        tr("{web}: no reel length, nor thickness, in plant.toml.", web=w.label)
        for w in plant.webs
        if w.id not in with_line
    ]
    return tuple(out)


#: So many stock counts in conflict are named; the others are counted.
MOST_NAMED = 3


def open_plan(rows: pl.DataFrame) -> Estimate:
    """Pieces that plans in conflict leave open: from the least to the most that they say of each product and time."""
    # rows of other hours that meet are of one time, of which each plan says a sum
    sorted_rows = rows.sort("line", "product", "start", maintain_order=True)
    apart = (pl.col("start") >= pl.col("end").cum_max().shift(1)).fill_null(value=True)
    time = apart.cum_sum().over("line", "product").alias("time")
    plans = sorted_rows.with_columns(time).group_by("line", "product", "time", "intake", maintain_order=True)
    by_time = (
        plans.agg(pl.col("pieces").sum())
        .group_by("line", "product", "time", maintain_order=True)
        .agg(low=pl.col("pieces").min(), high=pl.col("pieces").max())
    )
    if not by_time.height:
        return Estimate.exact(0.0)
    ends = float(by_time["low"].sum()), float(by_time["high"].sum())
    why = tr("not known: {low} or {high} or between", low=show.number(round(ends[0])), high=show.number(round(ends[1])))
    return Estimate(
        None, *ends, by_time.height, interval=tr("bounds: the least and the most that the plans say"), why_none=why
    )


def plan_dispute(rows: pl.DataFrame, open_pieces: Estimate, plant: Plant) -> Iterator[str]:
    """Say how much of the plan is in conflict, and what is used instead."""
    if not open_pieces.n or open_pieces.low is None or open_pieces.high is None:
        return
    first, last = (
        show.a_day(at.astimezone(plant.tz).date(), plant)
        for at in (min(rows["start"].to_list()), max(rows["end"].to_list()))
    )
    low, high = show.number(round(open_pieces.low)), show.number(round(open_pieces.high))
    files = show.sentence_list(sorted(set(rows["file"].to_list()))[:4])
    yield (
        tr_count(
            "The plan from {first} to {last} is in conflict: {low} to {high} pieces in {count} row stand "
            "differently in {files}.",
            "The plan from {first} to {last} is in conflict: {low} to {high} pieces in {count:,} rows stand "
            "differently in {files}.",
            open_pieces.n,
            first=first,
            last=last,
            low=low,
            high=high,
            files=files,
        )
        + tr(
            " That time's plan is not used, history stands in for it; undo the export that is wrong on the page Intake."
        )
    )


def stock_disputes(rows: pl.DataFrame, plant: Plant) -> Iterator[str]:
    """Say which stock counts disagree, with their values, and what to do."""
    disputes = list(rows.sort("at", descending=True, maintain_order=True).group_by("web", "at", maintain_order=True))
    for (web_id, at), counts in disputes[:MOST_NAMED]:
        web = plant.web(str(web_id))
        name = str(web_id) if web is None else web.label
        values = [_count_words(row, plant) for row in counts.iter_rows(named=True)]
        yield (
            tr(
                "The stock counts of {name} at {at} disagree: {values}. Neither is used: undo the export "
                "that is wrong on the page Intake, or count again.",
                name=name,
                at=show.moment(at, plant),
                values=show.sentence_list(values),
            )
        )
    if len(disputes) > MOST_NAMED:
        yield tr("So do {more} more.", more=len(disputes) - MOST_NAMED)


def _count_words(row: dict[str, Any], plant: Plant) -> str:
    parts = [
        tr("{number:g} {words}", number=row[key], words=tr(words))
        for key, words in _COUNT_COLUMNS
        if row[key] is not None
    ]
    if row["expected_on"] is not None:
        parts.append(tr("due {day}", day=show.a_day(row["expected_on"].astimezone(plant.tz).date(), plant)))
    return tr("{counted} in {file}", counted=", ".join(parts) or tr("nothing"), file=row["file"])


_COUNT_COLUMNS = (("whole_reels", mark("whole reels")), ("on_order_reels", mark("on order")))
