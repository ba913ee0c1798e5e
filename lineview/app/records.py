"""Records kept up to date: what is stale is worked out from its readings, a machine and month at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from io import BytesIO
from threading import Lock
from typing import Any

import numpy as np
import polars as pl

from lineview.core.errors import Fault, StoreError
from lineview.core.frames import UTC_US
from lineview.core.language import tr
from lineview.core.record_frames import COMPUTED_FROM, RECORDS, WINDOWS
from lineview.machine.calendar import calendar
from lineview.machine.likeliest import planned_time
from lineview.plant import Machine, Plant
from lineview.records.make import Edges, make_record, record_rows
from lineview.records.readings import MachineReadings
from lineview.records.stale import BATCH_BEFORE_US, code_mark, event_marks, intakes_of, is_stale, plant_mark
from lineview.records.windows import cut, windows
from lineview.store.frames import micros
from lineview.store.reader import StoreReader
from lineview.store.record_table import RecordTable, WeekFiles
from lineview.wrap.learning import AFTER_US, BEFORE_US

#: How far beside a period the nearest readings are looked for, first near, then further.
BESIDE = (timedelta(days=4), timedelta(days=40), timedelta(days=4000))
#: Parts of windows that are kept for the next question about the same period.
PARTS_KEPT = 16
#: How often records that cannot be read back are made again before it is reported.
READ_AGAIN = 4
#: So many months of a machine are written in one commit.
WRITTEN_TOGETHER = 4
_INDEX = [*WINDOWS, *COMPUTED_FROM, "readings"]

Progress = Callable[[str, int, int], None]


class RecordKeeper:
    """Records of a works, fresh whenever they are asked for.

    `table`: where they are kept; `writing`: gives a context in which nobody else writes to the store, or False in
    it where somebody does; `weeks`: what lines' weeks came to.
    """

    def __init__(
        self, table: RecordTable, writing: Callable[[], AbstractContextManager[bool]], weeks: WeekFiles
    ) -> None:
        self._table, self.weeks = table, weeks
        self._writing = writing
        self._locks: dict[str, Lock] = {}
        self._unsaved: dict[str, pl.DataFrame] = {}
        self._verified: dict[tuple[str, str, str, int], tuple[datetime, datetime]] = {}
        self._parts: dict[tuple[object, ...], pl.DataFrame] = {}
        self.made = 0

    def of(
        self,
        store: StoreReader,
        plant: Plant,
        machine: Machine,
        period: tuple[datetime, datetime],
        columns: Sequence[str],
        *,
        exact_ends: bool = False,
    ) -> pl.DataFrame:
        """Records of a machine over a period, and the nearest one with readings on either side."""
        columns = list(dict.fromkeys(["start", "end", "shift", "readings", "first_read", "last_read", *columns]))
        extents = store.reading_extents(machine.id)
        if extents.is_empty():
            return pl.DataFrame(schema={name: RECORDS[name] for name in columns})
        there = _moment(extents["first"].min()), _moment(extents["last"].max())
        for beside in BESIDE:
            start, end = max(period[0] - beside, there[0]), min(period[1] + beside, there[1])
            if end < start:
                continue
            records = self._fresh(store, plant, machine, extents, (start, end), columns)
            near = _around(records, period)
            enough_before = start <= there[0] or bool((near["start"] < period[0]).any())
            enough_after = end >= there[1] or bool((near["end"] > period[1]).any())
            if enough_before and enough_after:
                break
        else:
            near = pl.DataFrame(schema={name: RECORDS[name] for name in columns})
        if exact_ends:
            return near
        return self._cut(store, plant, machine, _trim(near, period, there), period, columns)

    def _fresh(
        self,
        store: StoreReader,
        plant: Plant,
        machine: Machine,
        extents: pl.DataFrame,
        span: tuple[datetime, datetime],
        columns: Sequence[str],
    ) -> pl.DataFrame:
        """Records of the months between two moments, made again where what was kept turns out broken."""
        for _ in range(READ_AGAIN):
            losses = self._table.losses
            self._verify(store, plant, machine, extents, span)
            records = self._read(machine.id, _months(*span), columns)
            if self._table.losses == losses:
                return records
        what = tr("records that were just written cannot be read back")
        raise StoreError(Fault(what, "store/records", tr("the bytes as written"), tr("Check the disk")))

    def update(
        self, store: StoreReader, plant: Plant, progress: Progress | None = None, *, rebuild: bool = False
    ) -> int:
        """Bring every record up to date; give how many were worked out."""
        count_before = self.made
        for machine in plant.machines:
            extents = store.reading_extents(machine.id)
            if not extents.is_empty():
                span = _moment(extents["first"].min()), _moment(extents["last"].max())
                self._verify(store, plant, machine, extents, span, progress, rebuild=rebuild)
        with self._writing() as may_write:
            if may_write:
                self._table.tidy_up()
        return self.made - count_before

    def content(self, plant: Plant) -> dict[str, str]:
        """A digest of every record that is kept, by machine and month."""
        digests = {}
        for machine in plant.machines:
            for month in self._table.months(machine.id):
                rows = self._table.read(machine.id, [month], list(RECORDS)[2:])
                body = BytesIO()
                rows.write_ipc(body)
                digests[f"{machine.id} {month}"] = sha256(body.getvalue()).hexdigest()
        return digests

    def _verify(
        self,
        store: StoreReader,
        plant: Plant,
        machine: Machine,
        extents: pl.DataFrame,
        span: tuple[datetime, datetime],
        progress: Progress | None = None,
        *,
        rebuild: bool = False,
    ) -> None:
        """Work out what is stale between two moments, and look whether anything else of their months is."""
        key = (machine.id, store.version(), plant_mark(plant, machine), self._table.losses)
        with self._locks.setdefault(machine.id, Lock()):
            verified = self._verified.get(key)
            if verified is not None and verified[0] <= span[0] and span[1] <= verified[1] and not rebuild:
                return
            there = _moment(extents["first"].min()), _moment(extents["last"].max())
            wide = _to_months(span, there)
            expected = self._expected_windows(store, plant, machine, extents, wide)
            stored = self._read(machine.id, _months(*wide), _INDEX)
            stale = expected if rebuild else expected.filter(is_stale(stored, expected))
            obsolete = stored.join(
                expected.select("start", "end"), on=["start", "end"], how="anti", maintain_order="left"
            )
            beyond = ~_within(there)  # beyond all readings since an intake was undone: no span would reach it again
            dropped, obsolete = obsolete.filter(_within(span) | beyond), obsolete.filter(_within(wide) & ~beyond)
            now = stale.filter(_within(span))
            if now.height or dropped.height:
                self._work_out(store, plant, machine, now, dropped, progress)
            later = pl.concat([stale.select("start", "end"), obsolete.select("start", "end")]).filter(~_within(span))
            self._verified = {k: v for k, v in self._verified.items() if k[0] != machine.id}
            self._verified[key] = _up_to(later, span, wide)

    def _expected_windows(
        self, store: StoreReader, plant: Plant, machine: Machine, extents: pl.DataFrame, span: tuple[datetime, datetime]
    ) -> pl.DataFrame:
        """The windows that have readings, with what their records would be worked out from now."""
        frame = windows(plant.shifts, plant.zone, *span)
        stretches = [store.event_stretches("batches", machine.line), store.event_stretches("reels", machine.id)]
        frame = frame.with_columns(
            intakes=pl.Series(intakes_of(frame, extents), dtype=pl.List(pl.Int64())),
            events=pl.Series(event_marks(frame, stretches), dtype=pl.String),
            plant=pl.lit(plant_mark(plant, machine)),
            code=pl.lit(code_mark()),
        )
        return frame.filter(pl.col("intakes").list.len() > 0)

    def _work_out(
        self,
        store: StoreReader,
        plant: Plant,
        machine: Machine,
        stale: pl.DataFrame,
        obsolete: pl.DataFrame,
        progress: Progress | None,
    ) -> None:
        """Make the records of stale windows, a month at a time, and put them in place of the old ones."""
        month = pl.col("start").dt.strftime("%Y-%m")
        touched = pl.concat([stale.select("start"), obsolete.select("start")]).select(month.unique(maintain_order=True))
        done = 0
        waiting: dict[str, tuple[pl.DataFrame, pl.DataFrame]] = {}
        names = sorted(touched["start"].to_list())
        for name in names:
            windows_of = stale.filter(month == name).sort("start")
            rows = self._records(store, plant, machine, windows_of)
            replaced = pl.concat([windows_of.select("start", "end"), obsolete.select("start", "end")])
            waiting[name] = rows, replaced
            done += rows.height
            if len(waiting) == WRITTEN_TOGETHER or name == names[-1]:
                self._add(machine.id, waiting)
                waiting = {}
            if progress is not None:
                progress(machine.id, done, stale.height)

    def _read(self, machine: str, months: Sequence[str], columns: Sequence[str]) -> pl.DataFrame:
        """Records of some months, those not yet saved in the place of older ones."""
        stored = self._table.read(machine, months, columns)
        unsaved = self._unsaved.get(machine)
        if unsaved is None:
            return stored
        newer = unsaved.filter(pl.col("month").is_in(list(months)))
        stored = stored.join(newer.select("start", "end"), on=["start", "end"], how="anti", maintain_order="left")
        return pl.concat([stored, newer.select(columns)]).sort("start")

    def _add(self, machine: str, new_records: Mapping[str, tuple[pl.DataFrame, pl.DataFrame]]) -> None:
        """Put new records, by month with the windows (start, end) that they replace, in the table."""
        others = self._others(machine, pl.concat([replaced for _, replaced in new_records.values()]))
        with self._writing() as may_write:
            if may_write:
                self._save(machine, new_records, others)
            else:  # an intake is at work: the answer does not wait for it
                self._unsaved[machine] = pl.concat([others, *(rows for rows, _ in new_records.values())])
        self.made += sum(rows.height for rows, _ in new_records.values())

    def _others(self, machine: str, replaced: pl.DataFrame) -> pl.DataFrame:
        """Records not yet saved, but those of these windows."""
        unsaved = self._unsaved.get(machine, pl.DataFrame(schema=RECORDS))
        return unsaved.join(replaced, on=["start", "end"], how="anti", maintain_order="left")

    def _save(
        self, machine: str, new_records: Mapping[str, tuple[pl.DataFrame, pl.DataFrame]], waiting: pl.DataFrame
    ) -> None:
        """Write new records, and those of the same months not yet saved, in the place of old ones."""
        parts = {}
        for month, (rows, replaced) in new_records.items():
            new = pl.concat([rows, waiting.filter(pl.col("month") == month)])
            obsolete = pl.concat([replaced, new.select("start", "end")])
            parts[machine, month] = pl.concat([self._rest_of_month(machine, month, obsolete), new])
        self._table.replace(parts)
        remaining = waiting.filter(~pl.col("month").is_in(list(new_records)))
        self._unsaved.pop(machine, None)
        if remaining.height:
            self._unsaved[machine] = remaining

    def _rest_of_month(self, machine: str, month: str, replaced: pl.DataFrame) -> pl.DataFrame:
        """The records of a month but those of some windows (start, end)."""
        there = self._table.read(machine, [month], ["start", "end"])
        if there.join(replaced, on=["start", "end"], how="anti", maintain_order="left").is_empty():
            return pl.DataFrame(schema=RECORDS)
        old = self._table.read(machine, [month], list(RECORDS)[2:])
        old = old.join(replaced, on=["start", "end"], how="anti", maintain_order="left")
        marks = pl.lit(machine).alias("machine"), pl.lit(month).alias("month")
        return old.select(*marks, *list(RECORDS)[2:])

    def _records(self, store: StoreReader, plant: Plant, machine: Machine, windows_due: pl.DataFrame) -> pl.DataFrame:
        """Make the record of each window, given in order with what it is worked out from."""
        if not windows_due.height:
            return pl.DataFrame(schema=RECORDS)
        start, end = windows_due["start"][0], windows_due["end"][-1]
        readings = MachineReadings(machine, store.channel_readings(machine.id, start, end))
        cal = calendar(plant.shifts, plant.zone, start - timedelta(days=1), end + timedelta(days=1))
        planned = planned_time(cal)
        events = _Events(store, plant, machine, (start, end), cal)
        starts_us, ends_us = (windows_due[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
        records: list[dict[str, Any]] = []
        for row, inside in zip(windows_due.iter_rows(named=True), readings.within(starts_us, ends_us), strict=True):
            edges = events.within(row["start"], row["end"])
            values = make_record(machine, inside, edges, planned, gap_s=plant.gap_s)
            month = f"{row['start'].astimezone(UTC):%Y-%m}"
            records.append({**values, **row, "machine": machine.id, "month": month})
        return record_rows(records)

    def _cut(
        self,
        store: StoreReader,
        plant: Plant,
        machine: Machine,
        near: pl.DataFrame,
        period: tuple[datetime, datetime],
        columns: list[str],
    ) -> pl.DataFrame:
        """Replace the records of windows that the period's ends lie in by those of their parts."""
        over = pl.lit(False)
        for moment in period:
            at = pl.lit(moment, dtype=UTC_US)
            # A window all of whose readings lie on one side is as it would be cut.
            over = over | ((pl.col("first_read") < at) & (pl.col("last_read") >= at))
        halved = near.filter(over)
        if not halved.height:
            return near
        nothing = [pl.lit(None, dtype=RECORDS[name]).alias(name) for name in ("shift", "date", *COMPUTED_FROM)]
        parts = cut(halved.select("start", "end", *nothing[:2]), period).with_columns(nothing)
        key = (machine.id, store.version(), plant_mark(plant, machine), tuple(parts["start"]), tuple(parts["end"]))
        parts_records = self._parts.get(key)
        if parts_records is None:
            parts_records = self._records(store, plant, machine, parts)
            self._parts = dict([*self._parts.items(), (key, parts_records)][-PARTS_KEPT:])
        return pl.concat([near.filter(~over), parts_records.select(columns)]).sort("start")


