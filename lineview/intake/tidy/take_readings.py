"""A table of readings under a layout: times, machines, names, numbers, in that order."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import PurePath
from typing import Protocol

import polars as pl

from lineview.core.language import tr
from lineview.intake import refusal_reasons
from lineview.intake.cells.dateless import are_clocks, date_in, dated
from lineview.intake.cells.far_times import FarTimes, far_times
from lineview.intake.cells.numbers import NumberSeparators, SeparatorCounts, evidence_of_all
from lineview.intake.cells.quality import judge
from lineview.intake.cells.timestamp_columns import (
    Times,
    as_marked,
    gap_notes,
    joined_cells,
    must_be_times,
    must_have_24_hours,
    to_moments,
)
from lineview.intake.cells.timestamps import Clock, plan_clock, read_clock, settled_clock
from lineview.intake.detect.delimited import Records
from lineview.intake.detect.header import Heading, same
from lineview.intake.layout.bind import BoundLayout, bind
from lineview.intake.outcome import Outcome, outcome, settled_marks
from lineview.intake.tidy.counts import CountReadings
from lineview.intake.tidy.readings import (
    ChannelColumn,
    long_strips,
    machine_column,
    tidy_readings,
    unknown_names,
    wide_strips,
)
from lineview.intake.tidy.rows import Rows, data_rows
from lineview.plant import Layout, Plant


class Settled(Protocol):
    """What is settled once for all rows of a file; `where` names it in messages."""

    @property
    def where(self) -> str:
        """The file, for messages."""

    @property
    def name(self) -> str:
        """The file's name and the sheet's, where a date may stand."""

    def formats(self, cells: pl.Series) -> tuple[str, ...]:
        """The formats of time cells."""

    def timed(self, clock: Clock, cells: pl.Series) -> None:
        """Look at the times before they are brought to UTC."""

    def far(self, at: pl.Series) -> FarTimes:
        """Say which moments cannot be meant."""

    def marks(self, evidence_of_rows: Callable[[], SeparatorCounts]) -> NumberSeparators:
        """Say how numbers are written."""

    def judged(self, strip: ChannelColumn) -> pl.Series | None:
        """The quality of a strip's cells; None where all are good."""


@dataclass(frozen=True)
class WholeTable:
    """What all cells of one table settle together."""

    layout: Layout
    separator: str
    where: str
    now: datetime | None = None
    sheet: str = ""

    @property
    def name(self) -> str:
        """The file's name and the sheet's, where a date may stand."""
        return f"{PurePath(self.where).name} {self.sheet}"

    def formats(self, cells: pl.Series) -> tuple[str, ...]:
        """The formats of time cells."""
        return settled_clock(cells, self.layout, self.where, typed=not self.separator).formats

    def timed(self, clock: Clock, cells: pl.Series) -> None:
        """Look whether the clock has twelve hours and does not say which."""
        must_have_24_hours(clock.naive, self.where)

    def far(self, at: pl.Series) -> FarTimes:
        """Say which moments cannot be meant."""
        return far_times(at, self.layout, self.now, self.where)

    def marks(self, evidence_of_rows: Callable[[], SeparatorCounts]) -> NumberSeparators:
        """Say how numbers are written."""
        return settled_marks(self.layout, evidence_of_rows, self.separator, self.where)

    def judged(self, strip: ChannelColumn) -> pl.Series | None:
        """The quality of a strip's cells; None where all are good."""
        return None if strip.quality is None else judge(strip.quality)


@dataclass(frozen=True)
class TakenRows:
    """What rows gave, and what is to be said of them.

    `tidy`: READINGS; `rows`: with the rows refused or passed over before; `is_kept`: which of the rows gave at least
    one reading; `cells`: REFUSED cells; `uncertain`: readings of uncertain quality; `by_gap`: times of the
    repeated hour that only the gaps beside them tell; `unnamed`: rows by their name, where the layout does not
    have it.
    """

    tidy: pl.DataFrame
    rows: Rows
    is_kept: pl.Series
    cells: pl.DataFrame
    uncertain: int
    by_gap: int = 0
    notes: tuple[str, ...] = ()
    unnamed: Mapping[str, int] = field(default_factory=dict)


def take_readings(
    tables: list[Records],
    heading: Heading,
    layout: Layout,
    plant: Plant,
    where: str,
    progress: Callable[[int], None],
    now: datetime | None = None,
) -> Outcome:
    """Read a table of readings."""
    bound = bind(layout, heading, plant, where)
    table_facts = WholeTable(layout, tables[0].separator, where, now, tables[0].sheet)
    result = take_rows(tables, heading, bound, plant, table_facts, progress)
    notes = (*result.notes, *gap_notes(result.by_gap), *name_notes(result.unnamed), *bound.notes)
    return outcome(layout, result.tidy, result.rows, result.is_kept, result.cells, notes, result.uncertain)


