"""A table of readings under a layout: times, machines, names, numbers, in that order."""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from lineview.intake.bind import Bound, bind
from lineview.intake.clock_cells import joined_cells, must_be_times, settled_clock, to_moments
from lineview.intake.clock_read import read_clock
from lineview.intake.heading import Heading, same
from lineview.intake.number_cells import Evidence, evidence_of_all
from lineview.intake.outcome import Outcome, outcome, settled_marks
from lineview.intake.readings import (
    long_strips,
    machine_column,
    tidy_readings,
    unknown_names,
    wide_strips,
)
from lineview.intake.records import Records
from lineview.intake.rows import Rows, data_rows
from lineview.plant import Layout, Plant


def take_readings(
    tables: list[Records],
    heading: Heading,
    layout: Layout,
    plant: Plant,
    where: str,
    told: Callable[[int], None],
) -> Outcome:
    """Read a table of readings.

    Parameters
    ----------
    tables : list of Records
        One table, taken out of the list so that its cells can be let go of as they are read.
    heading : Heading
        Where its header is and what it says.
    layout : Layout
        Whose headers are all there.
    plant : Plant
        The plant description.
    where : str
        The file, for messages.
    told : callable
        Given the rows done.

    Returns
    -------
    Outcome
        READINGS and refusals.

    Raises
    ------
    IntakeError
        Where the layout cannot be used on this table at all.
    """
    records = tables.pop()
    bound = bind(layout, heading, plant, where)
    separator, typed = records.separator, records.is_sheet
    rows = data_rows(records, heading, _places(bound))
    del records
    rows, at, notes = _timed(rows, bound, plant, (where, typed, heading))
    for place in {*bound.times} - {*_value_places(bound)}:
        rows.release(place)
    told(rows.frame.height // 3)
    rows, at, machine, more = _owned(rows, at, bound, plant)
    marks = settled_marks(layout, lambda: _evidence(rows, bound), separator, where)
    long = layout.shape == "long"
    strips = long_strips(bound, rows, machine) if long else wide_strips(bound, rows, machine)
    tidy, cells, kept, uncertain = tidy_readings(rows, at, strips, marks, told)
    told(rows.frame.height)
    return outcome(layout, tidy, rows, kept, cells, (*notes, *more, *bound.notes), uncertain)


def _timed(
    rows: Rows, bound: Bound, plant: Plant, file: tuple[str, bool, Heading]
) -> tuple[Rows, pl.Series, tuple[str, ...]]:
    """Read the times; rows without one are refused or passed over."""
    where, typed, heading = file
    layout = bound.layout
    cells = joined_cells(rows, bound.times)
    plan = settled_clock(cells, layout, where, typed=typed)
    clock = read_clock(cells, plan.formats)
    key = None
    if bound.machine_place is not None or bound.name_place >= 0:
        places = [
            place for place in (bound.machine_place, bound.name_place) if place is not None and place >= 0
        ]
        key = pl.select(pl.concat_str([rows.column(place) for place in places], separator="\x1f")).to_series()
    times = to_moments(clock.naive, clock.moment, cells, layout, plant.zone, key)
    if times.reasons is None:
        return rows, times.at, times.notes
    timed = rows.without(times.reasons, heading.passed)
    if not timed.frame.height and timed.refused.height:
        must_be_times(clock, cells, layout, where)
    return timed, times.at.filter(times.reasons.is_null()), times.notes


def _owned(
    rows: Rows, at: pl.Series, bound: Bound, plant: Plant
) -> tuple[Rows, pl.Series, pl.Series | None, tuple[str, ...]]:
    """Settle each row's machine and, in a long table, its name; rows without are refused."""
    machine = machine_column(bound.machine_place, bound.machine, rows, plant)
    if machine is not None and machine.null_count():
        cells = rows.column(bound.machine_place or 0)
        why = pl.select(
            pl.when(machine.is_null()).then(pl.format("unknown machine '{}'", cells.str.strip_chars()))
        ).to_series()
        rows, at, machine = rows.without(why), at.filter(machine.is_not_null()), machine.drop_nulls()
    if bound.name_place < 0:
        return rows, at, machine, ()
    why = unknown_names(bound, rows)
    if not (count := len(why) - why.null_count()):
        return rows, at, machine, ()
    names = rows.column(bound.name_place).filter(why.is_not_null()).unique().sort().to_list()
    shown = ", ".join(f"'{name}'" for name in names[:8]) + (", …" if len(names) > 8 else "")
    note = f"{count} rows have names that are not in the layout: {shown}"
    fine = why.is_null()
    return rows.without(why), at.filter(fine), None if machine is None else machine.filter(fine), (note,)


def _places(bound: Bound) -> list[int]:
    """Give the columns that will be looked at."""
    return sorted({*bound.times, *_value_places(bound)})


def _value_places(bound: Bound) -> list[int]:
    wanted = [column.place for column in bound.columns]
    wanted += [column.quality for column in bound.columns if column.quality is not None]
    if bound.name_place >= 0:
        wanted += [bound.name_place, bound.value_place]
    wanted += [place for place in (bound.quality, bound.machine_place) if place is not None]
    return wanted


def _evidence(rows: Rows, bound: Bound) -> Evidence:
    """Gather what all number cells of the table say of its decimal mark."""
    if bound.name_place < 0:
        numeric = [c for c in bound.columns if not any(ch.is_text for ch in c.channels.values())]
        return evidence_of_all(rows.column(column.place) for column in numeric)
    texts = [n for n, owners in bound.names.items() if any(ch.is_text for ch in owners.values())]
    names = rows.column(bound.name_place)
    is_text = [name for name in names.unique().to_list() if same(name) in texts]
    values = rows.column(bound.value_place)
    return evidence_of_all([values.filter(~names.is_in(is_text)) if is_text else values])
