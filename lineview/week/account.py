"""The week's account: the ledger of its losses and each cause against its own history."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import polars as pl

from lineview.core.estimate import Estimate
from lineview.machine.calendar import calendar, shift_windows
from lineview.machine.pieces import MachineCounts, piece_counter
from lineview.plant import Machine, Plant
from lineview.week.compare import Comparison, Side, compare
from lineview.week.ledger import Ledger, MachinePeriod, make_ledger
from lineview.week.losses import MachineLosses, cells_of, machine_losses, rare_reasons, with_rare_together
from lineview.week.material import CandyLosses, candy_losses, product_mix, target_masses_g
from lineview.week.patterns import Pattern, PatternInputs, Recurring, find_patterns, recurring
from lineview.week.trend import Trends, cause_trends, history_of
from lineview.wrap.account import wrap_account
from lineview.wrap.waste import wrap_events

#: How far back a cause's history reaches.
HISTORY = timedelta(weeks=13)


@dataclass(frozen=True)
class MachineInputs:
    """Of a cut-and-wrap machine: its counts over the period, its logs, and its first reading [UTC]."""

    counts: MachineCounts
    batches: pl.DataFrame
    stop_log: pl.DataFrame
    reels: pl.DataFrame
    first_reading: datetime


@dataclass(frozen=True)
class LineInputs:
    """Of a line over the period: BATCHES, WEIGHTS, and readings of the rope's diameter and temperature.

    `gauges` and `temperature` have the columns at and value [mm, °C].
    """

    line: str
    batches: pl.DataFrame
    weights: pl.DataFrame
    gauges: pl.DataFrame
    temperature: pl.DataFrame


@dataclass(frozen=True)
class Past:
    """A machine's shifts of up to 13 weeks: what each lost, and its mix of products (MIX)."""

    losses: MachineLosses
    mix: pl.DataFrame


@dataclass(frozen=True)
class MachineWeek:
    """What a machine's period came to; `part` is None where none of its planned time is over or nothing counts."""

    machine: Machine
    part: MachinePeriod | None
    stops: Recurring | None
    first_reading: datetime
    readings: int
    outside: Estimate


@dataclass(frozen=True)
class LineWeek:
    """What a line's period came to: its cut-and-wrap machines, and its candy where a product is known."""

    machines: tuple[MachineWeek, ...]
    candy: CandyLosses | None


@dataclass(frozen=True)
class WeekInputs:
    """What the week works on: lines and their machines' past, by line, and what people noted [UTC].

    `compared` holds both sides of a comparison, and the history that both are periods of where there is one.
    """

    lines: Sequence[LineWeek]
    past: Sequence[Past]
    notes: Sequence[tuple[datetime, str]] = ()
    compared: Sequence[Side] = ()


@dataclass(frozen=True)
class WeekAccount:
    """The ledger of a period, and each cause's history.

    `ledger` is None where no planned minute of the period is over or nothing counts pieces; `uncounted` are
    machines without a counter of pieces, `joined` those whose first reading lies within the period; `outside` are
    good pieces that all of them made outside every shift.
    """

    ledger: Ledger | None
    trends: Trends
    uncounted: tuple[Machine, ...]
    joined: tuple[tuple[Machine, datetime], ...]
    candy: tuple[CandyLosses, ...]
    readings: int
    comparison: Comparison | None
    patterns: tuple[Pattern, ...]
    outside: Estimate


def week_account(plant: Plant, inputs: WeekInputs, period: tuple[datetime, datetime], now: datetime) -> WeekAccount:
    """Draw up the account of a period [UTC]; what lies after `now`, the last reading, is not lost yet.

    Its rows add up to what planned time at the nominal rate would have given and was not made.
    """
    period = until_now(period, now)
    places = {machine.id: place for place, machine in enumerate(plant.machines)}
    machines = sorted((m for line in inputs.lines for m in line.machines), key=lambda m: places[m.machine.id])
    joined = [(m.machine, m.first_reading) for m in machines if period[0] < m.first_reading < period[1]]
    parts = [m.part for m in machines if m.part is not None]
    uncounted = [m.machine for m in machines if m.part is None and piece_counter(m.machine) is None]
    past = [whole.losses for whole in inputs.past]
    rare = rare_reasons([part.losses for part in parts] + past) if parts or past else set()
    parts = [replace(part, losses=with_rare_together(part.losses, rare)) for part in parts]
    past = [with_rare_together(part, rare) for part in past]
    candy = tuple(line.candy for line in inputs.lines if line.candy is not None)
    ledger = make_ledger(parts, candy, plant.worth_per_kg_sold) if parts else None
    return WeekAccount(
        ledger,
        _trends(past, inputs, period, ledger),
        tuple(uncounted),
        tuple(joined),
        candy,
        sum(m.readings for m in machines),
        compare(inputs.compared[0], inputs.compared[1], inputs.compared[2:]) if inputs.compared else None,
        find_patterns([m.stops for m in machines if m.stops is not None]),
        Estimate.sum([m.outside for m in machines]),
    )


def until_now(period: tuple[datetime, datetime], now: datetime) -> tuple[datetime, datetime]:
    """A period up to the last reading [UTC]: what lies after it is not lost yet."""
    return period[0], max(period[0], min(period[1], now + timedelta(microseconds=1)))