class _Events:
    """What happened on a machine over some windows, to cut its counts at."""

    def __init__(
        self, store: StoreReader, plant: Plant, machine: Machine, span: tuple[datetime, datetime], cal: pl.DataFrame
    ) -> None:
        start, end = span
        sheet = store.batches(machine.line, start - timedelta(microseconds=BATCH_BEFORE_US), end)
        sheet = sheet.filter(pl.col("start").is_not_null()).sort("start", maintain_order=True)
        self._batch_us = sheet["start"].dt.epoch("us").to_numpy()
        self._ended_us = sheet["end"].dt.epoch("us").fill_null(-1).to_numpy()
        self._products = [name or "" for name in sheet["product"].to_list()]
        near = start - timedelta(microseconds=AFTER_US), end + timedelta(microseconds=BEFORE_US)
        reels, *breaks = (at.dt.epoch("us") for at in (store.reels(machine.id, *near)["at"], cal["start"], cal["end"]))
        mounted = reels.drop_nulls()
        self._moments_us = pl.concat([mounted, mounted - BEFORE_US, mounted + AFTER_US, *breaks]).to_numpy()
        self._tz = plant.tz

    def within(self, start: datetime, end: datetime) -> Edges:
        """The moments within a window, its products and its days."""
        first_us, last_us = micros(start), micros(end)
        first, last = (start.astimezone(self._tz).date(), (end - timedelta(microseconds=1)).astimezone(self._tz).date())
        days = [first + timedelta(days=k) for k in range((last - first).days + 1)]
        begins = [datetime.combine(day, datetime.min.time(), tzinfo=self._tz) for day in days[1:]]
        midnights = np.array([micros(begin) for begin in begins], dtype=np.int64)
        # A record must be the same whatever other windows are made with it: an older batch is not seen.
        batches = slice(*np.searchsorted(self._batch_us, [first_us - BATCH_BEFORE_US, last_us]).tolist())
        moments = (self._moments_us, midnights, self._batch_us[batches], self._ended_us[batches])
        inside = np.concatenate([part[(part > first_us) & (part < last_us)] for part in moments])
        products = tuple(self._products[batches])
        return Edges(np.unique(inside).astype(np.int64), self._batch_us[batches], products, midnights, tuple(days))


