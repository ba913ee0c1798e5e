"""What each question works on, from frames as exports hold them: readings, logs, sheets and plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from lineview.app.inputs import WEEKS_BEFORE, Fetcher, Measured, with_named
from lineview.app.records import RecordKeeper
from lineview.app.works import answer_to
from lineview.core.estimate import Estimate
from lineview.core.figure import Period
from lineview.core.frames import ADJUSTMENTS, BATCHES, PLAN, READINGS, REELS, STOCK, STOP_LOG, WEIGHTS, empty
from lineview.core.record_frames import RECORDS
from lineview.machine.calendar import calendar
from lineview.machine.likeliest import planned_time
from lineview.machine.pieces import MachineCounts
from lineview.machine.state_codes import unknown_states
from lineview.order.answer import OrderInputs, order_moment
from lineview.plant import Machine, Plant
from lineview.report.answer import Answer, Question, Scope
from lineview.rope.account import RopeAccount, RopeSeen
from lineview.rope.answer import RopeInputs
from lineview.shift.answer import ShiftInputs
from lineview.shift.measures import PastCounts
from lineview.store.record_table import WeekFiles
from lineview.weight.answer import WeightInputs
from lineview.weight.contents import ContentsRules
from lineview.wrap.answer import WrapInputs
from tests.one_count import count_machine

#: Gauges whose readings the rope is measured by.
ROPE_GAUGES = ("rope diameter", "rope temperature", "roller speed")

Inputs = ShiftInputs | WrapInputs | RopeInputs | WeightInputs | OrderInputs


@dataclass(frozen=True)
class Frames:
    """Frames of `lineview.core.frames`; the others are empty. `readings` holds one a machine.

    `made` stands in for the output by day; the rope of other sizers and the weights of other lines are given
    as the answers get them.
    """

    readings: Mapping[str, pl.DataFrame] = field(default_factory=dict)
    weights: pl.DataFrame = field(default_factory=lambda: empty(WEIGHTS))
    batches: pl.DataFrame = field(default_factory=lambda: empty(BATCHES))
    stop_log: pl.DataFrame = field(default_factory=lambda: empty(STOP_LOG))
    reels: pl.DataFrame = field(default_factory=lambda: empty(REELS))
    stock: pl.DataFrame = field(default_factory=lambda: empty(STOCK))
    plan: pl.DataFrame = field(default_factory=lambda: empty(PLAN))
    adjustments: pl.DataFrame = field(default_factory=lambda: empty(ADJUSTMENTS))
    net_contents: Mapping[str, ContentsRules] = field(default_factory=dict)
    elsewhere: Mapping[str, RopeAccount] = field(default_factory=dict)
    weights_elsewhere: pl.DataFrame = field(default_factory=lambda: empty(WEIGHTS))
    batches_elsewhere: pl.DataFrame = field(default_factory=lambda: empty(BATCHES))
    made: pl.DataFrame | None = None

    def of(self, machine: str) -> pl.DataFrame:
        """READINGS of one machine."""
        return self.readings.get(machine, empty(READINGS))


def answered(question: Question, plant: Plant, scope: Scope, frames: Frames) -> Answer:
    """Ask a question of frames."""
    return answer_to(question, plant, scope, inputs(question, plant, scope, frames))


def inputs(question: Question, plant: Plant, scope: Scope, frames: Frames) -> Inputs:
    """The inputs of one question."""
    machine = plant.machine(scope.machine)
    assert machine is not None, scope.machine
    period = (scope.period.start, scope.period.end)
    counts = counted(plant, machine, frames.of(machine.id), period)
    if question == "rope":
        return RopeInputs(rope_seen(plant, machine, frames, period), frames.elsewhere)
    if question == "order":
        return _order_inputs(plant, scope, frames)
    if question == "weight":
        return _weight_inputs(plant, machine, counts, frames, period)
    if question == "wrap":
        return WrapInputs(counts, frames.batches, frames.stop_log, frames.reels)
    marked = frames.batches.height or machine.gauge("product") is not None
    sizers = [] if marked else plant.machines_of(machine.line, "sizer")
    rope = [values for sizer in sizers for values in rope_values(sizer, frames.of(sizer.id))]
    past = PastCounts(period[0] - WEEKS_BEFORE, counts, frames.batches)
    return ShiftInputs(counts, frames.batches, frames.stop_log, frames.reels, frames.plan, rope, past)


def counted(
    plant: Plant, machine: Machine, readings: pl.DataFrame, period: tuple[datetime, datetime] | None = None
) -> MachineCounts:
    """Counts of a machine by all its readings; only those of the period are counted as readings."""
    planned = planned_of(plant, readings)
    counts = count_machine(machine, readings, gap_s=plant.gap_s, planned=planned).with_states()
    if period is None:
        return counts
    inside = readings.filter((pl.col("at") >= period[0]) & (pl.col("at") < period[1]))
    good = int((inside["quality"] == "good").sum())
    return replace(counts, readings=good, unknown_states=tuple(unknown_states(machine, inside)))


def planned_of(plant: Plant, readings: pl.DataFrame):
    """When the works meant to run, from a day before the readings to a day after them."""
    at = readings["at"]
    day = timedelta(days=1)
    first, last = (at.min(), at.max()) if len(at) else (datetime.fromtimestamp(0, UTC),) * 2
    return planned_time(calendar(plant.shifts, plant.zone, first - day, last + day))


def gauge_readings(machine: Machine, readings: pl.DataFrame) -> pl.DataFrame:
    """Readings of a sizer's rope gauges: channel, at, value, quality."""
    names = [gauge.id for gauge in machine.gauges if gauge.measures in ROPE_GAUGES]
    rows = readings.filter(pl.col("channel").is_in(names) & pl.col("value").is_not_null())
    return rows.select("channel", "at", "value", "quality").sort("channel", "at")


