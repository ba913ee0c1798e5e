"""The edge that fetches what a question works on: records of its machines, and what else was exported."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache, partial
from typing import TYPE_CHECKING, Any, overload

import polars as pl

from lineview.app.bags import net_contents_tables
from lineview.app.kept_results import KeptResults, held_bytes
from lineview.app.records import RecordKeeper
from lineview.core.estimate import Estimate
from lineview.core.frames import ADJUSTMENTS, BATCHES, PLAN, REELS, STOP_LOG, WEIGHTS, empty
from lineview.core.record_frames import COUNTERS, COUNTS, GAUGES, OUTPUT, SPELLS
from lineview.machine.calendar import calendar
from lineview.machine.likeliest import PlannedTime, planned_time
from lineview.machine.pieces import MachineCounts
from lineview.plant import Machine, Plant
from lineview.records.compose import gauge_readings, machine_counts
from lineview.records.output import daily_output, good_pieces, join_output
from lineview.report.answer import Question, Scope
from lineview.store.reader import StoreReader

if TYPE_CHECKING:  # the modules of the other questions are not needed to fetch for one
    from lineview.order.answer import OrderInputs, Outlook
    from lineview.order.what_if import WhatIf
    from lineview.rope.account import RopeAccount, RopeSeen
    from lineview.rope.answer import RopeInputs
    from lineview.shift.answer import ShiftInputs
    from lineview.shift.measures import PastCounts
    from lineview.week.account import WeekInputs
    from lineview.weight.answer import WeightInputs
    from lineview.wrap.answer import WrapInputs

    Inputs = ShiftInputs | WrapInputs | RopeInputs | WeightInputs | OrderInputs | WeekInputs


def with_reasons(log: pl.DataFrame, reasons: pl.DataFrame) -> pl.DataFrame:
    """Put the reasons people set on the board before those of the stop log."""
    if reasons.is_empty():
        return log
    zeros = [pl.lit(0, pl.Int64).alias("intake"), pl.lit(0, pl.Int64).alias("row")]
    set_by_hand = reasons.with_columns(zeros).select(list(STOP_LOG))
    return pl.concat([set_by_hand.cast(pl.Schema(STOP_LOG)), log])


def with_named(log: pl.DataFrame, recorded: pl.DataFrame) -> pl.DataFrame:
    """Add to the journal's adjustments those that a stop log names ("adjusted roller pair 3")."""
    from_log = log.filter(pl.col("reason").str.to_lowercase().str.starts_with("adjust")).select(
        "machine", pl.col("start").alias("at"), pl.col("reason").alias("what"), pl.lit("stop log").alias("note")
    )
    journal = recorded if recorded.width else pl.DataFrame(schema=ADJUSTMENTS)
    every = pl.concat([journal.select(list(ADJUSTMENTS)), from_log])
    return every.unique(["machine", "at"], maintain_order=True).sort("at")


#: How far beyond a period batches and stops may start and still matter in it.
MARGIN = timedelta(hours=12)
#: How far ahead of a shift's end a plan is read, and of an order's day.
PLAN_AHEAD, ORDER_AHEAD = timedelta(days=112), timedelta(days=731)
#: How far back use is looked at for an order.
HISTORY = timedelta(days=731)
#: The other sizers are looked at over this much of the period, its end, so that a year is not read of each.
LOOK_BACK = timedelta(days=14)
#: So much time before a shift shows how its stops and its rest may go, and how a sizer's adjustments went.
WEEKS_BEFORE = timedelta(days=28)
#: So much time after a shift shows whether the machine runs outside the shifts.
DAYS_AFTER = timedelta(days=7)
#: Adjustments noted after the last reading are shown where it is no older than this.
NOTED_SINCE = timedelta(days=366)
#: How many sizers, machines' counts or outputs, and stretches of lines are kept for the next question, and the bytes of
#: each of these: a year of one machine's counts takes 40 MB.
MOST_KEPT, LINES_KEPT, KEPT_BYTES = 24, 80, 128_000_000

Period = tuple[datetime, datetime]