def _around(records: pl.DataFrame, period: tuple[datetime, datetime]) -> pl.DataFrame:
    """Records that touch a period, and the nearest with readings before and after it, a shift's included.

    What an unread gap at the period's edge most likely held is judged by the shifts on either side of it.
    """
    starts, ends = (records[side].to_physical().to_numpy() for side in ("start", "end"))
    start_us, end_us = map(micros, period)
    read, in_shift = records["readings"].to_numpy() > 0, records["shift"].is_not_null().to_numpy()
    before, after = np.flatnonzero(read & (ends <= start_us)), np.flatnonzero(read & (starts >= end_us))
    earlier, later = before[in_shift[before]], after[in_shift[after]]
    before = before[starts[before] >= starts[earlier[-1]]] if len(earlier) else before[-1:]
    after = after[starts[after] <= starts[later[0]]] if len(later) else after[:1]
    touching = np.flatnonzero((ends > start_us) & (starts < end_us))
    near = np.concatenate((before, touching, after))
    # a stretch of records is not copied: those of gauges hold a season of readings
    return records.slice(near[0], near.size) if near.size and (np.diff(near) == 1).all() else records[near]


def _within(span: tuple[datetime, datetime]) -> pl.Expr:
    """Windows that hold any moment of a span."""
    return (pl.col("end") > span[0]) & (pl.col("start") <= span[1])


