"""What somebody at the machine needs first: which sizer, since when, likely cause, when it is out, what to set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lineview.core.estimate import Estimate
from lineview.core.language import tr
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Scope, Table, columns_of
from lineview.rope.account import RopeAccount
from lineview.rope.forecast import HORIZON_H, Effect, Verdict, effects_of
from lineview.rope.words import about, length, may_drift
from lineview.stats.means import interval_of_mean

#: So many adjustments are needed before their usual error says anything.
LEAST_ADJUSTMENTS = 3
#: Advice is never finer than this [mm], and coarser where the readings do not bear it.
FINEST_MM, COARSE_MM = 0.01, 0.1


@dataclass(frozen=True)
class Habit:
    """By how much this plant's adjustments of a sizer went beyond the target, positive where they overshot [mm]."""

    overshoot: Estimate
    count: int


def habit_of(effects: Sequence[Effect]) -> Habit | None:
    """What the recorded adjustments have in common; None where too few had an effect that can be measured.

    Each is judged by where it left the rope: beyond the target, seen from where the rope had been, is overshot.
    The interval is of the mean of adjustments like these, which are taken as independent of each other.
    Source: gum
    """
    measured = [e for e in effects if e.recorded and e.real and e.before_mm * e.size_mm < 0]
    if len(measured) < LEAST_ADJUSTMENTS:
        return None
    beyond = [-e.after_mm if e.before_mm > 0 else e.after_mm for e in measured]
    return Habit(interval_of_mean(beyond), len(measured))


def lead_table(
    account: RopeAccount, judgement: Verdict | None, past: RopeAccount | None, plant: Plant, scope: Scope
) -> Table:
    """The lines that stand first on the rope's page."""
    rows: list[dict[str, str]] = []
    line = next((line.label for line in plant.lines if line.id == account.sizer.line), "")
    rows.append({"what": tr("sizer"), "said": ", ".join(part for part in (account.sizer.label, line) if part)})
    if judgement is not None and account.model is not None:
        rows.append({"what": tr("since"), "said": _since(account, judgement, plant, scope)})
        rows.append({"what": tr("likely cause"), "said": cause_words(account, judgement, plant)})
        rows.append({"what": tr("out of tolerance"), "said": _out(account, judgement, plant, scope)})
        rows.append({"what": tr("to set"), "said": advice_words(account, past, plant)})
    return Table("lead", tr("At the machine"), columns_of("what; said"), rows)


def _since(account: RopeAccount, judgement: Verdict, plant: Plant, scope: Scope) -> str:
    model = account.model
    if model is None:
        return show.NOTHING
    when = show.moment_near(model.since, plant, scope.now)
    steps = [e for e in judgement.effects if e.at == model.since]
    if steps and steps[-1].recorded:
        return tr("{when}, the last adjustment", when=when)
    if steps:
        return tr("{when}, the last unexplained jump", when=when)
    if model.bend_h is not None:
        return tr("{when}, where the drift changed its pace", when=when)
    return tr("{when}, the first batch shown", when=when)


def cause_words(account: RopeAccount, judgement: Verdict, plant: Plant) -> str:
    """The likeliest cause, as far as the readings bear one; what they cannot rule out is named.

    That wear and creeping settings are what moves a rope over days is common practice, no source.
    """
    if judgement.state == "stepped":
        last = [e for e in judgement.effects if e.real][-1]
        return tr(
            "something was moved, changed or knocked ({length}); nobody noted it",
            length=length(last.size_mm, plant, signed=True),
        )
    if judgement.state != "drifting":
        return tr("not settled: it may drift or hold") if may_drift(account, judgement) else tr("no measurable drift")
    if account.agreement is not None and account.agreement.wanders:
        return tr("perhaps a gauge and not the rope: the two gauges drift apart; measure the rope by hand")
    slipping = [slip for slip in account.slips if slip.low > 0 or slip.high < 0]
    if slipping:
        worst = max(slipping, key=lambda slip: abs(slip.share))
        return tr("roller pair {pair}: slip, stretch after it, or a worn diameter", pair=worst.pair)
    points = account.points
    if points.height > 0 and points["temperature_c"].null_count() == points.height:
        return tr("rollers wear or a setting creeps; rope temperature was not exported and cannot be ruled out")
    return tr("rollers wear or a setting creeps; rope temperature is taken out")


