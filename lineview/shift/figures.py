"""The shift's figures: each number with its interval and working."""

from __future__ import annotations

from dataclasses import replace

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period
from lineview.core.language import in_digits, mark, tr
from lineview.plant import Machine
from lineview.report.figures import COUNT_BOUNDS, MISSING_BOUNDS, NO_DOUBT, FigureList
from lineview.shift.account import CAUSES, ShiftAccount, cause_sums
from lineview.shift.measures import ShiftMeasures
from lineview.shift.past import LEAST_SHIFTS, PastShifts, mean_between, mean_restore


def shift_figures(measures: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """The figures of a shift, or of several summed, from `n` readings."""
    account, figures = measures.so_far, FigureList(period)
    _pieces(figures, account, measures.machine, n)
    _effective_rate(figures, account, n)
    _running_rate(figures, account, n)
    _declared_rates(figures, measures.machine)
    _minutes(figures, account, n, measures.slow_bounds_min)
    _kinds_of_stop(figures, measures, n)
    _uptime(figures, account, n)
    _losses(figures, account, n)
    _stops(figures, measures)
    _pace(figures, measures, n)
    _projection(figures, measures, n)
    if not account.is_all_unseen:
        return figures.all
    why = tr("not known: {why}", why=tr("no planned minute was seen"))
    return tuple(_unseen(figure, why) if figure.name in _OF_SEEN else figure for figure in figures.all)


def _unseen(figure: Figure, why: str) -> Figure:
    kind = why if figure.high is None else figure.interval_kind
    return replace(figure, value=None, interval_kind=kind, working="", why_none=why)


def _pieces(figures: FigureList, account: ShiftAccount, machine: Machine, n: int) -> None:
    pieces, kinds = account.pieces, {counter.counts for counter in machine.counters}
    unread, none = tr("its counters were not read in this period"), tr("no counter in plant.toml counts them")
    why = unread if kinds & {"pieces", "good pieces"} else none
    why_rejects = unread if "rejects" in kinds or {"pieces", "good pieces"} <= kinds else none
    at_most, working = "", tr("pieces less rejects") if pieces.rejects is not None else tr("good pieces counted")
    if not kinds & {"rejects", "good pieces"}:
        at_most, working = mark(", at most"), tr("pieces counted; nothing counts the rejects among them")
    at_least, working_made = "", tr("increments of the piece counter")
    if not kinds & {"rejects", "pieces"}:
        at_least, working_made = mark(", at least"), tr("good pieces counted; nothing counts the rejects beside them")
    for name, total, how, why_none, of in (
        ("good_pieces", pieces.good, working, why, at_most),
        ("pieces_made", pieces.total, working_made, why, at_least),
        ("rejects", pieces.rejects, tr("increments of the reject counter"), why_rejects, at_most),
    ):
        if total is None:
            figures.unknown(name, why_none, of=of)
        else:
            figures.count(name, total, how, n=n, of=of)


def _effective_rate(figures: FigureList, account: ShiftAccount, n: int) -> None:
    """Add good pieces over planned minutes."""
    minutes, good = account.planned_min, account.good
    if minutes <= 0:
        return figures.unknown("effective_rate_per_min", tr("no planned minute is over"))
    low, high = (good.low or 0.0) / minutes, None if good.high is None else good.high / minutes
    if good.value is None:
        why = tr("not known: good pieces are not known; at least {rate:.1f} a minute", rate=low)
        rate = Estimate(None, low, high, n, interval=MISSING_BOUNDS, why_none=why)
        return figures.add("effective_rate_per_min", rate, sources=("derived-counters",))
    rate = Estimate(good.value / minutes, low, high, n, interval=COUNT_BOUNDS)
    if low == high:
        rate = Estimate(good.value / minutes, n=n)
    working = tr("{pieces:,.0f} good pieces ÷ {minutes:,.1f} planned minutes", pieces=good.value, minutes=minutes)
    return figures.add("effective_rate_per_min", rate, working)


def _running_rate(figures: FigureList, account: ShiftAccount, n: int) -> None:
    """Add pieces over running and slow minutes."""
    if account.run_min <= 0:
        return figures.unknown("running_rate_per_min", tr("it did not run while there were readings"))
    if account.counted_run_min <= 1e-9:
        return figures.unknown("running_rate_per_min", tr("no counter was read while it ran"))
    pieces, minutes = account.state_pieces["running"] + account.state_pieces["slow"], account.counted_run_min
    working = tr("{pieces:,.0f} pieces ÷ {minutes:,.1f} running and slow minutes", pieces=pieces, minutes=minutes)
    return figures.add("running_rate_per_min", pieces / minutes, working, n=n)


def _declared_rates(figures: FigureList, machine: Machine) -> None:
    """Add design, set and nominal rates as plant.toml declares them, apart from the actual ones."""
    low, high = machine.nominal_per_min
    for name, rate in (
        ("nominal_low_per_min", low),
        ("nominal_high_per_min", high),
        ("set_per_min", machine.set_per_min),
        ("design_per_min", machine.design_per_min),
    ):
        if rate is None:
            figures.unknown(name, tr("not declared in plant.toml"))
        else:
            figures.add(name, rate, tr("declared in plant.toml"))


#: Figure, state of the timeline, and how its minutes are counted.
_MINUTES = (
    ("running_min", "running", mark("running")),
    ("slow_min", "slow", mark("below the nominal band's low end for a minute or longer")),
    ("short_stop_min", "short stop", mark("shorter than the limit in plant.toml")),
    ("stop_min", "stop", mark("from the limit in plant.toml on")),
    ("changeover_min", "changeover", mark("standing between two products")),
    ("break_min", "break", mark("of the shift's calendar")),
    ("unseen_min", "unseen", mark("no reading for longer than the gap in plant.toml")),
)


def _minutes(figures: FigureList, account: ShiftAccount, n: int, slow: tuple[float, float]) -> None:
    parts = " + ".join(f"{in_digits(f'{account.minutes[s]:.1f}')} {tr(s)}" for s in account.minutes if s != "break")
    figures.add("planned_min", account.planned_min, f"{parts} min", n=n)
    for name, state, working in _MINUTES:
        minutes = Estimate(account.minutes[state], n=n)
        # What was not seen may have been anything, so each state may hold all of it.
        open_min = account.unseen_min if state not in ("unseen", "break") else 0.0
        if open_min > 0:
            most = account.minutes[state] + open_min
            minutes = Estimate(minutes.value, minutes.value, most, n, interval=mark("bounds: unseen minutes"))
        if state == "slow" and slow[1] > slow[0]:
            kind = mark("bounds: a slow stretch's ends lie within a reading interval")
            minutes = Estimate(minutes.value, slow[0], slow[1] + open_min, n, interval=kind)
        figures.add(name, minutes, tr(working))


#: Figures of the planned minutes that were seen: of none there is no 0.
_OF_SEEN = {
    *("running_min", "slow_min", "short_stop_min", "stop_min", "changeover_min", "stops", "short_stops", "changeovers"),
    *("own_stop_min", "blocked_min", "starved_min", "outside_min", "pieces_lost_changeover", "pieces_lost_stop"),
    *("pieces_lost_short_stop", "pieces_lost_slow", "pieces_lost_running"),
}
#: Figure, kind of stop, and which stops those are.
_KINDS = (
    ("own_stop_min", "own", mark("stops without another known cause")),
    ("blocked_min", "blocked", mark("stops in which the next machine could not take product")),
    ("starved_min", "starved", mark("stops in which the one before could not send product")),
    ("outside_min", "outside", mark("stops by a cause outside the machine")),
    ("cleaning_min", "cleaning", mark("stops in which its state or a reason says cleaning")),
    ("maintenance_min", "maintenance", mark("stops in which its state or a reason says maintenance")),
)


def _kinds_of_stop(figures: FigureList, measures: ShiftMeasures, n: int) -> None:
    """Add the minutes of stops and short stops by whose they were."""
    account, has_states = measures.so_far, measures.counts.spells.has_rows
    stop_min = account.minutes["stop"] + account.minutes["short stop"]
    stops = measures.timeline.filter(measures.timeline["state"].is_in(["stop", "short stop"]))
    no_cause = stop_min > 0 and not has_states and stops["reason"].null_count() == stops.height
    for name, kind, description in _KINDS:
        minutes = account.stop_minutes(kind)
        if no_cause:
            figures.unknown(name, tr("neither a state channel nor a reason says what caused the stops"))
        elif minutes > 0 or kind not in ("cleaning", "maintenance"):
            working = tr("{which_stops}, of {minutes:,.1f} min of stops", which_stops=tr(description), minutes=stop_min)
            figures.add(name, minutes, working, n=n)
    if has_states:
        ran, standing = account.coded_run_min, account.coded_stand_min
        working = tr("{ran:,.1f} running + {stood:,.1f} standing", ran=ran, stood=standing)
        figures.add("coded_min", ran + standing, working, n=n)


def _uptime(figures: FigureList, account: ShiftAccount, n: int) -> None:
    """Add running and slow minutes over planned minutes, with the bounds that unseen minutes leave."""
    planned, unseen, run = account.planned_min, account.unseen_min, account.run_min
    if planned <= 0:
        return figures.unknown("uptime_percent", tr("no planned minute is over"))
    if account.is_all_unseen:
        return figures.unknown("uptime_percent", tr("no planned minute was seen"))
    coded = account.coded_run_min + account.coded_stand_min
    uptime = Estimate(100 * run / (planned - unseen), n=n)
    working = tr(
        "{run:.1f} running and slow minutes ÷ {planned:.1f} planned minutes", run=run, planned=planned - unseen
    )
    if unseen > 0:
        working += tr(
            " seen; {unseen:.1f} of {planned:.1f} planned minutes were not seen", unseen=unseen, planned=planned
        )
    if coded > 0:
        working += tr(
            "; {minutes:.1f} min have no counter readings and are known from the machine's own states", minutes=coded
        )
    if unseen + coded > 0:
        low = 100 * (run - account.coded_run_min) / planned
        high = 100 * (run + unseen + account.coded_stand_min) / planned
        kind = mark("bounds: minutes without counter readings") if coded > 0 else mark("bounds: unseen minutes")
        uptime = Estimate(uptime.value, low, high, n, interval=kind)
    return figures.add("uptime_percent", uptime, working)


def _losses(figures: FigureList, account: ShiftAccount, n: int) -> None:
    rate = account.nominal_per_min
    for cause, key, state in CAUSES:
        minutes, pieces = cause_sums(account, state)
        words = {"minutes": minutes, "rate": rate, "made": pieces}
        working = tr("{minutes:,.1f} min × {rate:g} a minute − {made:,.0f} pieces made in them", **words)
        figures.add("pieces_lost_{key}", minutes * rate - pieces, working, n=n, key=key, cause=cause)
    if not account.counts_rejects:
        return figures.unknown("pieces_lost_{key}", tr("nothing counts rejects"), key="rejects", cause="rejects")
    working, used = tr("pieces that the reject counter counted"), account.rejects_used
    lost: float | Estimate = used
    if (counted := account.pieces.rejects) and counted.value is None:
        least = min(counted.low or 0.0, used)
        lost = Estimate(used, least, used, interval=mark("bounds: rejects without readings"))
    return figures.add("pieces_lost_{key}", lost, working, n=n, key="rejects", cause="rejects")


def _stops(figures: FigureList, measures: ShiftMeasures) -> None:
    """Add the numbers of stops and the mean times between and to restore."""
    for name, state in (("stops", "stop"), ("short_stops", "short stop"), ("changeovers", "changeover")):
        figures.add(name, measures.so_far.stretches[state], tr("stretches of the timeline"))
    stops = measures.stops
    if stops.run_min <= 0:
        figures.unknown("mtbf_min", tr("it did not run while there were readings"))
    else:
        past = measures.past.shifts
        # An odd shift would seem to be of an uneven machine: its own number counts only where few came before.
        between = mean_between(stops, past if len(past) >= LEAST_SHIFTS else [*past, *measures.own_shifts])
        words = {"minutes": stops.run_min, "stops": stops.events}
        working = tr("{minutes:.1f} running minutes ÷ {stops:,} stops that began while it ran", **words)
        figures.add("mtbf_min", between, working)
    if stops.mean_to_restore_min is None:
        return figures.too_few("mttr_min", needs=1, has=0)
    restore = mean_restore(stops, PastShifts(measures.own_shifts).stop_lengths_min, measures.past)
    words = {"minutes": stops.stopped_min, "stops": stops.restored}
    return figures.add("mttr_min", restore, tr("{minutes:.1f} minutes ÷ {stops:,} stops that ended", **words))


def _pace(figures: FigureList, measures: ShiftMeasures, n: int) -> None:
    """Add the pace needed for the plan."""
    good, left_min, planned = measures.so_far.good, measures.left_min, measures.planned
    if planned is None:
        part = measures.plan_partly
        why = tr("the plan covers only part of this period") if part else tr("no plan was given for this period")
        return figures.unknown("pace_needed_per_min", why)
    if planned <= 0:
        return figures.unknown("pace_needed_per_min", tr("the plan is 0 pieces"))
    if measures.pace_needed_per_min is None:
        return figures.unknown("pace_needed_per_min", tr("no planned minute is left"))
    pace = Estimate(measures.pace_needed_per_min, n=n)
    if good.low is not None and good.high is not None and good.high - good.low >= NO_DOUBT:
        low, high = (max(0.0, planned - end) / left_min for end in (good.high, good.low))
        pace = Estimate(pace.value, low, high, n, interval=COUNT_BOUNDS)
    words = {"planned": planned, "good": measures.so_far.good_used, "minutes": left_min}
    working = tr("({planned:,.0f} planned − {good:,.0f} good) ÷ {minutes:,.1f} planned minutes left", **words)
    return figures.add("pace_needed_per_min", pace, working)


def _projection(figures: FigureList, measures: ShiftMeasures, n: int) -> None:
    """Add the good pieces projected for the end of the period."""
    account, rest, left_min = measures.so_far, measures.rest, measures.left_min
    if left_min <= 1e-6:
        return figures.unknown("projected_pieces", tr("the period is over"))
    if rest is None:
        return figures.unknown("projected_pieces", tr("too few minutes were seen so far"))
    good = account.good_used
    share = good / account.pieces_used if account.pieces_used else 1.0
    value = good + rest.pieces * share
    low, high = (None if end is None else good + end * share for end in (rest.low, rest.high))
    words = {"good": good, "more": rest.pieces * share, "minutes": left_min}
    working = tr("{good:,.0f} good so far + {more:,.0f} in {minutes:,.1f} min left", **words)
    return figures.add("projected_pieces", Estimate(value, low, high, n, interval=rest.from_what), working)