def _up_to(
    stale: pl.DataFrame, span: tuple[datetime, datetime], wide: tuple[datetime, datetime]
) -> tuple[datetime, datetime]:
    """How far around a span no window is stale."""
    before = stale.filter(pl.col("end") <= span[0])["end"].max()
    after = stale.filter(pl.col("start") > span[1])["start"].min()
    low, high = wide
    if isinstance(before, datetime):
        low = max(low, before)
    if isinstance(after, datetime):
        high = min(high, after - timedelta(microseconds=1))
    return low, high


def _to_months(span: tuple[datetime, datetime], there: tuple[datetime, datetime]) -> tuple[datetime, datetime]:
    """Widen a span to the months [UTC] that it touches, as far as there are readings."""
    first, after = span[0].astimezone(UTC).replace(day=1), span[1].astimezone(UTC).replace(day=1)
    after = (after + timedelta(days=32)).replace(day=1)
    midnight = {"hour": 0, "minute": 0, "second": 0, "microsecond": 0}
    start, end = first.replace(**midnight), after.replace(**midnight)  # type: ignore[arg-type]  # all are int
    return min(span[0], max(start, there[0])), max(span[1], min(end, there[1]))


def _trim(near: pl.DataFrame, period: tuple[datetime, datetime], there: tuple[datetime, datetime]) -> pl.DataFrame:
    """Shorten windows to the period at an end beyond all readings: nothing in their records is left out."""
    start, end = (pl.lit(moment, dtype=UTC_US) for moment in period)
    early = (pl.col("start") < start) & (pl.col("end") > start) & pl.lit(period[0] <= there[0])
    late = (pl.col("start") < end) & (pl.col("end") > end) & pl.lit(period[1] > there[1])
    untouched = ~(early | late)
    names = [name for name in ("shift", "date") if name in near.columns]
    parts = [pl.when(untouched).then(name).alias(name) for name in names]
    return near.with_columns(
        *parts, start=pl.when(early).then(start).otherwise("start"), end=pl.when(late).then(end).otherwise("end")
    )


def _months(start: datetime, end: datetime) -> list[str]:
    """The months that windows between two moments may begin in [UTC]."""
    first = start.astimezone(UTC) - timedelta(days=2)
    out = [f"{first:%Y-%m}"]
    at = first.replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    while (at := (at + timedelta(days=32)).replace(day=1)) <= end:
        out.append(f"{at:%Y-%m}")
    return out


def _moment(at_us: object) -> datetime:
    if not isinstance(at_us, int):
        raise TypeError(at_us)
    return datetime.fromtimestamp(at_us / 1e6, UTC)