def _out(account: RopeAccount, judgement: Verdict, plant: Plant, scope: Scope) -> str:
    ahead = account.ahead
    if ahead is None:
        return tr("not known: no product with a tolerance")
    mean = ahead.mean
    if mean.value_h is None and mean.low_h is None:
        return tr("not within {hours:.0f} hours of running", hours=HORIZON_H)
    if mean.value_h is None:
        return tr("unlikely within {hours:.0f} hours of running", hours=HORIZON_H)
    if mean.value_h == 0:
        return tr("already")
    high = tr("more than {hours:.0f}", hours=HORIZON_H) if mean.high_h is None else f"{mean.high_h:.0f}"
    text = tr(
        "in {hours} of running ({low:.0f} to {high}, 90 %)",
        hours=show.hours(mean.value_h),
        low=mean.low_h or 0.0,
        high=high,
    )
    text += "" if ahead.moment is None else f", {about(ahead.moment, plant, scope.now)}"
    if judgement.state == "drifting":
        return text
    return tr("if it goes on as its middle line does, {when}; the drift may be none", when=text)


def advice_words(account: RopeAccount, past: RopeAccount | None, plant: Plant) -> str:
    """What to set, with the usual error of this sizer's adjustments taken off."""
    model, ahead = account.model, account.ahead
    if model is None or ahead is None:
        return tr("not known: no product with a target")
    now = model.at(ahead.now_h)
    off, (low, high) = model.fit.mean(now), model.fit.interval(now, 0.95)
    if low <= 0 <= high:
        return tr("nothing: how far the rope is off its target cannot be distinguished from zero")
    size, ends = _coarse(abs(off), high - low, plant), _ends((low, high), high - low, plant)
    if off > 0:
        turn = tr("{length} thinner ({ends})", length=size, ends=ends)
    else:
        turn = tr("{length} thicker ({ends})", length=size, ends=ends)
    source = past if past is not None and past.model is not None else account
    habit = habit_of(effects_of(source.model)) if source.model is not None else None
    if habit is None:
        return tr(
            "{turn}; too few adjustments were noted here to learn from (needs {needs})",
            turn=turn,
            needs=LEAST_ADJUSTMENTS,
        )
    return f"{turn}. {habit_words(habit, abs(off), high - low, plant)}"


def habit_words(habit: Habit, off_mm: float, width_mm: float, plant: Plant) -> str:
    """Say how the last adjustments erred and what to aim at instead.

    Takes `off_mm` and `width_mm`, the width of its interval [mm].
    """
    over = habit.overshoot
    if over.value is None or over.low is None or over.high is None:
        return ""
    wide = over.high - over.low
    if over.low <= 0 <= over.high:
        return tr(
            "The last {count} adjustments of this sizer neither overshot nor fell short on average ({low} to {high})",
            count=habit.count,
            low=length(over.low, plant, signed=True),
            high=length(over.high, plant, signed=True),
        )
    past = {"count": habit.count, "by": _ends((over.low, over.high), wide, plant)}
    aim = off_mm - over.value
    if over.value > 0:
        text = tr("The last {count} adjustments of this sizer overshot by {by} on average (95 %)", **past)
    else:
        text = tr("The last {count} adjustments of this sizer fell short by {by} on average (95 %)", **past)
    if aim < _step(width_mm + wide) / 2:
        return text + tr(", as much as the correction wanted now: make the smallest turn and look at the next batches")
    size = _coarse(aim, width_mm + wide, plant)
    if over.value > 0:
        return text + tr(": turn less, as if for {length}", length=size)
    return text + tr(": turn more, as if for {length}", length=size)


def _ends(ends: tuple[float, float], width_mm: float, plant: Plant) -> str:
    """Write the ends of an interval without their signs, the nearer first."""
    near, far = (_coarse(end, width_mm, plant) for end in sorted(map(abs, ends)))
    return tr("{low} to {high}", low=near, high=far)


def _step(width_mm: float) -> float:
    """What a length [mm] is rounded to where its interval is this wide [mm]."""
    return FINEST_MM if width_mm / 2 < COARSE_MM / 2 else COARSE_MM


def _coarse(mm: float, width_mm: float, plant: Plant) -> str:
    """Write a length no finer than an interval of this width [mm] bears."""
    step = _step(width_mm)
    return length(round(mm / step) * step, plant)
