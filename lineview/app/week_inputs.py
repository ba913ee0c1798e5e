"""What the week's answer works on: each machine over the period, and its shifts of the thirteen weeks before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

import polars as pl

from lineview.app.inputs import Fetcher, keep
from lineview.app.second_scope import Pick, SecondScope, picks
from lineview.core.figure import Period
from lineview.core.frames import WEIGHTS
from lineview.plant import Machine
from lineview.report.answer import Scope
from lineview.week.account import HISTORY, LineInputs, MachineInputs, Past, WeekInputs, machine_past, past_calendar
from lineview.week.compare import Side
from lineview.week.material import cut_to_product, weighed_off_target

#: Machines whose past is kept for the next question.
PASTS_KEPT = 40


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
        pasts = [self._past(machine, (period[1] - HISTORY, min(period[1], scope.now))) for machine in read]
        return WeekInputs(
            [self._machine(machine, period) for machine in read],
            [self._line(line, period) for line in lines],
            [past for past in pasts if past is not None],
            self._noted(lines, (period[1] - HISTORY, period[1])),
            [] if against is None else self._compared(scope, tuple(machines), only, against),
        )

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
            counts = self.counts(machine, whole, whole=True)
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
        frames = [pl.DataFrame(schema={"at": pl.Datetime("us", "UTC"), "value": pl.Float64()})]
        for sizer in self.plant.machines_of(line, "sizer"):
            gauge = sizer.gauge("rope diameter")
            if gauge is not None:
                readings = self._gauges(sizer, period)
                own = readings.filter((pl.col("channel") == gauge.id) & (pl.col("quality") == "good"))
                frames.append(own.select("at", "value"))
        stacked = pl.concat(weights) if weights else pl.DataFrame(schema=WEIGHTS)
        return LineInputs(line, self._batches([line], period), stacked, pl.concat(frames))

    def _past(self, machine: Machine, span: tuple[datetime, datetime]) -> Past | None:
        read = self.store.span(machine.id)
        if read is None:
            return None
        start, end = max(span[0], read.start), span[1]
        if end <= start:
            return None
        work_out = partial(self._measure_past, machine, start, end)
        return keep(self.measured.pasts, (machine.id, start, end), work_out, PASTS_KEPT)

    def _measure_past(self, machine: Machine, start: datetime, end: datetime) -> Past | None:
        cal = past_calendar(self.plant, start, end)
        if not cal.height:
            return None
        whole = (cal["start"][0], cal["end"][-1])
        counts = self.counts(machine, whole, whole=True)
        return machine_past(self.plant, counts, self._batches([machine.line], whole), self._stops(machine, whole), cal)

    def _noted(self, lines: Sequence[str], span: tuple[datetime, datetime]) -> list[tuple[datetime, str]]:
        """What people noted on the machines of some lines, by time."""
        day = timedelta(days=2)
        noted = []
        for machine in self.plant.machines:
            if machine.line in lines:
                rows = self.store.adjustments(machine.id, span[0] - day, span[1] + day)
                noted += [(at, f"{machine.shown}: {what}") for at, what in rows.select("at", "what").iter_rows()]
        return sorted(noted)
