"""The shift's figures: each number with its interval and working."""

from __future__ import annotations

import math

from lineview.core.estimate import Estimate
from lineview.core.figure import Figure, Period, cannot_tell, too_few
from lineview.machine.stops import StopCount
from lineview.plant import Machine
from lineview.report.counts import COUNT_BOUNDS, count_figure
from lineview.shift.account import CAUSES, ShiftAccount, cause_sums
from lineview.shift.measures import ShiftMeasures
from lineview.shift.past import PastShifts, mean_between, mean_restore

_KINDS = (
    ("own_stop_min", "the machine's own stops", "own", "stops without another known cause"),
    ("blocked_min", "blocked", "blocked", "stops in which the next machine could not take product"),
    ("starved_min", "starved", "starved", "stops in which the one before could not send product"),
    ("outside_min", "other outside causes", "outside", "stops by a cause outside the machine"),
    ("cleaning_min", "cleaning", "cleaning", "stops in which its state or a reason says cleaning"),
    (
        "maintenance_min",
        "maintenance",
        "maintenance",
        "stops in which its state or a reason says maintenance",
    ),
)
_UNTOLD = "neither a state channel nor a reason says what caused the stops"


def kind_figures(measured: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """The minutes of stops and short stops by whose they were."""
    account = measured.so_far
    stood = account.minutes["stop"] + account.minutes["short stop"]
    stops = measured.tape.filter(measured.tape["state"].is_in(["stop", "short stop"]))
    untold = stood > 0 and not measured.counts.spells.any and stops["reason"].null_count() == stops.height
    figures = []
    for name, label, kind, said in _KINDS:
        if untold:
            figures.append(cannot_tell(name, label, "min", _UNTOLD, period))
            continue
        minutes = account.stop_minutes(kind)
        if kind in ("cleaning", "maintenance") and minutes <= 0:
            continue
        working = f"{said}, of {stood:,.1f} min of stops"
        sources = ("isa-tr88", "derived-tape")
        figures.append(
            Figure(name, label, minutes, "min", n=n, period=period, sources=sources, working=working)
        )
    if not measured.counts.spells.any:
        return tuple(figures)
    told = account.coded_run_min + account.coded_stand_min
    working = f"{account.coded_run_min:,.1f} running + {account.coded_stand_min:,.1f} standing"
    label = "known from the machine's states alone"
    coded = Figure(
        "coded_min", label, told, "min", n=n, period=period, sources=("derived-tape",), working=working
    )
    return (*figures, coded)


COUNTED = "from exact counts"
UNSEEN_BOUNDS = "bounds: readings missing"


def stop_figures(measured: ShiftMeasures, period: Period) -> list[Figure]:
    """The numbers of stops and the mean times between and to restore."""
    account = measured.so_far
    counts = [
        Figure(
            f"{key}s", label, account.stretches[state], "", period=period, working="stretches of the timeline"
        )
        for key, label, state in (
            ("stop", "stops", "stop"),
            ("short_stop", "short stops", "short stop"),
            ("changeover", "changeovers", "changeover"),
        )
    ]
    return [*counts, _mean_between(measured, period), _mean_to_restore(measured, period)]


def _mean_between(measured: ShiftMeasures, period: Period) -> Figure:
    name, label = "mtbf_min", "mean running time between stops"
    stops = measured.stops
    if stops.run_min <= 0:
        return cannot_tell(name, label, "min", "it did not run while there were readings", period)
    told = mean_between(stops, [*measured.past.shifts, *measured.own_shifts])
    working = f"{stops.run_min:.1f} running minutes ÷ {stops.events} stops that began while it ran"
    why = "" if told.value is not None else "no stop began"
    return Figure(
        name, label, told.value, "min", told.low, told.high, told.interval, stops.events, period,
        ("nist-handbook", "mccullagh-nelder"), working, why,
    )  # fmt: skip


def _mean_to_restore(measured: ShiftMeasures, period: Period) -> Figure:
    name, label, stops = "mttr_min", "mean time to restore", measured.stops
    if stops.mean_to_restore_min is None:
        return too_few(name, label, "min", needs=1, has=0, period=period)
    own_min = PastShifts(measured.own_shifts).lasted_min
    told = mean_restore(stops, own_min, measured.past)
    working = f"{stops.stopped_min:.1f} minutes ÷ {stops.restored} stops that ended"
    return Figure(
        name, label, told.value, "min", told.low, told.high, told.interval, stops.restored, period,
        ("efron-tibshirani",), working,
    )  # fmt: skip


def rest_figures(measured: ShiftMeasures, period: Period, n: int) -> list[Figure]:
    """The pace needed for the plan and the pieces projected."""
    return [_pace(measured, period, n), _projected(measured, period, n)]


def _pace(measured: ShiftMeasures, period: Period, n: int) -> Figure:
    name, label, unit = "pace_needed_per_min", "pace needed for the plan", "pieces/min"
    if measured.planned is None:
        part = measured.plan_partly
        why = "the plan covers only part of this period" if part else "no plan was given for this period"
        return cannot_tell(name, label, unit, why, period)
    if measured.planned <= 0:
        return cannot_tell(name, label, unit, "the plan is 0 pieces", period)
    if measured.pace_needed_per_min is None:
        return cannot_tell(name, label, unit, "no planned minute is left", period)
    good = measured.so_far.good
    working = (
        f"({measured.planned:,.0f} planned − {measured.so_far.good_used:,.0f} good) ÷ "
        f"{measured.left_min:,.1f} planned minutes left"
    )
    low = high = None
    if good.n is None and good.high is not None:
        low = max(0.0, measured.planned - good.high) / measured.left_min
        high = max(0.0, measured.planned - good.low) / measured.left_min
    kind = UNSEEN_BOUNDS if high is not None else COUNTED
    return Figure(name, label, measured.pace_needed_per_min, unit, low, high, kind, n, period, (), working)


def _projected(measured: ShiftMeasures, period: Period, n: int) -> Figure:
    name, label, unit = "projected_pieces", "good pieces at the end if it goes on like this", "pieces"
    account = measured.so_far
    if measured.left_min <= 1e-6:
        return cannot_tell(name, label, unit, "the period is over", period)
    good, rest = account.good_used, measured.rest
    if rest is None:
        return cannot_tell(name, label, unit, "too few minutes were seen so far", period)
    share = good / account.made_used if account.made_used else 1.0
    working = f"{good:,.0f} good so far + {rest.pieces * share:,.0f} in {measured.left_min:,.1f} min left"
    low, high = (None if end is None else good + end * share for end in (rest.low, rest.high))
    value = good + rest.pieces * share
    return Figure(name, label, value, unit, low, high, rest.from_what, n, period, ("derived-projection",), working)


def shift_figures(measured: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """The figures of a shift, or of several summed."""
    account = measured.so_far
    return (
        *_piece_figures(account, measured.machine, period, n),
        *_rate_figures(account, period, n),
        *_declared_rates(measured.machine, period),
        *_minute_figures(account, period, n, measured.slow_bounds_min),
        *kind_figures(measured, period, n),
        _uptime(account, period, n),
        *_loss_figures(account, period, n),
        *stop_figures(measured, period),
        *rest_figures(measured, period, n),
    )


def _piece_figures(account: ShiftAccount, machine: Machine, period: Period, n: int) -> list[Figure]:
    pieces, counted = account.pieces, {counter.counts for counter in machine.counters}
    unread, none = "its counters were not read in this period", "no counter in plant.toml counts them"
    why = unread if counted & {"pieces", "good pieces"} else none
    why_rejects = unread if "rejects" in counted or {"pieces", "good pieces"} <= counted else none
    what = "pieces less rejects" if pieces.rejects is not None else "good pieces counted"
    label = "good pieces"
    if not counted & {"rejects", "good pieces"}:
        label, what = "good pieces, at most", "pieces counted; nothing counts the rejects among them"
    return [
        _counted("good_pieces", label, pieces.good, period, n, (what, why)),
        _counted(
            "pieces_made", "pieces made", pieces.made, period, n, ("increments of the piece counter", why)
        ),
        _counted(
            "rejects", "rejects", pieces.rejects, period, n, ("increments of the reject counter", why_rejects)
        ),
    ]


def _counted(
    name: str, label: str, total: Estimate | None, period: Period, n: int, said: tuple[str, str]
) -> Figure:
    """A count; `said` is its working and why there would be none."""
    working, why_none = said
    if total is None:
        return cannot_tell(name, label, "pieces", why_none, period)
    return count_figure(name, label, total, period, n, working)


def _bounded(told: Figure, low: float, high: float | None, n: int) -> Figure:
    return Figure(
        told.name,
        told.label,
        None,
        told.unit,
        low,
        high,
        UNSEEN_BOUNDS,
        n,
        told.period,
        ("derived-counters",),
        "",
        told.why_none,
    )


def _rate_figures(account: ShiftAccount, period: Period, n: int) -> list[Figure]:
    return [_effective_rate(account, period, n), _running_rate(account, period, n)]


def _effective_rate(account: ShiftAccount, period: Period, n: int) -> Figure:
    """Give good pieces over planned minutes."""
    name, label, unit = "effective_rate_per_min", "effective rate", "pieces/min"
    minutes, good = account.planned_min, account.good
    if minutes <= 0:
        return cannot_tell(name, label, unit, "no planned minute is over", period)
    low, high = (good.low or 0.0) / minutes, None if good.high is None else good.high / minutes
    if good.value is None:
        why = f"good pieces are not known; at least {low:.1f} a minute"
        return _bounded(cannot_tell(name, label, unit, why, period), low, high, n)
    working = f"{good.value:,.0f} good pieces ÷ {minutes:,.1f} planned minutes"
    ends = (None, None) if low == high else (low, high)
    kind = COUNTED if low == high else COUNT_BOUNDS
    return Figure(
        name,
        label,
        good.value / minutes,
        unit,
        ends[0],
        ends[1],
        kind,
        n,
        period,
        ("trade-practice",),
        working,
    )


def _running_rate(account: ShiftAccount, period: Period, n: int) -> Figure:
    """Give pieces over running and slow minutes."""
    name, label, unit = "running_rate_per_min", "rate while it ran", "pieces/min"
    if account.run_min <= 0:
        return cannot_tell(name, label, unit, "it did not run while there were readings", period)
    if account.counted_run_min <= 1e-9:
        return cannot_tell(name, label, unit, "no counter was read while it ran", period)
    made = account.made["running"] + account.made["slow"]
    working = f"{made:,.0f} pieces ÷ {account.counted_run_min:,.1f} running and slow minutes"
    return Figure(
        name,
        label,
        made / account.counted_run_min,
        unit,
        n=n,
        period=period,
        sources=("derived-tape",),
        working=working,
    )


def _declared_rates(machine: Machine, period: Period) -> list[Figure]:
    """Give design, set and nominal rates as plant.toml declares them, apart from the actual ones."""
    low, high = machine.nominal_per_min
    unit, said = "pieces/min", "declared in plant.toml"
    figures = [
        Figure(
            "nominal_low_per_min",
            "nominal band, low end",
            low,
            unit,
            period=period,
            interval_kind=said,
            working=said,
        ),
        Figure(
            "nominal_high_per_min",
            "nominal band, high end",
            high,
            unit,
            period=period,
            interval_kind=said,
            working=said,
        ),
    ]
    for name, label, rate in (
        ("set_per_min", "set rate", machine.set_per_min),
        ("design_per_min", "design rate", machine.design_per_min),
    ):
        if rate is None:
            figures.append(cannot_tell(name, label, unit, "not declared in plant.toml", period))
        else:
            figures.append(Figure(name, label, rate, unit, period=period, interval_kind=said, working=said))
    return figures


_MINUTES = (
    ("running_min", "running", "running", ("running",)),
    ("slow_min", "slow", "below the nominal band's low end for a minute or longer", ("slow",)),
    ("short_stop_min", "short stops", "shorter than the limit in plant.toml", ("short stop",)),
    ("stop_min", "stops", "from the limit in plant.toml on", ("stop",)),
    ("changeover_min", "changeovers", "standing between two products", ("changeover",)),
    ("break_min", "breaks", "of the shift's calendar", ("break",)),
    ("unseen_min", "not seen", "no reading for longer than the gap in plant.toml", ("unseen",)),
)


def _minute_figures(account: ShiftAccount, period: Period, n: int, slow: tuple[float, float]) -> list[Figure]:
    parts = " + ".join(f"{account.minutes[s]:.1f} {s}" for s in account.minutes if s != "break")
    planned = Figure(
        "planned_min", "planned", account.planned_min, "min", n=n, period=period, working=f"{parts} min"
    )
    figures = [planned]
    for name, label, working, states in _MINUTES:
        value = sum(account.minutes[s] for s in states)
        # What was not seen may have been anything, so each state may hold all of it.
        open_min = account.unseen_min if name not in ("unseen_min", "break_min") else 0.0
        ends = (value, value + open_min) if open_min > 0 else (None, None)
        kind = "bounds: unseen minutes" if open_min > 0 else COUNTED
        if name == "slow_min" and slow[1] > slow[0]:
            ends = (slow[0], slow[1] + open_min)
            kind = "bounds: a slow stretch's ends lie within a reading interval"
        figures.append(
            Figure(name, label, value, "min", ends[0], ends[1], kind, n, period, ("derived-tape",), working)
        )
    return figures


def _uptime(account: ShiftAccount, period: Period, n: int) -> Figure:
    """Give running and slow minutes over planned minutes, with the bounds that unseen minutes leave."""
    name, label, unit = "uptime_percent", "uptime", "%"
    planned, unseen, run = account.planned_min, account.unseen_min, account.run_min
    if planned <= 0:
        return cannot_tell(name, label, unit, "no planned minute is over", period)
    if planned - unseen <= 1e-9:
        return cannot_tell(name, label, unit, "no planned minute was seen", period)
    coded = account.coded_run_min + account.coded_stand_min
    low = 100 * (run - account.coded_run_min) / planned
    high = 100 * (run + unseen + account.coded_stand_min) / planned
    value = 100 * run / (planned - unseen)
    working = f"{run:.1f} running and slow minutes ÷ {planned - unseen:.1f} planned minutes"
    if unseen > 0:
        working += f" seen; {unseen:.1f} of {planned:.1f} planned minutes were not seen"
    kind = "bounds: unseen minutes" if unseen > 0 else COUNTED
    if coded > 0:
        working += f"; {coded:.1f} min have no counter readings and are known from the machine's own states"
        kind = "bounds: minutes without counter readings"
    ends = (low, high) if unseen + coded > 0 else (None, None)
    return Figure(name, label, value, unit, ends[0], ends[1], kind, n, period, ("derived-tape",), working)


def _loss_figures(account: ShiftAccount, period: Period, n: int) -> list[Figure]:
    figures = []
    rate = account.nominal_per_min
    for cause, key, state in CAUSES:
        minutes, made = cause_sums(account, state)
        lost = minutes * rate - made
        working = f"{minutes:,.1f} min × {rate:g} a minute − {made:,.0f} pieces made in them"
        label = f"pieces lost: {cause}"
        name = f"pieces_lost_{key}"
        figures.append(Figure(name, label, lost, "pieces", n=n, period=period, working=working))
    if not account.rejects_told:
        why = "nothing counts rejects"
        name, label = "pieces_lost_rejects", "pieces lost: rejects"
        return [*figures, cannot_tell(name, label, "pieces", why, period)]
    working = "pieces that the reject counter counted"
    figures.append(
        Figure(
            "pieces_lost_rejects",
            "pieces lost: rejects",
            account.rejects_used,
            "pieces",
            n=n,
            period=period,
            working=working,
        )
    )
    return figures