def _new_results(most: int = MOST_KEPT) -> KeptResults[Any]:
    return KeptResults[Any](most, KEPT_BYTES, held_bytes)


@dataclass
class Measured:
    """What was worked out from one state of data and plant description, for the next question about it."""

    sizers: KeptResults[RopeAccount] = field(default_factory=_new_results)
    counts: KeptResults[MachineCounts] = field(default_factory=_new_results)
    output: KeptResults[pl.DataFrame] = field(default_factory=_new_results)
    outlooks: KeptResults[Outlook] = field(default_factory=_new_results)
    lines: KeptResults[KeptStretch] = field(default_factory=partial(_new_results, LINES_KEPT))


@dataclass(frozen=True)
class KeptStretch:
    """What a line's time came to, between which moments lies all that it comes from [UTC], and a mark of that."""

    between: Period
    mark: str
    value: Any


class KeptMeasures:
    """What was measured last, for as long as data and plant description are the same.

    What lines came to stays when other data change: each has a mark of what it comes from.
    """

    def __init__(self) -> None:
        self._state: tuple[object, object] = (None, None)
        self._measured = Measured()

    def of(self, version: object, plant: object) -> Measured:
        """What is kept for these data: nothing, or lines alone, where they have changed since."""
        if (version, plant) != self._state:
            lines = self._measured.lines if plant == self._state[1] else _new_results(LINES_KEPT)
            self._state, self._measured = (version, plant), Measured(lines=lines)
        return self._measured


