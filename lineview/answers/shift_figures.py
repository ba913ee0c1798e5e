"""The shift's figures: each number with its interval and working."""

from __future__ import annotations

import math

from lineview.figure import Figure, Period, cannot_tell, too_few
from lineview.measures.counts import Total
from lineview.measures.ladder import CAUSES
from lineview.measures.pace import LEAST_CYCLES
from lineview.measures.shift_account import ShiftAccount
from lineview.measures.shift_measures import ShiftMeasures
from lineview.measures.stops import StopCount
from lineview.statistics.event_limits import exponential_mean_limits, mean_between_limits

UNSEEN_BOUNDS = "bounds: readings missing"
COUNTED = "counted, no interval"


def shift_figures(measured: ShiftMeasures, period: Period, n: int) -> tuple[Figure, ...]:
    """Give the figures of a shift, or of several summed.

    Parameters
    ----------
    measured : ShiftMeasures
        Of the period.
    period : Period
        As asked.
    n : int
        Readings behind it.

    Returns
    -------
    tuple of Figure
        In the order in which a line lead reads them.
    """
    account = measured.so_far
    return (
        *_piece_figures(account, period, n),
        *_rate_figures(account, period, n),
        *_minute_figures(account, period, n),
        uptime(account, period, n),
        *_loss_figures(account, period, n),
        *_stop_figures(measured, period),
        *_rest_figures(measured, period, n),
    )


def _piece_figures(account: ShiftAccount, period: Period, n: int) -> list[Figure]:
    pieces = account.pieces
    what = "pieces less rejects" if pieces.rejects is not None else "pieces counted"
    return [
        _counted("good_pieces", "good pieces", pieces.good, period, n, what),
        _counted("pieces_made", "pieces made", pieces.made, period, n, "increments of the piece counter"),
        _counted("rejects", "rejects", pieces.rejects, period, n, "increments of the reject counter"),
    ]


def _counted(name: str, label: str, total: Total | None, period: Period, n: int, working: str) -> Figure:
    if total is None:
        return cannot_tell(name, label, "pieces", "no counter in plant.toml counts them", period)
    if total.n is None:
        most = "no upper bound" if total.high is None else f"at most {total.high:,.0f}"
        why = f"{total.missing_s / 60:.1f} min lack a reading; at least {total.low:,.0f}, {most}"
        told = cannot_tell(name, label, "pieces", why, period)
        return _bounded(told, total.low, total.high, n)
    exact = total.low == total.high
    kind = COUNTED if exact else "bounds: an interval over the period's edge"
    ends = (None, None) if exact else (total.low, total.high)
    return Figure(
        name,
        label,
        round(total.n),
        "pieces",
        ends[0],
        ends[1],
        kind,
        n,
        period,
        ("derived-counters",),
        working,
    )


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
    return [effective_rate(account, period, n), running_rate(account, period, n)]


def effective_rate(account: ShiftAccount, period: Period, n: int) -> Figure:
    """Give good pieces over planned minutes."""
    name, label, unit = "effective_rate_per_min", "effective rate", "pieces/min"
    minutes, good = account.planned_min, account.good
    if minutes <= 0:
        return cannot_tell(name, label, unit, "no planned minute is over", period)
    low, high = good.low / minutes, None if good.high is None else good.high / minutes
    if good.n is None:
        why = f"good pieces cannot be told; at least {low:.1f} a minute"
        return _bounded(cannot_tell(name, label, unit, why, period), low, high, n)
    working = f"{good.n:,.0f} good pieces ÷ {minutes:,.1f} planned minutes"
    ends = (None, None) if low == high else (low, high)
    kind = COUNTED if low == high else "bounds: an interval over the period's edge"
    return Figure(
        name, label, good.n / minutes, unit, ends[0], ends[1], kind, n, period, ("trade-practice",), working
    )


def running_rate(account: ShiftAccount, period: Period, n: int) -> Figure:
    """Give pieces over running and slow minutes."""
    name, label, unit = "running_rate_per_min", "rate while it ran", "pieces/min"
    if account.run_min <= 0:
        return cannot_tell(name, label, unit, "it did not run while it was seen", period)
    made = account.made["running"] + account.made["slow"]
    working = f"{made:,.0f} pieces ÷ {account.run_min:,.1f} running and slow minutes"
    return Figure(
        name,
        label,
        made / account.run_min,
        unit,
        n=n,
        period=period,
        sources=("derived-tape",),
        working=working,
    )


_MINUTES = (
    ("running_min", "running", "running", ("running",)),
    ("slow_min", "slow", "below the nominal band's low end for a minute or longer", ("slow",)),
    ("short_stop_min", "short stops", "shorter than the limit in plant.toml", ("short stop",)),
    ("stop_min", "stops", "from the limit in plant.toml on", ("stop",)),
    ("changeover_min", "changeovers", "standing between two products", ("changeover",)),
    ("break_min", "breaks", "of the shift's calendar", ("break",)),
    ("unseen_min", "not seen", "no reading for longer than the gap in plant.toml", ("unseen",)),
)


def _minute_figures(account: ShiftAccount, period: Period, n: int) -> list[Figure]:
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
        figures.append(
            Figure(name, label, value, "min", ends[0], ends[1], kind, n, period, ("derived-tape",), working)
        )
    return figures


