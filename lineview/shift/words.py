"""The shift's words: the sentence, the soft line, notes and cautions."""

from __future__ import annotations

from datetime import timedelta

from lineview.core.language import mark, tr, tr_count, tr_in
from lineview.machine.stops import STANDS
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Scope, Span
from lineview.report.figures import MUCH_OUTSIDE, outside_words
from lineview.shift.account import ShiftAccount, whole_parts
from lineview.shift.measures import ShiftMeasures

CAUTIONS = (
    mark(
        "Before reaching past a guard, clearing a jam at rollers, knife or twist heads, or changing rollers: "
        "stop and lock out by your site's procedure. This page does not show a safe state."
    ),
    mark("In-running rolls and rotating twist heads: guards stay on."),
    mark("Figures come from counters and may be late or wrong; no interlock, stop or restart may depend on them."),
)
ALLERGENS = mark(
    "Allergen or colour change: follow the written changeover and label check; an allergen needs a validated "
    "clean-down. The order of flavours is advice from minutes alone."
)
#: From two on; messages say "one" themselves.
_COUNT = (
    *(mark("two"), mark("three"), mark("four"), mark("five"), mark("six"), mark("seven"), mark("eight")),
    *(mark("nine"), mark("ten"), mark("eleven"), mark("twelve")),
)


#: A count whose bounds lie within this share of it is sure.
_SURE_WITHIN = 0.02


def in_words(count: int) -> str:
    """Write a small count of several as a word."""
    return tr(_COUNT[count - 2]) if 2 <= count < len(_COUNT) + 2 else show.number(count)


def sentence(measures: ShiftMeasures, scope: Scope, readings: int) -> tuple[Span, ...]:
    """Say what the shift made, in one plain sentence."""
    account = measures.so_far
    several = measures.windows.height > 1
    name = tr("This period") if measures.cuts_shift else tr("This shift")
    subject = tr("These {number} shifts", number=in_words(measures.windows.height)) if several else name
    if scope.now <= scope.period.start and measures.left_min > 1e-9:
        words = tr_count(
            "{subject} has not begun: the latest reading is from before it.",
            "{subject} have not begun: the latest reading is from before them.",
            max(1, measures.windows.height),
            subject=subject,
        )
        return (Span(words),)
    if account.planned_min <= 1e-9:
        return (Span(_no_plan_words(measures)),)
    call = scope.now - scope.period.end < ACT_WITHIN and _calls(measures)
    return _doubt_words(measures, readings) or _pieces(measures, subject, several=several, call=call)


def _no_plan_words(measures: ShiftMeasures) -> str:
    """Say that a period has no planned minutes, and what was counted in it all the same."""
    timeline, good = measures.timeline, measures.so_far.good
    pauses = timeline.height > 0 and bool((timeline["state"] == "break").all())
    why = tr("it lies in a break") if pauses else tr("no shift of plant.toml lies in it")
    words = tr("No planned minutes in this period: {why}, so there is no rate or share.", why=why)
    if good.least < 0.5:
        return words
    return words + tr(" {made:,.0f} {pieces} were counted in it.", made=good.least, pieces=_good(measures))


def _good(measures: ShiftMeasures) -> str:
    """The name of what is counted: good pieces, or pieces where rejects are not counted."""
    return tr("good pieces") if measures.good_counted else tr("pieces")


def _minute_words(minutes: float) -> str:
    """Word planned minutes so that few of them do not round to none."""
    if minutes < 1 / 60:
        return tr("less than a planned second")
    if minutes < 1:
        return tr("{seconds:.0f} planned seconds", seconds=60 * minutes)
    return tr("{minutes} planned minutes", minutes=show.number(minutes, 1 if minutes < 10 else 0))


def _doubt_words(measures: ShiftMeasures, readings: int) -> tuple[Span, ...]:
    """Say why pieces are not known, or that most minutes were not seen; nothing where they are."""
    account = measures.so_far
    name = measures.machine.label
    is_sure = bool(readings) and _is_only_counted(measures)
    if not is_sure and (not readings or account.unseen_min >= account.planned_min - 1e-6):
        call = Span(tr("There are no readings of {machine}", machine=name), call=True)
        rest = tr(" in the {planned}, so nothing is known of them.", planned=_minute_words(account.planned_min))
        return (call, Span(rest))
    if account.run_min > 0 and account.counted_run_min <= 1e-9:
        share = 100 * account.run_min / (account.planned_min - account.unseen_min)
        return (
            Span(tr("No counter of {machine} was read", machine=name), call=True),
            Span(
                tr(
                    ", so its pieces are not known; by its own states it ran {ran:,.0f} of {planned:,.0f} planned "
                    "minutes, {share:.0f} %.",
                    ran=account.run_min,
                    planned=account.planned_min - account.unseen_min,
                    share=share,
                )
            ),
        )
    total = account.pieces.total
    if not account.is_good_known and account.good_used < 0.5 and total is not None and total.value is not None:
        return (
            Span(
                tr(
                    "{machine} made {made:,.0f} pieces in the {planned}",
                    machine=name,
                    made=total.value,
                    planned=_minute_words(account.planned_min),
                )
            ),
            Span(tr("; its rejects were not read, so good pieces are not known."), call=True),
        )
    if account.pieces.good is None:
        return (Span(tr("No counter of pieces is declared for {machine}, so its shift is not known.", machine=name)),)
    if account.unseen_min > account.planned_min / 2 and not is_sure:
        minutes = {"unseen": account.unseen_min, "planned": account.planned_min}
        unseen = tr("{unseen:,.0f} of {planned:,.0f} planned minutes have no readings", **minutes)
        pieces, least = _good(measures), account.good.low
        at_least = tr("; what was seen shows at least {least:,.0f} {pieces}.", least=least, pieces=pieces)
        return (Span(unseen, call=True), Span(at_least))
    return ()


