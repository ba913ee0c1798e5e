"""How the rope answer writes lengths, rates and moments."""

from __future__ import annotations

from datetime import datetime

from lineview.core.language import tr
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Scope, Span
from lineview.rope.account import RopeAccount
from lineview.rope.forecast import HORIZON_H, SHARE_OUT, Ahead, Effect, Verdict


def length(mm: float, plant: Plant, *, signed: bool = False, rate: bool = False) -> str:
    """Write a small length, or a change of length an hour, in the plant's units.

    Takes `mm` [mm].
    """
    value, unit = in_units(mm, "mm", plant.units)
    decimals = (3 if rate else 2) + (2 if plant.units == "US" else 0)
    if rate and 0 < abs(value) < 10**-decimals * 10:
        decimals += 1
    word = tr("inch") if unit == "in" else unit  # "0.0002 in an hour" would be read as a preposition
    return f"{show.number(value, decimals, signed=signed)} {word}"


def about(at: datetime, plant: Plant, now: datetime) -> str:
    """Write a forecast's moment, rounded to ten minutes."""
    rounded = datetime.fromtimestamp(round(at.timestamp() / 600) * 600, tz=at.tzinfo)
    day, _, clock = show.moment_near(rounded, plant, now).rpartition(" ")
    return tr("{day} about {clock}", day=day, clock=clock)


