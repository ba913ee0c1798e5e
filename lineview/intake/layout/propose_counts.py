"""What the counters of a proposed layout count, recognised from their values or asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import time

import polars as pl

from lineview.core.errors import IntakeError
from lineview.core.language import mark, tr
from lineview.intake.cells.counting import (
    Floats,
    Ints,
    leaves_out_zeros,
    on_change,
    stamped_at,
    sum_rows,
    usual_step_us,
    what_counts,
)
from lineview.intake.cells.far_times import far_times
from lineview.intake.cells.numbers import NumberSeparators, parse_numbers
from lineview.intake.cells.timestamp_columns import localise
from lineview.intake.cells.timestamps import Clock
from lineview.intake.exports import Question
from lineview.plant import ColumnTarget, Counter, Layout, Plant

_MEANINGS = {
    "total": mark("all that the counter has counted"),
    "since last row": mark("what came since the row before"),
    "since shift start": mark("what came since the shift began: it restarts"),
    "down": mark("what is left of a preset: it counts down"),
}
#: Rows of sums stand this far apart at least [µs].
_APART_US = 600_000_000


@dataclass
class Counts:
    """What is known of a layout's counters: columns with their counting, settings, questions and notes."""

    columns: dict[str, ColumnTarget]
    settings: dict[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def recognise_counts(
    columns: Mapping[str, ColumnTarget],
    part_of: Callable[[str], Counter | None],
    cells_of: Callable[[str], pl.Series | None],
    at: pl.Series,
    marks: NumberSeparators,
    plant: Plant,
) -> Counts:
    """Recognise what each counter's cells say, and whose moments the rows carry.

    Takes `part_of` a target's counter, `cells_of` a header's cells beside `at`, null in another's rows.
    """
    counts = Counts(dict(columns))
    read: list[tuple[Ints, Floats]] = []
    differences: tuple[Ints, Floats] | None = None
    for header, target in columns.items():
        counter, cells = part_of(target.to), cells_of(header)
        if counter is None or cells is None:
            continue
        frame = pl.DataFrame({"at": at, "value": parse_numbers(cells, marks)[0]}).drop_nulls().sort("at")
        at_us, value = frame["at"].to_physical().to_numpy(), frame["value"].to_numpy()
        plain = ~sum_rows(value)
        at_us, value = at_us[plain], value[plain]
        if len(value) < 2:
            continue
        read.append((at_us, value))
        guess = what_counts(at_us, value, counter, plant)
        if guess.counting not in ("total", counter.counting):
            if guess.sure:
                counts.columns[header] = target.model_copy(update={"counting": guess.counting})
                text = mark("'{header}' is read as {meaning}, by its values")
                counts.notes.append(tr(text, header=header, meaning=tr(_MEANINGS[guess.counting])))
            else:
                counts.questions.append(_counting_question(header, guess.counting))
        if guess.counting == "since last row":
            differences = differences or (at_us, value)
    if differences is not None:
        _settle_stamps(*differences, plant, counts)
        if leaves_out_zeros(*differences):
            counts.questions.append(_on_change_question(tr("no row says 0, and some are left out: what do those say?")))
    elif read and all(len(value) == len(read[0][1]) for _, value in read):
        _ask_on_change(read, plant, counts)
    return counts


def _counting_question(header: str, likeliest: str) -> Question:
    options = [likeliest, *(name for name in _MEANINGS if name not in (likeliest, "down"))]
    choices = tuple((name, tr(_MEANINGS[name])) for name in options)
    return Question(f"counting of {header}", tr("what does a row of '{header}' say?", header=header), choices)


def _settle_stamps(at_us: Ints, value: Floats, plant: Plant, counts: Counts) -> None:
    """Settle whether a row's moment ends or begins what it counts, or ask."""
    side = stamped_at(at_us, value, plant)
    if side == "start":
        counts.settings["stamps"] = side
        counts.notes.append(tr("a row's time is the start of what it counts: so all of it lies within shifts"))
    elif not side and usual_step_us(at_us) >= _APART_US:
        options = (("end", tr("it ends what the row counts")), ("start", tr("it begins what the row counts")))
        text = tr("what is the time of a row to what it counts?")
        local = pl.Series(at_us).cast(pl.Datetime("us", "UTC")).dt.convert_time_zone(plant.zone)
        if (local.dt.time() == time()).all():
            options = (("start", tr("the day of its date")), ("end", tr("the day before its date")))
            text = tr("a row has a date and no clock: what does it count?")
        counts.questions.append(Question("stamps", text, options))


def _ask_on_change(read: list[tuple[Ints, Floats]], plant: Plant, counts: Counts) -> None:
    """Ask whether rows are written only when a value changes, where they look so."""
    if on_change(read[0][0], [value for _, value in read], plant.gap_s):
        text = tr("no row repeats the one before, and some come late: what happened in the gaps?")
        counts.questions.append(_on_change_question(text))


def _on_change_question(text: str) -> Question:
    options = (
        ("true", tr("rows are written only when a value changes: it stood still in between")),
        ("false", tr("nothing was read in between")),
    )
    return Question("on_change", text, options)


def moments_of(clock: Clock, zone: str) -> pl.Series:
    """The moments of rows [UTC], wall-clock times in a zone; none far from the others."""
    at = localise(clock.naive, zone).at
    at = at.zip_with(at.is_not_null(), clock.moment)
    try:
        far = far_times(at, Layout(id="proposed"), None, "").far
    except IntakeError:  # said when the file is read
        return at
    return at if far is None else at.set(far, None)