def _is_only_counted(measures: ShiftMeasures) -> bool:
    """Whether readings too far apart to see what the machine did still decide what it made."""
    account = measures.so_far
    low, high, value = account.good.low, account.good.high, account.good.value
    if value is None or low is None or high is None or account.unseen_min < account.planned_min - 1e-6:
        return False
    return high - low <= 1 + _SURE_WITHIN * value


def _pieces(measures: ShiftMeasures, subject: str, *, several: bool, call: bool) -> tuple[Span, ...]:
    account, (low, high) = measures.so_far, measures.machine.nominal_per_min
    wide = _wide(measures)
    least = tr("at least ") if not account.is_good_known else tr("about ") if wide else ""
    pieces = f"{least}{show.number(account.good_used, 0)} {_good(measures)}{wide}"
    rate = account.good_used / account.planned_min
    return (
        Span(_that_made(subject, pieces, several=several, going=measures.left_min > 1e-6)),
        Span(tr("{at_least}{rate:,.0f} a minute", at_least=least, rate=rate), call=call),
        Span(
            _over(_minute_words(account.planned_min), several=several, going=measures.left_min > 1e-6)
            + tr("; the nominal band is {low:g} to {high:g}.", low=low, high=high)
        ),
    )


def _that_made(subject: str, pieces: str, *, several: bool, going: bool) -> str:
    words = {"subject": subject, "pieces": pieces}
    if several:
        whole = tr_in("of several shifts", "{subject} made {pieces}, ", **words)
        return tr("{subject} have made {pieces} so far, ", **words) if going else whole
    whole = tr("{subject} made {pieces}, ", **words)
    return tr("{subject} has made {pieces} so far, ", **words) if going else whole


def _over(planned: str, *, several: bool, going: bool) -> str:
    if several:
        return (
            tr(" over their first {planned}", planned=planned)
            if going
            else tr(" over their {planned}", planned=planned)
        )
    return tr(" over its first {planned}", planned=planned) if going else tr(" over its {planned}", planned=planned)


def _wide(measures: ShiftMeasures) -> str:
    """The bounds of what was made, where its readings leave it open by more than is worth a digit; else nothing."""
    good = measures.so_far.good
    if good.value is None or good.low is None:
        return ""
    if good.high is None:
        return tr(" (at least {low:,.0f})", low=good.low)
    if good.high - good.low <= 1 + _SURE_WITHIN * good.value:
        return ""
    return tr(" ({low} to {high})", low=show.number(good.low, 0), high=show.number(good.high, 0))


#: A plan missed by less than this share is a count's tolerance, not a call for a person (common practice, no source).
NEAR_PLAN = 0.02
#: What a shift made calls nobody once so much time has passed: the next shifts are what can be acted on.
ACT_WITHIN = timedelta(hours=24)


def _calls(measures: ShiftMeasures) -> bool:
    """Whether the rate needs a person: the plan is missed, or without one few shifts of the last weeks were as slow.

    With neither a plan nor weeks before, nothing says what is unusual here, and nobody is called.
    """
    account = measures.so_far
    good = account.good_used
    if not account.is_good_known:
        high = account.good.high
        if high is None:
            return False
        good = high
    if measures.planned is not None and measures.planned > 0:
        at_this_rate = good / account.planned_min * (account.planned_min + measures.left_min)
        return at_this_rate < (1 - NEAR_PLAN) * measures.planned
    return measures.windows.height == 1 and measures.is_unusually_slow


def soft_line(measures: ShiftMeasures, plant: Plant) -> str:
    """The line below: rate while it ran, where it stood, what was not seen, the pace needed."""
    parts = [*_course(measures, plant), _outside(measures)]
    return " ".join(part for part in parts if part)


