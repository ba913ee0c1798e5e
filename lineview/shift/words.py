"""The shift's words: the sentence, the soft line, notes and cautions."""

from __future__ import annotations

from lineview.plant import Plant
from lineview.report.answer import Scope, Span
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
#: Pieces outside every shift, as a share of those in shifts, from which the shift pattern is in doubt.
MUCH_OUTSIDE = 0.1
_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def in_words(count: int) -> str:
    """Write a small count as a word."""
    return _COUNT[count] if 0 <= count < len(_COUNT) else f"{count:,}"


def sentence(measured: ShiftMeasures, scope: Scope, readings: int) -> tuple[Span, ...]:
    """Say what the shift made, in one plain sentence."""
    account = measured.so_far
    several = measured.windows.height > 1
    one = "This period" if measured.cuts_shift else "This shift"
    subject = f"These {in_words(measured.windows.height)} shifts" if several else one
    if scope.now <= scope.period.start:
        return (Span(f"{subject} has not begun: the latest reading is from before it."),)
    if account.planned_min <= 1e-9:
        return (Span(_unplanned(measured)),)
    return _untold(measured, readings) or _made(measured, subject, several=several)


def _unplanned(measured: ShiftMeasures) -> str:
    """Say that a period has no planned minutes, and what was counted in it all the same."""
    tape, good = measured.tape, measured.so_far.good
    pauses = tape.height > 0 and bool((tape["state"] == "break").all())
    why = "it lies in a break" if pauses else "none of it is planned or over"
    made = "" if good.n is None or good.n < 0.5 else f" {good.n:,.0f} {_good(measured)} were counted in it."
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
    if not readings or account.unseen_min >= account.planned_min - 1e-6:
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
    if account.pieces.good is None:
        return (Span(f"No counter of pieces is declared for {name}, so its shift is not known."),)
    if account.unseen_min > account.planned_min / 2:
        return (
            Span(
                f"{account.unseen_min:,.0f} of {account.planned_min:,.0f} planned minutes have no readings", call=True
            ),
            Span(f"; what was seen shows at least {account.good.low:,.0f} {_good(measured)}."),
        )
    return ()


def _made(measured: ShiftMeasures, subject: str, *, several: bool) -> tuple[Span, ...]:
    account, (low, high) = measured.so_far, measured.machine.nominal_per_min
    going = measured.left_min > 1e-6
    verb = ("have made" if several else "has made") if going else "made"
    so_far = " so far" if going else ""
    whose = "their" if several else "its"
    minutes = f"{whose} first {_planned(account.planned_min)}" if going else f"{whose} {_planned(account.planned_min)}"
    least = "" if account.good_told else "at least "
    rate = account.good_used / account.planned_min
    below = rate < low
    top = account.good.high
    if not account.good_told:
        below = top is not None and top / account.planned_min < low
    return (
        Span(f"{subject} {verb} {least}{account.good_used:,.0f} {_good(measured)}{so_far}, "),
        Span(f"{least}{rate:,.0f} a minute", call=below and not _on_plan(measured)),
        Span(f" over {minutes}; the nominal band is {low:g} to {high:g}."),
    )


def _on_plan(measured: ShiftMeasures) -> bool:
    """Whether a plan is reached, or will be at the rate so far; then nobody has to act on the rate."""
    if measured.planned is None or measured.planned <= 0:
        return False
    account = measured.so_far
    at_this_rate = account.good_used / account.planned_min * (account.planned_min + measured.left_min)
    return at_this_rate >= measured.planned


def soft_line(measured: ShiftMeasures, plant: Plant) -> str:
    """The line below: rate while it ran, where it stood, what was not seen, the pace needed."""
    account = measured.so_far
    if account.planned_min <= 1e-9 or account.unseen_min >= account.planned_min - 1e-6:
        return ""
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
    parts += [_outside(measured), _plan(measured)]
    return " ".join(part for part in parts if part)


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
    kinds = []
    for state, one, many, more in (
        ("changeover", "changeover", "changeovers", ""),
        ("stop", "stop", "stops", without),
        ("short stop", "short stop", "short stops", f" under {plant.short_stop_min:g} minutes"),
    ):
        count = account.stretches[state]
        if count:
            kinds.append(f"{account.minutes[state]:,.0f} in {in_words(count)} {one if count == 1 else many}{more}")
    stood = f"{account.stand_min:,.0f} minute{'' if round(account.stand_min) == 1 else 's'}"
    return f"It stood for {stood}: {', '.join(kinds)}."


def _outside(measured: ShiftMeasures) -> str:
    """Say what was made outside every shift; where that is much, the shift pattern may be wrong."""
    outside = measured.outside_pieces
    if outside < 0.5:
        return ""
    much = outside > MUCH_OUTSIDE * measured.so_far.good_used
    check = ": check the shifts in plant.toml" if much else ""
    return f"Outside every shift {outside:,.0f} more pieces were made{check}."


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