def rope_values(sizer: Machine, readings: pl.DataFrame) -> list[pl.DataFrame]:
    """Good readings of each gauge of a rope's diameter and temperature: at, value."""
    names = [g.id for g in sizer.gauges if g.measures in ("rope diameter", "rope temperature")]
    good = readings.filter(pl.col("quality") == "good")
    frames = [good.filter(pl.col("channel") == name).select("at", "value") for name in names]
    return [frame for frame in frames if frame.height]


def rope_seen(
    plant: Plant, sizer: Machine, frames: Frames, period: tuple[datetime, datetime] | None = None
) -> RopeSeen:
    """What was read of a sizer's rope and its line."""
    has_counter = sizer.counter("rope") is not None
    return RopeSeen(
        gauge_readings(sizer, frames.of(sizer.id)),
        counted(plant, sizer, frames.of(sizer.id), period) if has_counter else None,
        tuple(
            counted(plant, m, frames.of(m.id), period) for m in plant.machines_of(sizer.line, "cut-and-wrap machine")
        ),
        frames.batches,
        with_named(frames.stop_log, frames.adjustments),
    )


def _weight_inputs(
    plant: Plant, machine: Machine, counts: MachineCounts, frames: Frames, period: tuple[datetime, datetime]
) -> WeightInputs:
    sizer = next(iter(plant.machines_of(machine.line, "sizer")), None)
    rope = empty(READINGS) if sizer is None else frames.of(sizer.id)
    return WeightInputs(
        counts,
        frames.weights,
        frames.batches,
        rope.select("channel", "at", "value", "quality") if sizer is None else gauge_readings(sizer, rope),
        None if sizer is None or sizer.counter("rope") is None else counted(plant, sizer, rope, period),
        frames.net_contents,
        frames.weights_elsewhere,
        frames.batches_elsewhere,
    )