def sentence(account: RopeAccount, judgement: Verdict | None, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    """Say how the rope stands."""
    name = account.sizer.label
    if judgement is None:
        return (Span(tr("Whether the rope of {sizer} drifts is not known: {why}.", sizer=name, why=account.problem)),)
    if judgement.state == "drifting":
        start = (Span(tr("The rope of {sizer} is ", sizer=name)), Span(_pace(judgement, plant), call=True))
        return (*start, *_leaving(account, plant, scope))
    if judgement.state == "stepped":
        return _step_sentence(account, judgement, plant, scope)
    if account.ahead is not None and may_drift(account, judgement):
        words = tr(
            "The rope of {sizer} may be {pace}, or hold steady; at that pace it leaves tolerance in {hours} "
            "of running.",
            sizer=name,
            pace=_pace(judgement, plant),
            hours=show.hours(account.ahead.mean.value_h or 0.0),
        )
        return (Span(words),)
    if judgement.state == "repaired":
        last = [e for e in judgement.effects if e.real][-1]
        start_text = tr(
            "The adjustment of {when} corrected {correction}; since then the rope of {sizer} ",
            when=show.moment_near(last.at, plant, scope.now),
            correction=took_out(last, plant),
            sizer=name,
        )
        return (Span(start_text), Span(tr("holds steady")), *_where(account, plant))
    return (Span(tr("The rope of {sizer} holds steady", sizer=name)), *_where(account, plant))


def _pace(judgement: Verdict, plant: Plant) -> str:
    size = length(abs(judgement.wear_mm_per_h), plant, rate=True)
    if judgement.wear_mm_per_h < 0:
        return tr("thinning {length} an hour", length=size)
    return tr("thickening {length} an hour", length=size)


def may_drift(account: RopeAccount, judgement: Verdict) -> bool:
    """Whether no drift is shown, and yet its likeliest pace takes the rope out of tolerance within the horizon."""
    return judgement.state != "drifting" and account.ahead is not None and bool(account.ahead.mean.value_h)


def took_out(effect: Effect, plant: Plant) -> str:
    """Say how much of what was wrong a step took out."""
    wrong = length(abs(effect.before_mm), plant)
    if effect.before_mm * effect.after_mm < 0:
        return tr("{wrong} and overshot by {beyond}", wrong=wrong, beyond=length(abs(effect.after_mm), plant))
    return tr("{part} of {wrong}", part=length(abs(effect.size_mm), plant), wrong=wrong)


def _leaving(account: RopeAccount, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    ahead = account.ahead
    if ahead is None:
        return (Span(tr("; when it leaves tolerance is not known: {why}.", why=_no_tolerance(account))),)
    hours = ahead.mean.value_h
    if hours is None:
        return (Span(tr("; at this pace it {stays}.", stays=_stays(ahead))),)
    if hours == 0:
        return (Span(tr(" and is ")), Span(tr("out of tolerance already"), call=True), Span("."))
    when = "" if ahead.moment is None else f", {about(ahead.moment, plant, scope.now)}"
    return (
        Span(tr("; at this pace it leaves tolerance in ")),
        Span(tr("{hours} of running", hours=show.hours(hours)), call=True),
        Span(f"{when}."),
    )


def _stays(ahead: Ahead) -> str:
    if ahead.mean.low_h is None:
        return tr("will not leave tolerance within {hours:.0f} hours of running", hours=HORIZON_H)
    return tr("most likely stays in tolerance for {hours:.0f} hours of running", hours=HORIZON_H)


def _no_tolerance(account: RopeAccount) -> str:
    if account.points.height:
        return tr("no batch names its product, and products differ in diameter")
    return tr("no product")


def _step_sentence(account: RopeAccount, judgement: Verdict, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    last = [e for e in judgement.effects if e.real][-1]
    size, when = length(abs(last.size_mm), plant), about(last.at, plant, scope.now)
    if last.size_mm < 0:
        text = tr("jumped down {length} {when}", length=size, when=when)
    else:
        text = tr("jumped up {length} {when}", length=size, when=when)
    since = tr("; no adjustment was recorded, and it has held steady since")
    if may_drift(account, judgement):
        since = tr("; no adjustment was recorded, and whether it holds since is not settled")
    return (
        Span(tr("The rope of {sizer} ", sizer=account.sizer.label)),
        Span(text, call=not last.helped),
        Span(since),
        *_where(account, plant),
    )


def _where(account: RopeAccount, plant: Plant) -> tuple[Span, ...]:
    model, ahead = account.model, account.ahead
    if model is None or account.target.diameter_mm is None or ahead is None:
        return (Span("."),)
    level = model.fit.mean(model.at(ahead.now_h))
    off = length(abs(level), plant)
    place = (
        tr(", {length} above its target", length=off) if level > 0 else tr(", {length} below its target", length=off)
    )
    if ahead.mean.value_h == 0:
        return (Span(place + ": "), Span(tr("out of tolerance"), call=True), Span("."))
    if ahead.mean.value_h is None:
        return (Span(tr("{place}, and {stays}.", place=place, stays=_stays(ahead))),)
    return (Span(f"{place}."),)


def _between(low_h: float | None, high_h: float | None) -> str:
    if high_h is None:
        return tr("{low:.0f} or more", low=low_h or 0.0)
    return tr("{low:.0f} to {high:.0f}", low=low_h or 0.0, high=high_h)


def _first_out(ahead: Ahead) -> list[str]:
    """Say when the first batch is likely out, where that is before the batch mean leaves."""
    first, mean_h = ahead.first, ahead.mean.value_h
    if first is None or first.value_h is None or mean_h is None or first.value_h >= mean_h:
        return []
    text = tr(
        "the first batch is likely out within {hours:.0f} hours ({between})",
        hours=first.value_h,
        between=_between(first.low_h, first.high_h),
    )
    return [text]


def _share_out(ahead: Ahead) -> list[str]:
    """Say from when a share of pieces is out, where that is before the batch mean leaves."""
    share, mean_h = ahead.share, ahead.mean.value_h
    if share is None or share.value_h is None or mean_h is None or share.value_h >= mean_h:
        return []
    percent = 100 * SHARE_OUT
    if share.value_h == 0:
        return [tr("{percent:.0f} % of pieces are out of tolerance already", percent=percent)]
    text = tr(
        "{percent:.0f} % of pieces are out from {hours:.0f} hours on ({between})",
        percent=percent,
        hours=share.value_h,
        between=_between(share.low_h, share.high_h),
    )
    return [text]


def soft_line(account: RopeAccount, judgement: Verdict | None, plant: Plant, scope: Scope) -> str:
    """The line below the sentence: intervals, period, what was taken out."""
    if judgement is None or account.model is None:
        return scope.label
    parts = [
        tr(
            "{low} to {high} an hour of running (95 %)",
            low=length(judgement.wear_low, plant, rate=True, signed=True),
            high=length(judgement.wear_high, plant, rate=True, signed=True),
        )
    ]
    ahead = account.ahead
    if ahead is not None and ahead.mean.value_h:
        parts += [_mean_out(ahead, plant, scope), *_first_out(ahead), *_share_out(ahead)]
    removed = tr("Batch taper and batch-to-batch change are taken out")
    if account.marks == "blocks":
        removed = tr("Batches are unknown; blocks of readings stand in for them")
    since = tr(
        "{batches} batches since {when}",
        batches=account.model.n,
        when=show.moment_near(account.model.points["at"][0], plant, scope.now),
    )
    return f"{'; '.join(parts)}. {removed}. {since}."


def _mean_out(ahead: Ahead, plant: Plant, scope: Scope) -> str:
    """Say between which hours, and which moments, the mean is out."""
    low, high_h = show.number(ahead.mean.low_h or 0.0, 0), ahead.mean.high_h
    high = tr("more than {hours:.0f}", hours=HORIZON_H) if high_h is None else f"{high_h:.0f}"
    if ahead.moment_low is None or ahead.moment_high is None:
        return tr("{low} to {high} hours until the mean is out (90 %)", low=low, high=high)
    first, last = (show.moment_near(at, plant, scope.now) for at in (ahead.moment_low, ahead.moment_high))
    return tr(
        "{low} to {high} hours, {first} to {last} until the mean is out (90 %)",
        low=low,
        high=high,
        first=first,
        last=last,
    )