def line_week(
    plant: Plant, machines: Sequence[MachineInputs], line: LineInputs, period: tuple[datetime, datetime], now: datetime
) -> LineWeek:
    """Work out what a line's period came to.

    Parameters
    ----------
    plant : Plant
        The works.
    machines : sequence of MachineInputs
        The line's cut-and-wrap machines that are asked about.
    line : LineInputs
        Of the line.
    period : (datetime, datetime)
        From, to [UTC].
    now : datetime
        The last reading; what lies after it is not lost yet.
    """
    # A shift whose last reading is within a gap of its end is over.
    reach = period[1] if (period[1] - now).total_seconds() <= plant.gap_s else max(now, period[0])
    period = until_now(period, now)
    worked_out = []
    for machine in machines:
        part = _machine(plant, machine, period, reach)
        stops = None
        if part is not None:
            stops = recurring(_pattern_inputs(plant, machine, line, part.losses.timeline, period))
            part = replace(part, losses=part.losses.without_timeline)
        worked_out.append(
            MachineWeek(
                machine.counts.machine,
                part,
                stops,
                machine.first_reading,
                machine.counts.readings,
                _outside(plant, machine.counts, period),
            )
        )
    counts = [machine.counts for machine in machines]
    candy = candy_losses(plant, counts, line.batches, line.weights, line.gauges, period)
    return LineWeek(tuple(worked_out), candy)


def past_calendar(plant: Plant, first: datetime, end: datetime) -> pl.DataFrame:
    """CALENDAR of the whole shifts between two moments.

    Parameters
    ----------
    plant : Plant
        The works.
    first, end : datetime
        From, to [UTC].
    """
    day = timedelta(days=1)
    cal = calendar(plant.shifts, plant.zone, first - day, end + day)
    if not cal.height:
        return cal
    inside = (pl.col("start").min() >= first) & (pl.col("end").max() <= end + timedelta(seconds=plant.gap_s))
    return cal.filter(inside.over("shift", "date"))


def machine_past(
    plant: Plant, counts: MachineCounts, batches: pl.DataFrame, stop_log: pl.DataFrame, cal: pl.DataFrame
) -> Past | None:
    """A machine's shifts of a calendar.

    Parameters
    ----------
    plant : Plant
        The works.
    counts : MachineCounts
        Over the calendar.
    batches, stop_log : polars.DataFrame
        BATCHES, STOP_LOG.
    cal : polars.DataFrame
        CALENDAR, of whole shifts.

    Returns
    -------
    Past or None
        None where it has no shift, or nothing counts pieces.
    """
    losses = machine_losses(plant, counts, batches, stop_log, cal)
    if losses is None:
        return None
    return Past(losses.without_timeline, product_mix(plant, batches, counts.machine.line, losses.shifts))


def _machine(
    plant: Plant, inputs: MachineInputs, period: tuple[datetime, datetime], reach: datetime
) -> MachinePeriod | None:
    start = max(period[0], inputs.first_reading)
    if reach <= start:
        return None
    cal = calendar(plant.shifts, plant.zone, start, reach)
    if not cal.height or not cells_of(cal).height:
        return None
    losses = machine_losses(plant, inputs.counts, inputs.batches, inputs.stop_log, cal)
    if losses is None:
        return None
    mix = product_mix(plant, inputs.batches, inputs.counts.machine.line, losses.shifts)
    good = inputs.counts.between(period).good
    events = wrap_events(losses.timeline) if losses.timeline.height else None
    wrap = wrap_account(plant, inputs.counts, inputs.batches, inputs.reels, events, period)
    whole = Estimate.exact(float(losses.shifts["good"].sum())) if good is None else good.at(0)
    outside = _outside(plant, inputs.counts, (start, min(reach, period[1])))
    return MachinePeriod(losses, target_masses_g(plant, mix, losses.shifts.height), whole, outside, wrap.uses)


def _outside(plant: Plant, counts: MachineCounts, period: tuple[datetime, datetime]) -> Estimate:
    """Good pieces that a machine made outside every shift's planned time and breaks."""
    return counts.outside(shift_windows(calendar(plant.shifts, plant.zone, *period)), *period)


def _pattern_inputs(
    plant: Plant, machine: MachineInputs, line: LineInputs, timeline: pl.DataFrame, period: tuple[datetime, datetime]
) -> PatternInputs:
    wrapper = machine.counts.machine
    suppliers = {web.id: web.supplier for web in plant.webs}
    planned = [
        float(cells_of(calendar(plant.shifts, plant.zone, period[0], end))["planned_min"].sum())
        for end in (period[0] + timedelta(days=7), period[1])
    ]
    to_week = planned[0] / planned[1] if planned[1] > 0 else 1.0
    return PatternInputs(
        wrapper, timeline, machine.batches, machine.reels, line.gauges, line.temperature, suppliers, to_week
    )


def _trends(
    past: Sequence[MachineLosses], inputs: WeekInputs, period: tuple[datetime, datetime], ledger: Ledger | None
) -> Trends:
    causes = [] if ledger is None else [row.cause for row in ledger.rows]
    history = history_of(past, [whole.mix for whole in inputs.past]) if past else None
    return cause_trends(history, period, causes, inputs.notes)