def uptime(account: ShiftAccount, period: Period, n: int) -> Figure:
    """Give running and slow minutes over planned minutes, with the bounds that unseen minutes leave."""
    name, label, unit = "uptime_percent", "uptime", "%"
    planned, unseen, run = account.planned_min, account.unseen_min, account.run_min
    if planned <= 0:
        return cannot_tell(name, label, unit, "no planned minute is over", period)
    if planned - unseen <= 1e-9:
        return cannot_tell(name, label, unit, "no planned minute was seen", period)
    low, high = 100 * run / planned, 100 * (run + unseen) / planned
    value = 100 * run / (planned - unseen)
    working = f"{run:.1f} running and slow minutes ÷ {planned - unseen:.1f} planned minutes"
    if unseen > 0:
        working += f" seen; {unseen:.1f} of {planned:.1f} planned minutes were not seen"
    kind = "bounds: unseen minutes" if unseen > 0 else COUNTED
    ends = (low, high) if unseen > 0 else (None, None)
    return Figure(name, label, value, unit, ends[0], ends[1], kind, n, period, ("derived-tape",), working)


def _loss_figures(account: ShiftAccount, period: Period, n: int) -> list[Figure]:
    figures = []
    rate = account.nominal_per_min
    for cause, key, state in CAUSES:
        minutes, made = account.minutes[state], account.made_in(state)
        lost = minutes * rate - made
        working = f"{minutes:,.1f} min × {rate:g} a minute − {made:,.0f} pieces made in them"
        label = f"pieces lost: {cause}"
        name = f"pieces_lost_{key}"
        figures.append(Figure(name, label, lost, "pieces", n=n, period=period, working=working))
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


def _stop_figures(measured: ShiftMeasures, period: Period) -> list[Figure]:
    account, stops = measured.so_far, measured.stops
    counts = [
        Figure(f"{key}s", label, account.stretches[state], "", period=period, working="stretches of the tape")
        for key, label, state in (
            ("stop", "stops", "stop"),
            ("short_stop", "short stops", "short stop"),
            ("changeover", "changeovers", "changeover"),
        )
    ]
    return [*counts, _mean_between(measured, period), _mean_to_restore(stops, period)]


def _mean_between(measured: ShiftMeasures, period: Period) -> Figure:
    name, label = "mtbf_min", "mean running time between stops"
    stops = measured.stops
    if stops.run_min <= 0:
        return cannot_tell(name, label, "min", "it did not run while it was seen", period)
    low, high = mean_between_limits(stops.events, stops.run_min)
    top = high if math.isfinite(high) else None
    kind = "95 % confidence, exact for a constant rate"
    working = f"{stops.run_min:.1f} running minutes ÷ {stops.events} stops that began while it ran"
    if stops.mean_between_min is None:
        return Figure(
            name, label, None, "min", low, None, kind, 0, period, ("nist-handbook",), working, "no stop began"
        )
    return Figure(
        name,
        label,
        stops.mean_between_min,
        "min",
        low,
        top,
        kind,
        stops.events,
        period,
        ("nist-handbook",),
        working,
    )


def _mean_to_restore(stops: StopCount, period: Period) -> Figure:
    name, label = "mttr_min", "mean time to restore"
    if stops.mean_to_restore_min is None:
        return too_few(name, label, "min", needs=1, has=0, period=period)
    low, high = exponential_mean_limits(stops.stopped_min, stops.restored)
    working = f"{stops.stopped_min:.1f} minutes ÷ {stops.restored} stops that ended"
    kind = "95 % confidence, exact for exponential lengths"
    return Figure(
        name,
        label,
        stops.mean_to_restore_min,
        "min",
        low,
        high,
        kind,
        stops.restored,
        period,
        ("nist-handbook",),
        working,
    )


def _rest_figures(measured: ShiftMeasures, period: Period, n: int) -> list[Figure]:
    return [_pace(measured, period, n), _projected(measured, period, n)]


def _pace(measured: ShiftMeasures, period: Period, n: int) -> Figure:
    name, label, unit = "pace_needed_per_min", "pace needed for the plan", "pieces/min"
    if measured.planned is None:
        return cannot_tell(name, label, unit, "no plan was given for this period", period)
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
    name, label, unit = "projected_pieces", "good pieces at the end, going on as so far", "pieces"
    account = measured.so_far
    if measured.left_min <= 1e-6:
        return cannot_tell(name, label, unit, "the period is over", period)
    if measured.rest is None:
        return too_few(name, label, unit, needs=LEAST_CYCLES, has=measured.cycles, period=period)
    good, rest = account.good_used, measured.rest
    share = good / account.made_used if account.made_used else 1.0
    working = f"{good:,.0f} good so far + {rest.pieces * share:,.0f} in {measured.left_min:,.1f} min left"
    kind = f"{rest.confidence:.0%} prediction from {rest.cycles} runs and stops of this period"
    low, high = good + rest.low * share, good + rest.high * share
    value = good + rest.pieces * share
    return Figure(name, label, value, unit, low, high, kind, n, period, ("derived-projection",), working)