def _course(measures: ShiftMeasures, plant: Plant) -> list[str]:
    account = measures.so_far
    if _is_only_counted(measures):
        return [tr("Its readings lie too far apart to say when it ran and when it stood.")]
    if account.planned_min <= 1e-9 or account.unseen_min >= account.planned_min - 1e-6:
        return []
    parts = []
    if account.counted_run_min > 1e-9:
        pieces = account.state_pieces["running"] + account.state_pieces["slow"]
        parts.append(tr("While running it made {rate:,.0f} a minute.", rate=pieces / account.counted_run_min))
    parts.append(_stand_sentence(measures, plant))
    if account.unseen_min >= 0.5:
        low = 100 * account.run_min / account.planned_min
        high = 100 * (account.run_min + account.unseen_min) / account.planned_min
        parts.append(
            tr_count(
                "{count:,} minute has no readings, so uptime is between {low:.1f} and {high:.1f} %.",
                "{count:,} minutes have no readings, so uptime is between {low:.1f} and {high:.1f} %.",
                round(account.unseen_min),
                low=low,
                high=high,
            )
        )
    parts.append(_plan(measures))
    return parts


def _stand_sentence(measures: ShiftMeasures, plant: Plant) -> str:
    account = measures.so_far
    if account.stand_min > 0 and account.run_min + account.unseen_min <= 1e-9:
        return tr("It stood the whole time.") if account.stand_min < 0.5 else _stand_words(measures, plant)
    if account.stand_min < 0.5:
        return tr("It did not stop for longer than a moment.")
    return _stand_words(measures, plant)


def _stand_words(measures: ShiftMeasures, plant: Plant) -> str:
    account = measures.so_far
    minutes = dict(zip(STANDS, whole_parts(account.minutes[state] for state in STANDS), strict=True))
    kinds = []
    for state, (single, several) in _IN_STANDS.items():
        count = account.stretches[state]
        if count:
            words = {"number": in_words(count), "limit": plant.short_stop_min}
            kinds.append(tr(single if count == 1 else several, minutes=minutes[state], **words))
            kinds[-1] += _without_reason(measures.unexplained_stops, count) if state == "stop" else ""
    return tr_count(
        "It stood for {count:,} minute: {kinds}.",
        "It stood for {count:,} minutes: {kinds}.",
        round(account.stand_min),
        kinds=", ".join(kinds),
    )


#: Of one stand and of several.
_IN_STANDS = {
    "changeover": (mark("{minutes:,} in one changeover"), mark("{minutes:,} in {number} changeovers")),
    "stop": (mark("{minutes:,} in one stop"), mark("{minutes:,} in {number} stops")),
    "short stop": (
        mark("{minutes:,} in one short stop under {limit:g} minutes"),
        mark("{minutes:,} in {number} short stops under {limit:g} minutes"),
    ),
}


def _without_reason(without_reason: int, stops: int) -> str:
    if without_reason == stops:
        return tr(" without a reason")
    if without_reason == 1:
        return tr(", one of them without a reason")
    return tr(", {number} of them without a reason", number=in_words(without_reason)) if without_reason else ""


def _outside(measures: ShiftMeasures) -> str:
    """Say what was made outside every shift; where that is much, the shift pattern may be wrong."""
    words = outside_words(measures.outside, measures.so_far.good_used)
    outside, whole = (part.least for part in measures.around)
    if words or outside <= MUCH_OUTSIDE * (whole - outside):
        return words
    return tr(
        "In the weeks around it, {outside} of {all} good pieces were made outside every shift: "
        "check the shifts in plant.toml.",
        outside=show.number(round(outside)),
        all=show.number(round(whole)),
    )


def _plan(measures: ShiftMeasures) -> str:
    if measures.plan_partly:
        return tr("The plan covers only part of this period, so no comparison is made.")
    if measures.planned is None:
        return ""
    if measures.planned <= 0:
        return tr("The plan is 0 pieces, so no pace follows from it.")
    if measures.pace_needed_per_min is None:
        return _compared(measures.so_far, measures.planned)
    return _pace(measures, measures.planned, measures.pace_needed_per_min)


def _compared(account: ShiftAccount, planned: float) -> str:
    gap = account.good_used - planned
    words = {"planned": planned, "pieces": abs(gap)}
    if gap >= 0:
        return tr("The plan for it was {planned:,.0f}: {pieces:,.0f} over.", **words)
    if not account.is_good_known:  # what was not read may have made up for it
        return tr("The plan for it was {planned:,.0f}.", planned=planned)
    return tr("The plan for it was {planned:,.0f}: {pieces:,.0f} short.", **words)


def _pace(measures: ShiftMeasures, planned: float, pace_per_min: float) -> str:
    if pace_per_min == 0:
        return tr("The plan of {planned:,.0f} is reached.", planned=planned)
    fastest = measures.machine.nominal_per_min[1]
    beyond = tr(", more than the nominal band allows") if pace_per_min > fastest else ""
    return tr(
        "To reach the plan of {planned:,.0f} the rest must run at {pace:,.0f}{beyond}.",
        planned=planned,
        pace=pace_per_min,
        beyond=beyond,
    )
