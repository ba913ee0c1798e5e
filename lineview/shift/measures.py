"""All that a shift's answer shows, worked out in one place from the evidence of one machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from itertools import chain

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.frames import STOP_LOG, UTC_US, empty
from lineview.machine.activity import slow_bounds_min
from lineview.machine.calendar import calendar, shift_windows
from lineview.machine.changeovers import with_planned_minutes
from lineview.machine.pieces import MachineCounts, micros
from lineview.machine.reported_states import Contradictions, contradictions
from lineview.machine.stops import StopCount, stop_count
from lineview.machine.timeline import line_changeovers, timeline_of
from lineview.plant import Machine, Plant
from lineview.shift.account import ShiftAccount, accounts, add_up
from lineview.shift.past import LEAST_SHIFTS, PastShift, PastShifts, Projection, RestOfShift, shift_of, shifts_of
from lineview.shift.projection import pace_needed_per_min, plan_covers, planned_pieces

#: A rate that at most this share of the shifts before fell to is unusual.
UNUSUAL_SHARE = 0.1


@dataclass(frozen=True)
class ShiftMeasures:
    """One period of one machine, measured.

    `timeline` is STATE_TIMELINE of what is over of the period, `windows` its shifts as of shift_windows; `accounts`
    has one each, `so_far` is their sum. `left_min` are planned minutes still to come; `planned` pieces are None without
    a plan for the whole period, `rest_of_shift` where no planned minutes are left or none are over. `past` are the
    shifts of the four weeks before, `own_shifts` those of the period so far, `stops` the timeline's. `changeovers`
    are LIKELY with their minutes, breaks left out: of the machine's marks, or found for want of them. `against`: where
    its states contradict its counter, within the period. `cuts_shift`: the period begins or ends within a
    shift; `plan_partly`: a plan covers some of the period and not all of it, so that there is nothing to compare.
    `outside` are good pieces made in the period and outside every shift; `around` those of the weeks before and the
    days after, and all good pieces then.
    """

    machine: Machine
    counts: MachineCounts
    timeline: pl.DataFrame
    windows: pl.DataFrame
    accounts: tuple[ShiftAccount, ...]
    so_far: ShiftAccount
    left_min: float
    planned: float | None
    pace_needed_per_min: float | None
    rest_of_shift: RestOfShift | None
    past: PastShifts
    own_shifts: tuple[PastShift, ...]
    stops: StopCount
    changeovers: pl.DataFrame
    against: Contradictions
    cuts_shift: bool
    plan_partly: bool
    outside: Estimate
    around: tuple[Estimate, Estimate]

    @property
    def good_counted(self) -> bool:
        """Whether a counter separates good pieces from rejects."""
        return self.counts.separates_rejects

    @property
    def slow_bounds_min(self) -> tuple[float, float]:
        """Least and most slow minutes that the readings allow [min]."""
        every = self.counts.usual_min
        slow = self.so_far.minutes["slow"]
        return (slow, slow) if every is None else slow_bounds_min(self.timeline, every)

    @property
    def rest(self) -> Projection | None:
        """Pieces of the planned minutes left."""
        return None if self.rest_of_shift is None else self.rest_of_shift.project(self.left_min)

    @cached_property
    def steps(self) -> pl.DataFrame:
        """Its running and slow stretches and breaks, cut into steps of about a minute."""
        return _minute_steps(self.timeline, self.counts)

    @property
    def is_unusually_slow(self) -> bool:
        """Whether nine in ten shifts of the weeks before had made more by the same planned minute."""
        if len(self.own_shifts) != 1:
            return False
        this_shift = self.own_shifts[0]
        before = [past.rate(0.0, min(this_shift.planned_min, past.planned_min)) for past in self.past.shifts]
        slower = sum(rate <= this_shift.rate(0.0, this_shift.planned_min) for rate in before)
        return len(before) >= LEAST_SHIFTS and slower <= UNUSUAL_SHARE * len(before)

    @property
    def unexplained_stops(self) -> int:
        """Stops, short ones aside, that have no reason."""
        return self.timeline.filter((pl.col("state") == "stop") & pl.col("reason").is_null()).height


@dataclass(frozen=True)
class PastCounts:
    """Counts of a machine over some weeks before a period, from a moment on, and its line's batches then."""

    start: datetime
    counts: MachineCounts
    batches: pl.DataFrame


def past_shifts(plant: Plant, past: PastCounts | None, end: datetime) -> PastShifts:
    """The shifts of the weeks before a period."""
    if past is None or not plant.shifts or not past.counts.readings:
        return PastShifts()
    planned = calendar(plant.shifts, plant.zone, past.start, end)
    if not planned.height:
        return PastShifts()
    turns = line_changeovers(past.counts, past.batches, planned, ())
    timeline = timeline_of(
        past.counts, past.batches, empty(STOP_LOG), planned, short_stop_min=plant.short_stop_min, changeovers=turns
    )
    return PastShifts(shifts_of(timeline, shift_windows(planned)))


def nominal_per_min(machine: Machine) -> float:
    """The rate the ladder starts from [pieces/min]: the set rate, else the middle of the band."""
    return machine.set_per_min or sum(machine.nominal_per_min) / 2