@dataclass(frozen=True)
class Fetcher:
    """Fetches from one state of the store: `store` is the store, or a snapshot of it.

    `measured` is what was worked out before of the same data; new things are put into it.
    """

    store: StoreReader
    records: RecordKeeper
    plant: Plant
    measured: Measured

    def inputs(self, question: Question, scope: Scope, what_if: WhatIf | None = None) -> Inputs:
        """What a question works on."""
        machine = self.plant.machine(scope.machine)
        if machine is None:  # scope_of chose it from the plant
            raise LookupError(scope.machine)
        period = (scope.period.start, scope.period.end)
        if question == "shift":
            return self._shift(machine, period)
        if question == "wrap":
            return self._wrap(machine, period)
        if question == "rope":
            from lineview.rope.answer import RopeInputs

            rope = self._rope(machine, period, since=scope.period.end >= scope.now)
            rope = replace(rope, wrappers=tuple(rope.wrappers))  # all, while the store's state is at hand
            return RopeInputs(rope, self._other_sizers(machine, period), self._rope_before(machine, period))
        if question == "weight":
            return self._weight(machine, period)
        return replace(self._order(scope), what_if=what_if)

    # -- counts ------------------------------------------------------------------------------------

    def counts(self, machine: Machine, period: tuple[datetime, datetime], *, exact_ends: bool = False) -> MachineCounts:
        """Counts of a machine over a period and the windows beside it; `exact_ends`: exact at windows' ends."""

        def work_out() -> MachineCounts:
            records = self.records.of(self.store, self.plant, machine, period, COUNTS, exact_ends=exact_ends)
            planned = self._planned(records)
            return machine_counts(machine, records, planned, period, gap_s=self.plant.gap_s)

        return self.measured.counts.get((machine.id, period, exact_ends), work_out)

    def _planned(self, records: pl.DataFrame) -> PlannedTime:
        if not records.height:
            return planned_time(calendar((), "UTC", *(datetime.fromtimestamp(0).astimezone(),) * 2))
        start, end = records["start"][0], records["end"][-1]
        return planned_time(calendar(self.plant.shifts, self.plant.zone, start, end))

    def _gauges(self, machine: Machine, period: tuple[datetime, datetime]) -> pl.DataFrame:
        """Readings of a sizer's gauges within a period."""
        records = self.records.of(self.store, self.plant, machine, period, list(GAUGES))
        inside = (records["last_read"] >= period[0]) & (records["first_read"] < period[1])
        places = inside.arg_true().to_list() or [0, -1]
        # a stretch of records is not copied; those in it without readings add none
        return gauge_readings(records.slice(places[0], places[-1] + 1 - places[0]))

    # -- shift and wrap ----------------------------------------------------------------------------

    def _shift(self, machine: Machine, period: tuple[datetime, datetime]) -> ShiftInputs:
        from lineview.shift.answer import ShiftInputs

        start, end = period
        batches = self._batches([machine.line], period)
        has_products = batches.height or machine.gauge("product") is not None
        sizers = [] if has_products else self.plant.machines_of(machine.line, "sizer")
        return ShiftInputs(
            self.counts(machine, period),
            batches,
            self._stops(machine, period),
            self.store.reels(machine.id, start - MARGIN, end + MARGIN),
            self._plan(machine.line, start, end + PLAN_AHEAD),
            [frame for sizer in sizers for frame in self._rope_values(sizer, period)],
            self._weeks_before(machine, start),
            self._days_after(machine, end),
        )

    def _weeks_before(self, machine: Machine, end: datetime) -> PastCounts | None:
        """Counts of the weeks before a moment, from the first reading on."""
        from lineview.shift.measures import PastCounts

        span = self.store.span(machine.id)
        if span is None or span.start >= end:
            return None
        period = (max(end - WEEKS_BEFORE, span.start), end)
        return PastCounts(period[0], self.counts(machine, period), self._batches([machine.line], period))

    def _days_after(self, machine: Machine, start: datetime) -> tuple[datetime, MachineCounts] | None:
        """Counts from a moment on for some days, up to the last reading, and their end."""
        span = self.store.span(machine.id)
        if span is None or (span.end - start).total_seconds() <= self.plant.gap_s:
            return None
        end = min(span.end, start + DAYS_AFTER)
        return end, self.counts(machine, (start, end))

    def _rope_values(self, sizer: Machine, period: tuple[datetime, datetime]) -> list[pl.DataFrame]:
        """Sure readings of each gauge of the rope: at and value."""
        readings = self._gauges(sizer, period).filter(pl.col("quality") == "good")
        gauges = [g.id for g in sizer.gauges if g.measures in ("rope diameter", "rope temperature")]
        frames = [readings.filter(pl.col("channel") == name).select("at", "value") for name in gauges]
        return [frame for frame in frames if frame.height]

    def _wrap(self, machine: Machine, period: tuple[datetime, datetime]) -> WrapInputs:
        from lineview.wrap.answer import WrapInputs

        start, end = period
        return WrapInputs(
            self.counts(machine, period),
            self._batches([machine.line], period),
            self._stops(machine, period),
            self.store.reels(machine.id, start - MARGIN, end + MARGIN),
        )

    # -- rope and weight ---------------------------------------------------------------------------

    def _rope(self, sizer: Machine, period: tuple[datetime, datetime], *, since: bool = False) -> RopeSeen:
        """What was read of a sizer's rope; `since`: with adjustments after the period, no batch of which is read."""
        from lineview.rope.account import RopeSeen

        start, end = period
        notes_end = end + NOTED_SINCE if since else end
        wrappers = self.plant.machines_of(sizer.line, "cut-and-wrap machine")
        machines = [sizer.id, *(m.id for m in wrappers)]
        log = _stack([self.store.stop_log(m, start - MARGIN, end + MARGIN) for m in machines], STOP_LOG)
        return RopeSeen(
            self._gauges(sizer, period),
            self.counts(sizer, period) if sizer.counter("rope") is not None else None,
            _LazyCounts([partial(self.counts, m, period) for m in wrappers]),
            self._batches([sizer.line], period),
            with_named(log, pl.concat([self.store.adjustments(m, start, notes_end) for m in machines])),
        )

    def _rope_before(self, sizer: Machine, period: tuple[datetime, datetime]) -> RopeAccount | None:
        """The rope of a sizer over some weeks up to the period's end; None where the period has them all."""
        span = self.store.span(sizer.id)
        start = max(period[1] - WEEKS_BEFORE, span.start) if span is not None else period[0]
        if start >= period[0]:
            return None
        key = (sizer.id, (start, period[1]))
        return self.measured.sizers.get(key, partial(self._measure_sizer, sizer, key[1]))

    def _other_sizers(self, sizer: Machine, period: tuple[datetime, datetime]) -> dict[str, RopeAccount]:
        """The rope of every other sizer, as far as it bears on which one needs a person."""
        start = max(period[0], period[1] - LOOK_BACK)
        out = {}
        for other in self.plant.machines:
            if other.kind != "sizer" or other.id == sizer.id or self.store.span(other.id) is None:
                continue
            work_out = partial(self._measure_sizer, other, (start, period[1]))
            key = (other.id, (start, period[1]))
            out[other.id] = self.measured.sizers.get(key, work_out)
        return out

    def _measure_sizer(self, sizer: Machine, period: Period) -> RopeAccount:
        from lineview.rope.account import rope_account

        return rope_account(self.plant, sizer, self._rope(sizer, period), period, in_full=False)

    def _weight(self, machine: Machine, period: tuple[datetime, datetime]) -> WeightInputs:
        from lineview.weight.answer import WeightInputs

        start, end = period
        sizers = self.plant.machines_of(machine.line, "sizer")
        sizer = sizers[0] if sizers else None
        others = [m for m in self.plant.machines if m.line != machine.line and m.kind == "cut-and-wrap machine"]
        on_line = [m for m in self.plant.machines if m.line == machine.line]
        return WeightInputs(
            self.counts(machine, period),
            _stack([self.store.weights(m.id, start, end) for m in on_line], WEIGHTS),
            self._batches([machine.line], period),
            gauge_readings(pl.DataFrame(schema=GAUGES)) if sizer is None else self._gauges(sizer, period),
            self.counts(sizer, period) if sizer is not None and sizer.counter("rope") is not None else None,
            net_contents_tables(),
            _stack([self.store.weights(m.id, start, end) for m in others], WEIGHTS),
            self._batches(sorted({m.line for m in others}), period),
        )

    # -- order -------------------------------------------------------------------------------------

    def _order(self, scope: Scope) -> OrderInputs:
        # Only this question needs them, and the others start the quicker for it.
        from lineview.order.answer import FOLLOWED, RECENT, SAME_DAY, OrderInputs, order_moment, order_outlook
        from lineview.order.orders import latest_counts

        machines = [m for m in self.plant.machines if m.kind == "cut-and-wrap machine"]
        lines = sorted({m.line for m in machines})
        now = order_moment(scope)
        stock = self.store.stock()
        # Of the present a count may be later than the last reading, but not be still to come.
        known_until = now if now < scope.now else max(now, datetime.now(UTC)) + SAME_DAY
        known = latest_counts(self.plant, stock.filter(pl.col("at") <= known_until)).by_web
        start = min(now - RECENT, *(max(count.counted_at, now - FOLLOWED) for count in known.values()), now)
        counts = {
            m.id: self.counts(m, (start, now), exact_ends=True) for m in machines if self.store.span(m.id) is not None
        }
        output = self.output(machines, now)
        inputs = OrderInputs(
            counts,
            output,
            self._good(counts, output, start, scope.line, (scope.period.start, scope.period.end)),
            self._batches(lines, (start, now)),
            _stack([self.store.reels(m.id, start - MARGIN, now) for m in machines], REELS),
            stock,
            _stack([self._plan(line, now, now + ORDER_AHEAD) for line in lines], PLAN),
            self._disputed_plan(lines).filter(pl.col("end") > now),
            self.store.contradicting("stock"),
            known_until=known_until,
        )
        outlook = self.measured.outlooks.get((start, now), partial(order_outlook, self.plant, inputs, now))
        return replace(inputs, outlook=outlook)

    def _plan(self, line: str, start: datetime, end: datetime) -> pl.DataFrame:
        """The plan of a line, without what overlaps a row that two exports give differently.

        With one product's row left out, the others would pass for the whole plan of that time.
        """
        plan = self.store.plan(line, start, end)
        for first, last in self._disputed_plan([line]).select("start", "end").unique(maintain_order=True).iter_rows():
            plan = plan.filter((pl.col("start") >= last) | (pl.col("end") <= first))
        return plan

    def _disputed_plan(self, lines: Sequence[str]) -> pl.DataFrame:
        rows = self.store.contradicting("plan").filter(pl.col("line").is_in(lines))
        return rows.with_columns(pl.col("end").fill_null(pl.col("start") + pl.duration(days=1)))

    def _good(
        self,
        counts: dict[str, MachineCounts],
        output: pl.DataFrame,
        fetched_from: datetime,
        line: str,
        period: tuple[datetime, datetime],
    ) -> Estimate:
        """Good pieces that a line made in the period asked for."""
        if period[0] >= fetched_from:
            fresh = [self.counts(c.machine, period) for c in counts.values() if c.machine.line == line]
            parts = [c.between(period).good for c in fresh]
            return Estimate.sum([part.at(0) for part in parts if part is not None])
        first, last = (moment.astimezone(self.plant.tz).date() for moment in period)
        return good_pieces(output, line, first, last)

    def output(self, machines: Sequence[Machine], now: datetime) -> pl.DataFrame:
        """Good pieces by line, day and product of up to two years before a moment: DAILY_OUTPUT."""
        return join_output(
            [self.measured.output.get((machine.id, now), partial(self._output, machine, now)) for machine in machines]
        )

    def _output(self, machine: Machine, now: datetime) -> pl.DataFrame:
        """Good pieces of one machine by day and product: DAILY_OUTPUT."""
        span = self.store.span(machine.id)
        if span is None or span.start >= now:
            return join_output([])
        period = (max(span.start, now - HISTORY), min(span.end + timedelta(microseconds=1), now))
        columns = ["shift", "date", *COUNTERS, *SPELLS, *OUTPUT]
        records = self.records.of(self.store, self.plant, machine, period, columns, exact_ends=True)
        over = partial(self._over, machine)
        plant = self.plant
        return daily_output(machine, records, plant.shifts, plant.zone, period, over, gap_s=plant.gap_s)

    def _over(self, machine: Machine, start: datetime, end: datetime) -> tuple[MachineCounts, pl.DataFrame]:
        """Counts and batches of a stretch between two windows of a machine."""
        between = self.records.of(self.store, self.plant, machine, (start, end), COUNTS, exact_ends=True)
        counts = machine_counts(machine, between, self._planned(between), (start, end), gap_s=self.plant.gap_s)
        return counts, self._batches([machine.line], (start, end))

    # -- what else was exported --------------------------------------------------------------------

    def _batches(self, lines: Sequence[str], period: tuple[datetime, datetime]) -> pl.DataFrame:
        start, end = period[0] - MARGIN, period[1] + MARGIN
        return _stack([self.store.batches(line, start, end) for line in lines], BATCHES)

    def _stops(self, machine: Machine, period: tuple[datetime, datetime]) -> pl.DataFrame:
        """The stop log of a machine's line, the reasons that people set first."""
        start, end = period[0] - MARGIN, period[1] + MARGIN
        ids = [m.id for m in self.plant.machines if m.line == machine.line]
        log = _stack([self.store.stop_log(m, start, end) for m in ids], STOP_LOG)
        reasons = [self.store.stop_reasons(m, start, end) for m in ids]
        return with_reasons(log, pl.concat(reasons))


class _LazyCounts(Sequence[MachineCounts]):
    """Counts of machines, each fetched when first looked at: a sizer with a counter needs no other's."""

    def __init__(self, fetches: Sequence[Callable[[], MachineCounts]]) -> None:
        self._fetches = [cache(fetch) for fetch in fetches]

    @overload
    def __getitem__(self, place: int) -> MachineCounts: ...

    @overload
    def __getitem__(self, place: slice) -> Sequence[MachineCounts]: ...

    def __getitem__(self, place: int | slice) -> MachineCounts | Sequence[MachineCounts]:
        part = self._fetches[place]
        return [fetch() for fetch in part] if isinstance(part, list) else part()

    def __len__(self) -> int:
        return len(self._fetches)


def _stack(frames: list[pl.DataFrame], schema: dict[str, pl.DataType]) -> pl.DataFrame:
    return pl.concat(frames) if frames else empty(schema)