def _order_inputs(plant: Plant, scope: Scope, frames: Frames) -> OrderInputs:
    machines = [m for m in plant.machines if m.kind == "cut-and-wrap machine"]
    now = order_moment(scope)
    counts = {m.id: counted(plant, m, frames.of(m.id)) for m in machines if frames.of(m.id).height}
    on_line = [c for c in counts.values() if c.machine.line == scope.line]
    good = [c.between((scope.period.start, scope.period.end)).good for c in on_line]
    return OrderInputs(
        counts,
        output(plant, machines, frames, now) if frames.made is None else frames.made,
        Estimate.sum([part.at(0) for part in good if part is not None]),
        frames.batches,
        frames.reels,
        frames.stock,
        frames.plan,
    )


def output(plant: Plant, machines: Sequence[Machine], frames: Frames, now: datetime) -> pl.DataFrame:
    """Output by line, day and product up to a moment: DAILY_OUTPUT, by records made in memory."""
    return Fetcher(FrameStore(frames), keeper(), plant, Measured()).output(machines, now)


def keeper() -> RecordKeeper:
    """Keeps records in memory."""
    weeks = WeekFiles(Path("no folder"), nullcontext)  # which is as good as an empty one
    return RecordKeeper(MemoryTable(), nullcontext, weeks)


class FrameStore:
    """What records ask of a store, from frames of one intake."""

    def __init__(self, frames: Frames) -> None:
        self.frames = frames

    def version(self) -> str:
        return "frames"

    def span(self, machine: str | None = None) -> Period | None:
        names = self.frames.readings if machine is None else [machine]
        at = pl.concat([empty(READINGS)["at"], *(self.frames.of(name)["at"] for name in names)])
        return Period(at.min(), at.max()) if len(at) else None

    def reading_extents(self, machine: str) -> pl.DataFrame:
        at = self.frames.of(machine)["at"].dt.epoch("us")
        rows = [(1, at.min(), at.max())] if len(at) else []
        schema = {"intake": pl.Int64(), "first": pl.Int64(), "last": pl.Int64()}
        return pl.DataFrame(rows, schema=schema, orient="row")

    def event_stretches(self, kind: str, owner: str) -> pl.DataFrame:
        return pl.DataFrame(schema={"stretch": pl.Int64(), "rows": pl.Int64(), "total": pl.Int64()})

    def readings(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        inside = (pl.col("at") >= start) & (pl.col("at") < end)
        return self.frames.of(machine).filter(inside).sort("channel", "at")

    def channel_readings(self, machine: str, start: datetime, end: datetime) -> dict[str, pl.DataFrame]:
        columns = ["channel", "at", "value", "text", "quality"]
        rows = self.readings(machine, start, end).select(columns)
        parts = rows.partition_by("channel", as_dict=True, include_key=False, maintain_order=True)
        return {str(name): part for (name,), part in parts.items()}

    def batches(self, line: str, start: datetime, end: datetime) -> pl.DataFrame:
        last = pl.col("end").fill_null(pl.col("start"))
        lasting = (pl.col("line") == line) & (pl.col("start") < end) & (last >= start)
        return self.frames.batches.filter(lasting).sort("start")

    def reels(self, machine: str, start: datetime, end: datetime) -> pl.DataFrame:
        inside = (pl.col("machine") == machine) & (pl.col("at") >= start) & (pl.col("at") < end)
        return self.frames.reels.filter(inside).sort("at")


class MemoryTable:
    """A table of records in memory, as lineview.store.record_table keeps them on disk."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], pl.DataFrame] = {}
        self.losses = 0

    def read(self, machine: str, months: Sequence[str], columns: Sequence[str]) -> pl.DataFrame:
        frames = [self.kept[machine, month] for month in months if (machine, month) in self.kept]
        return pl.concat([pl.DataFrame(schema=RECORDS), *frames]).sort("start").select(list(columns))

    def replace(self, months: Mapping[tuple[str, str], pl.DataFrame]) -> None:
        self.kept.update(months)
