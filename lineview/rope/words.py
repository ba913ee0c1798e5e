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
    word = "inch" if unit == "in" else unit  # "0.0002 in an hour" would be read as a preposition
    return f"{show.number(value, decimals, signed=signed)} {word}"


def about(at: datetime, plant: Plant, now: datetime) -> str:
    """Write a forecast's moment, rounded to ten minutes."""
    rounded = datetime.fromtimestamp(round(at.timestamp() / 600) * 600, tz=at.tzinfo)
    day, _, clock = show.moment_near(rounded, plant, now).rpartition(" ")
    return f"{day} about {clock}"


def sentence(account: RopeAccount, judgement: Verdict | None, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    """Say how the rope stands."""
    name = account.sizer.shown
    if judgement is None:
        return (
            Span(tr("Whether the rope of {name} drifts is not known: {problem}.", name=name, problem=account.problem)),
        )
    if judgement.state == "drifting":
        pace = tr(
            "{way} {length} an hour", way=_way(judgement), length=length(abs(judgement.wear_mm_per_h), plant, rate=True)
        )
        start = (Span(tr("The rope of {name} is ", name=name)), Span(pace, call=_needs(account)))
        return (*start, *_leaving(account, plant, scope))
    if judgement.state == "stepped":
        return _step_sentence(account, judgement, plant, scope)
    if account.ahead is not None and may_drift(account, judgement):
        pace = tr(
            "may be {way}, about {length} an hour",
            way=_way(judgement),
            length=length(abs(judgement.wear_mm_per_h), plant, rate=True),
        )
        out = tr("{hours} of running", hours=show.hours(account.ahead.mean.value_h or 0.0))
        return (
            Span(
                tr(
                    "The rope of {name} {pace}, or hold steady; at that pace it leaves tolerance in {out}.",
                    name=name,
                    pace=pace,
                    out=out,
                )
            ),
        )
    if judgement.state == "repaired":
        last = [e for e in judgement.effects if e.real][-1]
        when = show.moment_near(last.at, plant, scope.now)
        return (
            Span(
                tr(
                    "The adjustment of {when} corrected {took_out}; since then the rope of {name} ",
                    when=when,
                    took_out=took_out(last, plant),
                    name=name,
                )
            ),
            Span(tr("holds steady")),
            *_where(account, plant),
        )
    return (Span(tr("The rope of {name} holds steady", name=name)), *_where(account, plant))


def may_drift(account: RopeAccount, judgement: Verdict) -> bool:
    """Whether no drift is shown, and yet its likeliest pace takes the rope out of tolerance within the horizon."""
    return judgement.state != "drifting" and account.ahead is not None and bool(account.ahead.mean.value_h)


def took_out(effect: Effect, plant: Plant) -> str:
    """Say how much of what was wrong a step took out."""
    wrong = length(abs(effect.before_mm), plant)
    if effect.before_mm * effect.after_mm < 0:
        return tr("{wrong} and overshot by {length}", wrong=wrong, length=length(abs(effect.after_mm), plant))
    return f"{length(abs(effect.size_mm), plant)} of {wrong}"


def _way(judgement: Verdict) -> str:
    return "thinning" if judgement.wear_mm_per_h < 0 else "thickening"


def _needs(account: RopeAccount) -> bool:
    signal = account.watch is not None and account.watch.signal is not None
    return signal or (account.ahead is not None and account.ahead.mean.value_h is not None)


def _leaving(account: RopeAccount, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    ahead = account.ahead
    if ahead is None:
        return (
            Span(tr("; when it leaves tolerance is not known: {no_tolerance}.", no_tolerance=_no_tolerance(account))),
        )
    hours = ahead.mean.value_h
    if hours is None:
        return (
            Span(
                tr(
                    "; at this pace it {stays} {horizon_h:.0f} hours of running.",
                    stays=_stays(ahead),
                    horizon_h=HORIZON_H,
                )
            ),
        )
    if hours == 0:
        return (Span(tr(" and is ")), Span(tr("out of tolerance already"), call=True), Span("."))
    when = "" if ahead.moment is None else f", {about(ahead.moment, plant, scope.now)}"
    return (
        Span(tr("; at this pace it leaves tolerance in ")),
        Span(tr("{hours} of running", hours=show.hours(hours)), call=True),
        Span(f"{when}."),
    )


def _stays(ahead: Ahead) -> str:
    sure = ahead.mean.low_h is None
    return tr("will not leave tolerance within") if sure else tr("most likely stays in tolerance for")


def _no_tolerance(account: RopeAccount) -> str:
    return (
        tr("no batch names its product, and products differ in diameter") if account.points.height else tr("no product")
    )


def _step_sentence(account: RopeAccount, judgement: Verdict, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    last = [e for e in judgement.effects if e.real][-1]
    way = "down" if last.size_mm < 0 else "up"
    text = f"jumped {way} {length(abs(last.size_mm), plant)} {about(last.at, plant, scope.now)}"
    away = not last.helped
    since = (
        tr("whether it holds since is not settled") if may_drift(account, judgement) else tr("it has held steady since")
    )
    return (
        Span(tr("The rope of {shown} ", shown=account.sizer.shown)),
        Span(text, call=away),
        Span(tr("; no adjustment was recorded, and {since}", since=since)),
        *_where(account, plant),
    )


def _where(account: RopeAccount, plant: Plant) -> tuple[Span, ...]:
    model, ahead = account.model, account.ahead
    if model is None or account.target.diameter_mm is None or ahead is None:
        return (Span("."),)
    level = model.fit.mean(model.at(ahead.now_h))
    side = "above" if level > 0 else "below"
    level_words = tr(", {length} {side} its target", length=length(abs(level), plant), side=side)
    if ahead.mean.value_h == 0:
        return (Span(level_words + ": "), Span(tr("out of tolerance"), call=True), Span("."))
    if ahead.mean.value_h is None:
        return (
            Span(
                tr(
                    "{level_words}, and {stays} {horizon_h:.0f} hours of running.",
                    level_words=level_words,
                    stays=_stays(ahead),
                    horizon_h=HORIZON_H,
                )
            ),
        )
    return (Span(f"{level_words}."),)


def _first_out(ahead: Ahead) -> list[str]:
    """Say when the first batch is likely out, where that is before the batch mean leaves."""
    first, mean_h = ahead.first, ahead.mean.value_h
    if first is None or first.value_h is None or mean_h is None or first.value_h >= mean_h:
        return []
    high = f" to {first.high_h:.0f}" if first.high_h is not None else tr(" or more")
    return [
        tr(
            "the first batch is likely out within {value_h:.0f} hours ({part:.0f}{high})",
            value_h=first.value_h,
            part=first.low_h or 0.0,
            high=high,
        )
    ]


def _share_out(ahead: Ahead) -> list[str]:
    """Say from when a share of pieces is out, where that is before the batch mean leaves."""
    share, mean_h = ahead.share, ahead.mean.value_h
    if share is None or share.value_h is None or mean_h is None or share.value_h >= mean_h:
        return []
    pieces = tr("{share_out:.0%} of pieces", share_out=SHARE_OUT).replace("%", " %")
    if share.value_h == 0:
        return [tr("{pieces} are out of tolerance already", pieces=pieces)]
    high = f" to {share.high_h:.0f}" if share.high_h is not None else tr(" or more")
    return [
        tr(
            "{pieces} are out from {value_h:.0f} hours on ({part:.0f}{high})",
            pieces=pieces,
            value_h=share.value_h,
            part=share.low_h or 0.0,
            high=high,
        )
    ]


def soft_line(account: RopeAccount, judgement: Verdict | None, plant: Plant, scope: Scope) -> str:
    """The line below the sentence: intervals, period, what was taken out."""
    if judgement is None or account.model is None:
        return scope.label
    parts = [
        tr(
            "{length} to {length_2} an hour of running (95 %)",
            length=length(judgement.wear_low, plant, rate=True, signed=True),
            length_2=length(judgement.wear_high, plant, rate=True, signed=True),
        )
    ]
    ahead = account.ahead
    if ahead is not None and ahead.mean.value_h:
        high = (
            f"{ahead.mean.high_h:.0f}"
            if ahead.mean.high_h is not None
            else tr("more than {horizon_h:.0f}", horizon_h=HORIZON_H)
        )
        between = ""
        if ahead.moment_low is not None and ahead.moment_high is not None:
            ends = (show.moment_near(at, plant, scope.now) for at in (ahead.moment_low, ahead.moment_high))
            between = f", {' to '.join(ends)}"
        parts.append(
            tr(
                "{number} to {high} hours{between} until the mean is out (90 %)",
                number=show.number(ahead.mean.low_h or 0.0, 0),
                high=high,
                between=between,
            )
        )
        parts += _first_out(ahead) + _share_out(ahead)
    removed = tr("Batch taper and batch-to-batch change are taken out")
    if account.marks == "blocks":
        removed = tr("Batches are unknown; blocks of readings stand in for them")
    since = tr(
        "{n} batches since {at}",
        n=account.model.n,
        at=show.moment_near(account.model.points["at"][0], plant, scope.now),
    )
    return f"{'; '.join(parts)}. {removed}. {since}."
