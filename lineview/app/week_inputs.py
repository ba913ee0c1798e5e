"""What the week's answer works on: each machine over the period, and its shifts of the thirteen weeks before."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from hashlib import sha256
from typing import Any

import polars as pl

from lineview.app.inputs import MARGIN, Fetcher, KeptStretch
from lineview.app.kept_results import pack, unpack
from lineview.app.second_scope import Pick, SecondScope, picks
from lineview.core.errors import AskError, Fault
from lineview.core.figure import Period
from lineview.core.frames import WEIGHTS
from lineview.core.language import tr
from lineview.core.resources import shipped
from lineview.plant import Machine, Measures
from lineview.records.stale import code_mark
from lineview.report.answer import Scope
from lineview.store.reader import StoreReader
from lineview.week.account import (
    HISTORY,
    LineInputs,
    LineWeek,
    MachineInputs,
    Past,
    WeekInputs,
    line_week,
    machine_past,
    past_calendar,
)
from lineview.week.compare import Side
from lineview.week.material import cut_to_product, weighed_off_target
from lineview.week.trial import Trial, TrialInputs

EVER = datetime(1970, 1, 2, tzinfo=UTC), datetime(9999, 1, 1, tzinfo=UTC)
WEEK = timedelta(days=7)
#: The code that what is kept of a line comes from.
_CODE = ("app", "core", "machine", "plant", "records", "rope", "stats", "store", "week", "weight", "wrap")
_Pasts = tuple[tuple[str, Past], ...]


class WeekFetcher(Fetcher):
    """Fetches what the week works on from one state of the store."""

    def week(
        self,
        scope: Scope,
        machines: Sequence[Machine],
        only: SecondScope | None = None,
        against: SecondScope | None = None,
    ) -> WeekInputs:
        """What the week works on, of some cut-and-wrap machines, compared with a second scope where there is one."""
        period = (scope.period.start, scope.period.end)
        read = [m for m in machines if self.store.span(m.id) is not None]
        lines = list(dict.fromkeys(machine.line for machine in read))
        of_lines = [[machine for machine in read if machine.line == line] for line in lines]
        past = (period[1] - HISTORY, min(period[1], scope.now))
        pasts = {machine: whole for some in of_lines for machine, whole in self._pasts(some, past)}
        return WeekInputs(
            [self._line_week(some, period, scope.now) for some in of_lines],
            [pasts[machine.id] for machine in read if machine.id in pasts],
            self._notes(lines, (period[1] - HISTORY, period[1])),
            [] if against is None else self._compared(scope, tuple(machines), only, against),
        )

    def _line_week(self, machines: Sequence[Machine], period: tuple[datetime, datetime], now: datetime) -> LineWeek:
        """What a line's period came to."""

        def work_out() -> LineWeek:
            inputs = [self._machine(machine, period) for machine in machines]
            return line_week(self.plant, inputs, self._line(machines[0].line, period), period, now)

        week: LineWeek = self._fetch(machines, LineWeek, ("week", min(now, period[1])), period, work_out)
        return week

    def _pasts(self, machines: Sequence[Machine], span: tuple[datetime, datetime]) -> _Pasts:
        """The shifts of a line's machines over some weeks, by machine; none of those that have no shift."""

        def work_out() -> _Pasts:
            pasts = [(machine.id, self._past(machine, span)) for machine in machines]
            return tuple((name, past) for name, past in pasts if past is not None)

        all_pasts: _Pasts = self._fetch(machines, _Pasts, ("past",), span, work_out)
        return all_pasts

    def keep_weeks(self) -> None:
        """Work out what each line came to in each calendar week that was read, where it is not kept yet."""
        span = self.store.span()
        if span is None:
            return
        read = [m for m in self.plant.machines if m.kind == "cut-and-wrap machine" and self.store.span(m.id)]
        first = span.start.astimezone(self.plant.tz).date()
        monday = first - timedelta(days=first.weekday())
        while (period := self._week_of(monday))[0] <= span.end:
            for line in dict.fromkeys(machine.line for machine in read):
                machines = [machine for machine in read if machine.line == line]
                self._line_week(machines, period, span.end)
                self._pasts(machines, (period[1] - HISTORY, min(period[1], span.end)))
            monday += WEEK

    def _week_of(self, monday: date) -> tuple[datetime, datetime]:
        """The week that begins on a day."""
        begins = (datetime.combine(day, time(0), tzinfo=self.plant.tz) for day in (monday, monday + WEEK))
        start, end = (moment.astimezone(UTC) for moment in begins)
        return start, end

    def _fetch(
        self,
        machines: Sequence[Machine],
        of: Any,
        what: tuple[object, ...],
        period: tuple[datetime, datetime],
        work_out: Callable[[], Any],
    ) -> Any:
        """What machines of one line came to over a period, worked out again where anything it comes from changed."""
        line = machines[0].line
        on_line = [m for m in self.plant.machines if m.line == line]
        names = [m.id for m in on_line]
        spans = [self.store.span(name) for name in names]
        starts = tuple(None if span is None else span.start for span in spans)
        key = (what, tuple(machine.id for machine in machines), starts, period)
        memory, files = self.measured.lines, self.records.weeks
        there = memory.known(key)
        if there is not None and there.mark == self.store.content_mark(line, names, there.between):
            return there.value
        # a file for each beginning: the last week, whose end is the last reading, takes one alone
        name, state = repr((what[0], key[1], period[0])), f"{key}{self._origin}"
        read_back = files.read(name, state)
        if read_back is not None:
            start, end, mark = json.loads(read_back[0])
            between = datetime.fromisoformat(start), datetime.fromisoformat(end)
            if mark == self.store.content_mark(line, names, between):
                there = KeptStretch(between, mark, unpack(of, read_back[1], self.plant))
                memory.replace(key, there)
                return there.value
        value = work_out()
        between = self._reach([m for m, span in zip(on_line, spans, strict=True) if span is not None], period)
        there = KeptStretch(between, self.store.content_mark(line, names, between), value)
        memory.replace(key, there)
        if self._is_of_a_week(what[0], period):
            files.keep(name, state, json.dumps([*(at.isoformat() for at in between), there.mark]), pack(value))
        return value

    def _is_of_a_week(self, what: object, period: tuple[datetime, datetime]) -> bool:
        """Whether it is a calendar week, or the weeks before one's end, that it is of."""
        start = period[0] + HISTORY - WEEK if what == "past" else period[0]
        week = self._week_of(start.astimezone(self.plant.tz).date())
        return start.astimezone(self.plant.tz).weekday() == 0 and week[0] == start and period[1] <= week[1]

    @cached_property
    def _origin(self) -> str:
        """A mark of the plant description, and of the code and the messages that what is kept comes from."""
        messages = shipped("data") / "languages" / f"{self.plant.language}.mo"  # English needs none
        parts = self.plant.model_dump_json().encode(), messages.read_bytes() if messages.is_file() else b""
        return " ".join([*(sha256(part).hexdigest() for part in parts), code_mark(*_CODE)])

    def _reach(self, machines: Sequence[Machine], period: tuple[datetime, datetime]) -> tuple[datetime, datetime]:
        """Between which moments lies all that machines' counts over a period come from.

        A gap at its ends is judged by the shifts on either side; where there is none yet, one may still come.
        """
        start, end = period[0] - MARGIN, period[1] + MARGIN
        for machine in machines:
            near = self.records.of(self.store, self.plant, machine, period, ["shift", "readings"], exact_ends=True)
            shifts = near.filter(pl.col("shift").is_not_null(), pl.col("readings") > 0)
            before, after = shifts.filter(pl.col("end") <= period[0]), shifts.filter(pl.col("start") >= period[1])
            start = min(start, near["start"][0]) if before.height else EVER[0]
            end = max(end, near["end"][-1]) if after.height else EVER[1]
        return start, end

    def trial(self, trial: Trial) -> TrialInputs:
        """What a trial is judged on: the shifts of its line, those of the line beside it, and trials on either."""
        line = self.plant.machines_of(trial.line, "cut-and-wrap machine")
        machines = tuple(m for m in line if trial.machine in ("", m.id))
        beside = tuple(self.plant.machines_of(trial.beside, "cut-and-wrap machine")) if trial.beside else ()
        span = self.store.span()
        if span is None or not machines:
            raise AskError(
                Fault(
                    tr(
                        "there is nothing of line {line} to judge trial {number} by",
                        line=trial.line,
                        number=trial.number,
                    )
                )
            )
        end = span.end if trial.ends_at is None else min(trial.ends_at, span.end)
        period = Period(trial.begins_at - HISTORY, max(end, trial.begins_at))
        sides = [self._side(Pick(some, period, None, None, ""), span.end) for some in (machines, beside) if some]
        lines = {trial.line, trial.beside} - {""}
        others = [other for other in trials_of(self.store) if other.number != trial.number and other.line in lines]
        return TrialInputs(trial, sides[0], sides[1] if beside else None, others)

    def _compared(
        self, scope: Scope, machines: tuple[Machine, ...], only: SecondScope | None, against: SecondScope
    ) -> list[Side]:
        """Both sides of a comparison; where they are two periods of the same, the weeks around both too."""
        span = self.store.span()
        if span is None:
            return []
        first, second = picks(self.plant, scope, machines, only, against, span)
        sides = [self._side(first, scope.now), self._side(second, scope.now)]
        same = (first.machines, first.shift, first.product) == (second.machines, second.shift, second.product)
        if same and first.period != second.period:
            end = max(first.period.end, second.period.end)
            start = min(first.period.start, second.period.start, end - HISTORY)
            sides.append(self._side(replace(first, period=Period(start, end)), scope.now))
        return sides

    def _side(self, pick: Pick, now: datetime) -> Side:
        """The whole shifts of a pick, machine by machine."""
        pasts, weighed = [], []
        for machine in pick.machines:
            read = self.store.span(machine.id)
            if read is None:
                continue
            start, end = max(pick.period.start, read.start), min(pick.period.end, now)
            if end <= start:
                continue
            cal = past_calendar(self.plant, start, end)
            if pick.shift is not None:
                cal = cal.filter(pl.col("shift") == pick.shift)
            if not cal.height:
                continue
            whole = (cal["start"][0], cal["end"][-1])
            batches = self._batches([machine.line], whole)
            if pick.product is not None:
                cal = cut_to_product(self.plant, cal, batches, machine.line, pick.product)
            counts = self.counts(machine, whole, exact_ends=True)
            past = machine_past(self.plant, counts, batches, self._stops(machine, whole), cal)
            if past is not None:
                pasts.append(past)
                on_line = [m for m in self.plant.machines if m.line == machine.line]
                weights = pl.concat([self.store.weights(m.id, *whole) for m in on_line])
                cells = past.losses.shifts.select("start", "end").rows()
                weighed.append(weighed_off_target(self.plant, batches, weights, cells))
        nothing = pl.DataFrame(schema={"batch": pl.String(), "off_g": pl.Float64()})
        return Side(
            pick.label, [past.losses for past in pasts], [past.mix for past in pasts], pl.concat([nothing, *weighed])
        )

    def _machine(self, machine: Machine, period: tuple[datetime, datetime]) -> MachineInputs:
        wrap = self._wrap(machine, period)
        span = self.store.span(machine.id)
        first = period[0] if span is None else span.start
        return MachineInputs(wrap.counts, wrap.batches, wrap.stop_log, wrap.reels, first)

    def _line(self, line: str, period: tuple[datetime, datetime]) -> LineInputs:
        on_line = [m for m in self.plant.machines if m.line == line]
        weights = [self.store.weights(m.id, *period) for m in on_line]
        nothing = pl.DataFrame(schema={"at": pl.Datetime("us", "UTC"), "value": pl.Float64()})
        frames: dict[Measures, list[pl.DataFrame]] = {"rope diameter": [nothing], "rope temperature": [nothing]}
        for sizer in self.plant.machines_of(line, "sizer"):
            readings = self._gauges(sizer, period).filter(pl.col("quality") == "good")
            for measures, read in frames.items():
                gauge = sizer.gauge(measures)
                if gauge is not None:
                    read.append(readings.filter(pl.col("channel") == gauge.id).select("at", "value"))
        stacked = pl.concat(weights) if weights else pl.DataFrame(schema=WEIGHTS)
        diameter, temperature = (pl.concat(read) for read in frames.values())
        return LineInputs(line, self._batches([line], period), stacked, diameter, temperature)

    def _past(self, machine: Machine, span: tuple[datetime, datetime]) -> Past | None:
        read = self.store.span(machine.id)
        if read is None:
            return None
        start, end = max(span[0], read.start), span[1]
        if end <= start:
            return None
        cal = past_calendar(self.plant, start, end)
        if not cal.height:
            return None
        whole = (cal["start"][0], cal["end"][-1])
        counts = self.counts(machine, whole, exact_ends=True)
        return machine_past(self.plant, counts, self._batches([machine.line], whole), self._stops(machine, whole), cal)

    def _notes(self, lines: Sequence[str], span: tuple[datetime, datetime]) -> list[tuple[datetime, str]]:
        """What people noted on the machines of some lines, by time."""
        day = timedelta(days=2)
        notes = [
            (trial.begins_at, tr("trial {number}: {what}", number=trial.number, what=trial.what))
            for trial in trials_of(self.store)
            if trial.line in lines
        ]
        labels = {machine.id: machine.label for machine in self.plant.machines if machine.line in lines}
        entries = self.store.manual_entries(list(labels), "adjustment").filter(~pl.col("withdrawn"))
        for machine, at, what in entries.select("machine", "at", "what").iter_rows():
            if span[0] - day <= at < span[1] + day:
                notes.append((at, f"{labels[machine]}: {what}"))
        return sorted(notes)


def trials_of(store: StoreReader) -> list[Trial]:
    """All trials that stand, by number."""
    rows = store.trials().rename({"trial": "number"})
    return [Trial(**row) for row in rows.iter_rows(named=True)]


def trial_of(store: StoreReader, number: int) -> Trial:
    """The trial of a number.

    Parameters
    ----------
    store : StoreReader
        Where trials are kept.
    number : int
        Of the trial.

    Raises
    ------
    AskError
        Where there is none.
    """
    known = trials_of(store)
    trial = next((entry for entry in known if entry.number == number), None)
    if trial is None:
        numbers = ", ".join(str(trial.number) for trial in known)
        expected = tr("one of {names}", names=numbers) if known else tr("one that was noted: lineview trial add")
        raise AskError(Fault(tr("there is no trial {number}", number=number), "--trial", expected))
    return trial
