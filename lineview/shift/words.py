"""The shift's words: the sentence, the soft line, notes and cautions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import timedelta

from lineview.machine.stops import STANDS
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Scope, Span
from lineview.report.figures import MUCH_OUTSIDE, outside_words
from lineview.shift.measures import ShiftMeasures

CAUTIONS = (
    "Before reaching past a guard, clearing a jam at rollers, knife or twist heads, or changing rollers: "
    "stop and lock out by your site's procedure. This page does not show a safe state.",
    "In-running rolls and rotating twist heads: guards stay on.",
    "Figures come from counters and may be late or wrong; no interlock, stop or restart may depend on them.",
)
ALLERGENS = (
    "Allergen or colour change: follow the written changeover and label check; an allergen needs a validated "
    "clean-down. The order of flavours is advice from minutes alone."
)
_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


#: Bounds within this share of a count decide it.
_DECIDED = 0.02


def in_words(count: int) -> str:
    """Write a small count as a word."""
    return _COUNT[count] if 0 <= count < len(_COUNT) else f"{count:,}"


def sentence(measured: ShiftMeasures, scope: Scope, readings: int) -> tuple[Span, ...]:
    """Say what the shift made, in one plain sentence."""
    account = measured.so_far
    several = measured.windows.height > 1
    this = "This period" if measured.cuts_shift else "This shift"
    subject = f"These {in_words(measured.windows.height)} shifts" if several else this
    if scope.now <= scope.period.start:
        return (Span(f"{subject} has not begun: the latest reading is from before it."),)
    if account.planned_min <= 1e-9:
        return (Span(_unplanned(measured)),)
    can_act = scope.now - scope.period.end < ACT_WITHIN
    return _untold(measured, readings) or _made(measured, subject, several=several, call=can_act and _calls(measured))


def _unplanned(measured: ShiftMeasures) -> str:
    """Say that a period has no planned minutes, and what was counted in it all the same."""
    tape, good = measured.tape, measured.so_far.good
    pauses = tape.height > 0 and bool((tape["state"] == "break").all())
    why = "it lies in a break" if pauses else "no shift of plant.toml lies in it"
    made = "" if good.least < 0.5 else f" {good.least:,.0f} {_good(measured)} were counted in it."
    return f"No planned minutes in this period: {why}, so there is no rate or share.{made}"


def _good(measured: ShiftMeasures) -> str:
    """Word what is counted: good pieces, or all where nothing tells rejects from them."""
    return "good pieces" if measured.good_counted else "pieces"


def _planned(minutes: float) -> str:
    """Word planned minutes so that few of them do not round to none."""
    if minutes < 1:
        return f"{60 * minutes:.0f} planned seconds" if minutes >= 1 / 60 else "less than a planned second"
    return f"{minutes:,.1f} planned minutes" if minutes < 10 else f"{minutes:,.0f} planned minutes"


def _untold(measured: ShiftMeasures, readings: int) -> tuple[Span, ...]:
    """Say why pieces cannot be told, or that most minutes were not seen; nothing where they can."""
    account = measured.so_far
    name = measured.machine.shown
    decided = bool(readings) and _counted_unseen(measured)
    if not decided and (not readings or account.unseen_min >= account.planned_min - 1e-6):
        call = Span(f"There are no readings of {name}", call=True)
        return (call, Span(f" in the {_planned(account.planned_min)}, so nothing is known of them."))
    if account.run_min > 0 and account.counted_run_min <= 1e-9:
        share = 100 * account.run_min / (account.planned_min - account.unseen_min)
        return (
            Span(f"No counter of {name} was read", call=True),
            Span(
                f", so its pieces are not known; by its own states it ran {account.run_min:,.0f} of "
                f"{account.planned_min - account.unseen_min:,.0f} planned minutes, {share:.0f} %."
            ),
        )
    made = account.pieces.made
    if not account.good_told and account.good_used < 0.5 and made is not None and made.value is not None:
        return (
            Span(f"{name} made {made.value:,.0f} pieces in the {_planned(account.planned_min)}"),
            Span("; its rejects were not read, so good pieces are not known.", call=True),
        )
    if account.pieces.good is None:
        return (Span(f"No counter of pieces is declared for {name}, so its shift is not known."),)
    if account.unseen_min > account.planned_min / 2 and not decided:
        return (
            Span(
                f"{account.unseen_min:,.0f} of {account.planned_min:,.0f} planned minutes have no readings", call=True
            ),
            Span(f"; what was seen shows at least {account.good.low:,.0f} {_good(measured)}."),
        )
    return ()


def _counted_unseen(measured: ShiftMeasures) -> bool:
    """Whether readings too far apart to see what the machine did still decide what it made."""
    account = measured.so_far
    low, high, value = account.good.low, account.good.high, account.good.value
    if value is None or low is None or high is None or account.unseen_min < account.planned_min - 1e-6:
        return False
    return high - low <= 1 + _DECIDED * value


def _made(measured: ShiftMeasures, subject: str, *, several: bool, call: bool) -> tuple[Span, ...]:
    account, (low, high) = measured.so_far, measured.machine.nominal_per_min
    going = measured.left_min > 1e-6
    verb = ("have made" if several else "has made") if going else "made"
    so_far = " so far" if going else ""
    whose = "their" if several else "its"
    minutes = f"{whose} first {_planned(account.planned_min)}" if going else f"{whose} {_planned(account.planned_min)}"
    wide = _wide(measured)
    least = "at least " if not account.good_told else "about " if wide else ""
    rate = account.good_used / account.planned_min
    return (
        Span(f"{subject} {verb} {least}{account.good_used:,.0f} {_good(measured)}{wide}{so_far}, "),
        Span(f"{least}{rate:,.0f} a minute", call=call),
        Span(f" over {minutes}; the nominal band is {low:g} to {high:g}."),
    )


def _wide(measured: ShiftMeasures) -> str:
    """The bounds of what was made, where its readings leave it open by more than is worth a digit; else nothing."""
    good = measured.so_far.good
    if good.value is None or good.low is None:
        return ""
    if good.high is None:
        return f" (at least {good.low:,.0f})"
    return f" ({good.low:,.0f} to {good.high:,.0f})" if good.high - good.low > 1 + _DECIDED * good.value else ""


#: A plan missed by less than this share is a count's tolerance, not a call for a person (common practice, no source).
NEAR_PLAN = 0.02
#: What a shift made calls nobody once so much time has passed: the next shifts are what can be acted on.
ACT_WITHIN = timedelta(hours=24)


def _calls(measured: ShiftMeasures) -> bool:
    """Whether the rate needs a person: the plan is missed, or without one few shifts of the last weeks were as slow.

    With neither a plan nor weeks before, nothing says what is unusual here, and nobody is called.
    """
    account = measured.so_far
    good = account.good_used
    if not account.good_told:
        high = account.good.high
        if high is None:
            return False
        good = high
    if measured.planned is not None and measured.planned > 0:
        at_this_rate = good / account.planned_min * (account.planned_min + measured.left_min)
        return at_this_rate < (1 - NEAR_PLAN) * measured.planned
    return measured.windows.height == 1 and measured.is_unusually_slow


def soft_line(measured: ShiftMeasures, plant: Plant) -> str:
    """The line below: rate while it ran, where it stood, what was not seen, the pace needed."""
    parts = [*_course(measured, plant), _outside(measured)]
    return " ".join(part for part in parts if part)


def _course(measured: ShiftMeasures, plant: Plant) -> list[str]:
    account = measured.so_far
    if _counted_unseen(measured):
        return ["Its readings lie too far apart to say when it ran and when it stood."]
    if account.planned_min <= 1e-9 or account.unseen_min >= account.planned_min - 1e-6:
        return []
    parts = []
    if account.counted_run_min > 1e-9:
        made = account.made["running"] + account.made["slow"]
        parts.append(f"While running it made {made / account.counted_run_min:,.0f} a minute.")
    parts.append(_stood(measured, plant))
    if account.unseen_min >= 0.5:
        low = 100 * account.run_min / account.planned_min
        high = 100 * (account.run_min + account.unseen_min) / account.planned_min
        parts.append(
            f"{account.unseen_min:,.0f} minute{' has' if round(account.unseen_min) == 1 else 's have'} "
            "no readings, "
            f"so uptime is between {low:.1f} and {high:.1f} %."
        )
    parts.append(_plan(measured))
    return parts


def _stood(measured: ShiftMeasures, plant: Plant) -> str:
    account = measured.so_far
    if account.stand_min > 0 and account.run_min + account.unseen_min <= 1e-9:
        return "It stood the whole time." if account.stand_min < 0.5 else _stood_for(measured, plant)
    if account.stand_min < 0.5:
        return "It did not stop for longer than a moment."
    return _stood_for(measured, plant)


def _stood_for(measured: ShiftMeasures, plant: Plant) -> str:
    account = measured.so_far
    unexplained = measured.unexplained_stops
    stops = account.stretches["stop"]
    without = " without a reason" if stops and unexplained == stops else ""
    if 0 < unexplained < stops:
        without = f", {in_words(unexplained)} of them without a reason"
    minutes = whole_minutes(account.minutes[state] for state in STANDS)
    kinds = []
    for state, single, many, more in (
        ("changeover", "changeover", "changeovers", ""),
        ("stop", "stop", "stops", without),
        ("short stop", "short stop", "short stops", f" under {plant.short_stop_min:g} minutes"),
    ):
        count = account.stretches[state]
        if count:
            kinds.append(
                f"{minutes[STANDS.index(state)]:,} in {in_words(count)} {single if count == 1 else many}{more}"
            )
    stood = f"{account.stand_min:,.0f} minute{'' if round(account.stand_min) == 1 else 's'}"
    return f"It stood for {stood}: {', '.join(kinds)}."


def whole_minutes(minutes: Iterable[float]) -> list[int]:
    """Minutes as whole ones that add up to their rounded sum: those with the largest fractions are rounded up.

    Parameters
    ----------
    minutes : iterable of float
        Each 0 or more [min].

    Examples
    --------
    >>> whole_minutes([15.7, 8.6, 29.5]), whole_minutes([65.45, 62.4, 38.4])
    ([16, 9, 29], [66, 62, 38])
    """
    exact = list(minutes)
    whole = [math.floor(value) for value in exact]
    fractions = sorted(range(len(exact)), key=lambda k: whole[k] - exact[k])
    for k in fractions[: round(sum(exact)) - sum(whole)]:
        whole[k] += 1
    return whole


def _outside(measured: ShiftMeasures) -> str:
    """Say what was made outside every shift; where that is much, the shift pattern may be wrong."""
    said = outside_words(measured.outside, measured.so_far.good_used)
    outside, whole = (part.least for part in measured.around)
    if said or outside <= MUCH_OUTSIDE * (whole - outside):
        return said
    return (
        f"In the weeks around it, {show.number(round(outside))} of {show.number(round(whole))} good pieces were made "
        "outside every shift: check the shifts in plant.toml."
    )


def _plan(measured: ShiftMeasures) -> str:
    if measured.plan_partly:
        return "The plan covers only part of this period, so no comparison is made."
    if measured.planned is None:
        return ""
    if measured.planned <= 0:
        return "The plan is 0 pieces, so no pace follows from it."
    if measured.pace_needed_per_min is None:
        gap = measured.so_far.good_used - measured.planned
        return f"The plan for it was {measured.planned:,.0f}: {abs(gap):,.0f} {'over' if gap >= 0 else 'short'}."
    if measured.pace_needed_per_min == 0:
        return f"The plan of {measured.planned:,.0f} is reached."
    fastest = measured.machine.nominal_per_min[1]
    beyond = ", more than the nominal band allows" if measured.pace_needed_per_min > fastest else ""
    return (
        f"To reach the plan of {measured.planned:,.0f} the rest must run at "
        f"{measured.pace_needed_per_min:,.0f}{beyond}."
    )
