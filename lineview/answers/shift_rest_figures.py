"""Figures of a shift's stops, and of what the rest of it must do."""

from __future__ import annotations

import math

from lineview.figure import Figure, Period, cannot_tell, too_few
from lineview.measures.pace import LEAST_CYCLES
from lineview.measures.shift_measures import ShiftMeasures
from lineview.measures.stops import StopCount
from lineview.stats.events import exponential_mean_limits, mean_between_limits

COUNTED = "counted, no interval"
UNSEEN_BOUNDS = "bounds: readings missing"


def stop_figures(measured: ShiftMeasures, period: Period) -> list[Figure]:
    """Give the numbers of stops and the mean times between and to restore.

    Parameters
    ----------
    measured : ShiftMeasures
        Of the period.
    period : Period
        As asked.

    Returns
    -------
    list of Figure
        With exact intervals.
    """
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


def rest_figures(measured: ShiftMeasures, period: Period, n: int) -> list[Figure]:
    """Give the pace needed for the plan and the pieces projected.

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
    list of Figure
        Without a value where the period is over.
    """
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