def measure_shift(
    plant: Plant,
    counts: MachineCounts,
    start: datetime,
    end: datetime,
    now: datetime,
    *,
    batches: pl.DataFrame,
    stop_log: pl.DataFrame,
    plan: pl.DataFrame,
    gauges: Sequence[pl.DataFrame] = (),
    weeks_before: PastCounts | None = None,
    days_after: tuple[datetime, MachineCounts] | None = None,
) -> ShiftMeasures:
    """Measure a period of a machine."""
    all_stretches = calendar(plant.shifts, plant.zone, start, end)
    # A shift whose last reading is within a gap of its end is over.
    over = (end - now).total_seconds() <= plant.gap_s
    reach = end if over else min(max(now, start), end)
    past = all_stretches.filter(pl.col("start") < reach).with_columns(pl.min_horizontal("end", pl.lit(reach)))
    machine = counts.machine
    changeovers = line_changeovers(counts, batches, past, gauges)
    timeline = timeline_of(
        counts, batches, stop_log, past, short_stop_min=plant.short_stop_min, changeovers=changeovers
    )
    windows = shift_windows(past)
    nominal = nominal_per_min(machine)
    pieces = counts.pieces(*(windows[side].dt.epoch("us").to_numpy() for side in ("start", "end")))
    by_shift = accounts(timeline, windows, [pieces.at(k) for k in range(windows.height)], nominal_per_min=nominal)
    so_far = add_up(by_shift, nominal)
    left_min = float(shift_windows(all_stretches)["planned_min"].sum()) - so_far.planned_min
    planned = planned_pieces(plan, machine.line, start, end, shifts=plant.shifts, zone=plant.zone)
    is_covered = plan_covers(plan, machine.line, start, end, shifts=plant.shifts, zone=plant.zone)
    is_partial, planned = planned is not None and not is_covered, planned if is_covered else None
    pace_per_min = None if planned is None else pace_needed_per_min(planned, so_far.good_used, left_min)
    this_shift = shift_of(timeline) if left_min > 1e-6 else None
    before = past_shifts(plant, weeks_before, start)
    rest = None if this_shift is None else RestOfShift(before, this_shift)
    against = contradictions(counts.activity, counts.spells.within(*micros([start, reach])))
    earlier = [] if weeks_before is None else [(weeks_before.counts, weeks_before.start, start)]
    around = _outside_of(plant, earlier, [] if days_after is None else [(days_after[1], end, days_after[0])])
    of_shifts = (machine, counts, timeline, windows, by_shift, so_far, left_min, planned, pace_per_min, rest, before)
    of_stops = shifts_of(timeline, windows), stop_count(timeline), with_planned_minutes(changeovers, timeline), against
    ends = _cuts_shift(plant, start, end), is_partial, counts.outside(windows, start, reach)
    return ShiftMeasures(*of_shifts, *of_stops, *ends, around)


def _outside_of(plant: Plant, *parts: list[tuple[MachineCounts, datetime, datetime]]) -> tuple[Estimate, Estimate]:
    """Good pieces made outside every shift from one moment to another, and all good pieces, of all parts."""
    outside = all_good = Estimate.exact(0.0)
    for counts, start, end in chain(*parts):
        good = counts.between((start, end)).good
        if good is not None:
            windows = shift_windows(calendar(plant.shifts, plant.zone, start, end))
            outside, all_good = outside + counts.outside(windows, start, end), all_good + good.at(0)
    return outside, all_good


def _cuts_shift(plant: Plant, start: datetime, end: datetime) -> bool:
    """Whether a period begins or ends within a shift."""
    day = timedelta(days=1)
    shifts = shift_windows(calendar(plant.shifts, plant.zone, start - day, end + day)) if plant.shifts else None
    if shifts is None:
        return False
    return any(bool(((shifts["start"] < at) & (shifts["end"] > at)).any()) for at in (start, end))


def rate_by_minute(measures: ShiftMeasures) -> pl.DataFrame:
    """The rate along the clock for a drawing: about a minute a step, cut at the timeline's edges."""
    steps = measures.steps
    if not steps.height:
        return pl.DataFrame(schema={"at": UTC_US, "rate_per_min": pl.Float64})
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    rate = steps.select(at="start", rate_per_min=pl.when(pl.col("state") != "unseen").then(pl.col("pieces") / minutes))
    ends = steps.filter((pl.col("start").shift(-1) > pl.col("end")).fill_null(value=True))
    nothing = ends.select(at="end", rate_per_min=pl.lit(None, pl.Float64))
    return pl.concat([rate, nothing]).sort("at", maintain_order=True)


def _minute_steps(timeline: pl.DataFrame, counts: MachineCounts) -> pl.DataFrame:
    begin, finish = (timeline[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    runs = timeline["state"].is_in(["running", "slow", "break"]).to_numpy()
    steps = np.where(runs, np.maximum(np.round((finish - begin) / 1e6 / 60.0), 1), 1).astype(np.int64)
    row = np.repeat(np.arange(len(steps)), steps)
    nth = np.arange(len(row)) - np.repeat(np.cumsum(steps) - steps, steps)
    start = begin[row] + np.round((finish - begin)[row] * nth / steps[row]).astype(np.int64)
    end = np.where(nth + 1 < steps[row], np.append(start[1:], 0), finish[row])
    total = counts.total(start, end)
    pieces = pl.lit(None, pl.Float64) if total is None else pl.Series(total.value, nan_to_null=True)
    frame = pl.DataFrame({"start": start, "end": end}).cast(UTC_US)
    return frame.with_columns(timeline["state"].gather(row), pieces=pieces)