def take_rows(
    tables: list[Records],
    heading: Heading,
    bound: BoundLayout,
    plant: Plant,
    facts: Settled,
    progress: Callable[[int], None],
) -> TakenRows:
    """Read the rows of a table, or of a piece of one, of readings."""
    rows = data_rows(tables.pop(), heading, sorted({*bound.times, *value_places(bound)}))
    rows, times = _read_times(rows, bound, plant, facts, heading)
    for place in {*bound.times} - {*value_places(bound)}:
        rows.release(place)
    progress(rows.frame.height // 3)
    rows, at, machine, unnamed = _owner_of_rows(rows, times.at, bound, plant)
    marks = facts.marks(lambda: evidence_of(rows, bound))
    long = bound.layout.shape == "long"
    counts = CountReadings(bound.layout, plant, facts.where)
    strips = long_strips(bound, rows, machine) if long else wide_strips(bound, rows, machine)
    tidy, cells, is_kept, uncertain = tidy_readings(rows, at, strips, marks, facts.judged, counts, progress)
    progress(rows.frame.height)
    notes = (*times.notes, *counts.notes)
    return TakenRows(tidy, rows, is_kept, cells, uncertain, times.by_gap, notes, unnamed)


def name_notes(unnamed: Mapping[str, int]) -> tuple[str, ...]:
    """Say which names of a long table the layout does not have."""
    if not unnamed:
        return ()
    names = sorted(unnamed)
    listed = ", ".join(f"'{name}'" for name in names[:8]) + (", …" if len(names) > 8 else "")
    return (tr("{rows} rows have names that are not in the layout: {names}", rows=sum(unnamed.values()), names=listed),)


def _read_times(rows: Rows, bound: BoundLayout, plant: Plant, facts: Settled, heading: Heading) -> tuple[Rows, Times]:
    """Read the times; rows without one are refused or passed over."""
    layout = bound.layout
    cells = joined_cells(rows, bound.times)
    if len(bound.times) == 1 and are_clocks(cells):
        cells = dated(cells, date_in([*heading.preamble, facts.name]), layout, facts.where)
        clock = read_clock(cells, plan_clock(cells, "auto").formats)
    else:
        clock = as_marked(cells, read_clock(cells, facts.formats(cells)), layout, plant.zone, facts.where)
    facts.timed(clock, cells)
    key = None
    if bound.machine_place is not None or bound.name_place >= 0:
        places = [place for place in (bound.machine_place, bound.name_place) if place is not None and place >= 0]
        key = pl.select(pl.concat_str([rows.column(place) for place in places], separator="\x1f")).to_series()
    times = to_moments(clock.naive, clock.moment, cells, layout, plant.zone, key)
    times = times.without(facts.far(times.at), cells)
    if times.reasons is None:
        return rows, times
    timed = rows.without(times.reasons, heading.passed)
    if timed.refused.height:
        must_be_times(clock, cells, layout, facts.where)
    return timed, replace(times, at=times.at.filter(times.reasons.is_null()))


def _owner_of_rows(
    rows: Rows, at: pl.Series, bound: BoundLayout, plant: Plant
) -> tuple[Rows, pl.Series, pl.Series | None, dict[str, int]]:
    """Settle each row's machine and, in a long table, its name; rows without are refused."""
    machine = machine_column(bound.machine_place, bound.machine, rows, plant)
    if machine is not None and machine.null_count():
        cells = rows.column(bound.machine_place or 0)
        why = pl.select(
            pl.when(machine.is_null()).then(pl.format(refusal_reasons.UNKNOWN_MACHINE, cells.str.strip_chars()))
        ).to_series()
        rows, at, machine = rows.without(why), at.filter(machine.is_not_null()), machine.drop_nulls()
    if bound.name_place < 0:
        return rows, at, machine, {}
    why = unknown_names(bound, rows)
    if why.null_count() == len(why):
        return rows, at, machine, {}
    names = rows.column(bound.name_place).filter(why.is_not_null())
    unnamed = dict(names.value_counts().iter_rows())
    fine = why.is_null()
    return rows.without(why), at.filter(fine), None if machine is None else machine.filter(fine), unnamed


def value_places(bound: BoundLayout) -> list[int]:
    """The columns that will be looked at besides the times."""
    places = [place for column in bound.columns for place in (column.place, *column.lanes)]
    places += [column.quality for column in bound.columns if column.quality is not None]
    if bound.name_place >= 0:
        places += [bound.name_place, bound.value_place]
    places += [place for place in (bound.quality, bound.machine_place) if place is not None]
    return places


def evidence_of(rows: Rows, bound: BoundLayout) -> SeparatorCounts:
    """Gather what all number cells of rows say of the decimal mark."""
    if bound.name_place < 0:
        numeric = [c for c in bound.columns if not any(ch.is_text for ch in c.channels.values())]
        places = [place for column in numeric for place in (column.place, *column.lanes)]
        return evidence_of_all(rows.column(place) for place in places)
    texts = [n for n, owners in bound.names.items() if any(ch.is_text for ch in owners.values())]
    names = rows.column(bound.name_place)
    is_text = [name for name in names.unique().to_list() if same(name) in texts]
    values = rows.column(bound.value_place)
    return evidence_of_all([values.filter(~names.is_in(is_text)) if is_text else values])
