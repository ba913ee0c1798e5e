"""The time columns of a table for which a layout is proposed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import cast

import polars as pl

from lineview.core.errors import Fault, IntakeError
from lineview.core.language import mark, tr
from lineview.intake.cells.dateless import are_clocks, day_cells
from lineview.intake.cells.timestamp_columns import joined_cells
from lineview.intake.cells.timestamps import NUMERIC, ClockPlan, first_of, plan_clock, read_clock
from lineview.intake.detect.header import (
    CHANNELS,
    FIELD_WORDS,
    HALTED,
    TAKEN_OFF,
    TIME,
    Heading,
    recognised,
    says_running,
    tokens,
)
from lineview.intake.exports import Question
from lineview.intake.tidy.rows import Rows
from lineview.plant import ExportKind

_NUMBER = r"^\d+([.,]\d+)?(E0)?$"
_CLOCK = r"^(1899-12-3[01] )?\d{1,2}:\d{2}(:\d{2})?( ?[AaPp]\.?[Mm]\.?)?$"
#: Words of times that counters are headed with as well.
_OF_COUNTS = """
    counted gezählt compté contado contato geteld logged recorded measured eingelegt begin beginn start from von
    début debut inicio inizio
"""
#: The parts of a date by their letter in a format; any other is the year's.
_PARTS, _YEAR = {"d": mark("the day"), "m": mark("the month")}, mark("the year")
_ONLY_TIME = set(TIME) - set(_OF_COUNTS.split())
#: The two ways of spreadsheets to count days lie so far apart; exports so old are seldom set up.
_FROM_1904, _LONG_PAST = timedelta(days=1462), timedelta(days=1096)
#: Numbers are moments in these years only, and a file holds so many of them at most.
_FIRST, _LAST, _LONGEST = datetime(2000, 1, 1), datetime(2050, 1, 1), timedelta(days=3660)  # noqa: DTZ001 - wall time
#: A spreadsheet's serial that holds the time of day has so many decimals: a second is a hundred-thousandth.
_TIME_OF_DAY = r"[.,]\d{4,}"


@dataclass(frozen=True)
class FoundClock:
    """The time columns of a table, its format as a layout writes it, and what has to be asked."""

    places: tuple[int, ...]
    time_format: str
    question: Question | None = None


def time_shares(rows: Rows, heading: Heading) -> dict[int, float]:
    """Give for each column the share of its filled cells that read as a date and time."""
    shares = {}
    for place in range(heading.width):
        cells = _filled_cells(rows.column(place).head(2000))
        # "723" reads as a clock too, and says nothing of the day: a counter's numbers are judged as numbers
        plan = plan_clock(cells, "auto")
        plan = replace(plan, formats=tuple(form for form in plan.formats if not form.startswith(("%H", "%I"))))
        are_times = len(cells) > 0 and (not _of_numbers(plan) or _are_moments(cells, plan, heading.names[place]))
        shares[place] = _share(cells, plan) if are_times else 0.0
    return shares


def _of_numbers(plan: ClockPlan) -> bool:
    return bool(plan.formats) and plan.formats[0] in NUMERIC


def _are_moments(cells: pl.Series, plan: ClockPlan, header: str) -> bool:
    """Whether numbers can be moments at all: a counter's values look like a spreadsheet's days, or like seconds."""
    words = tokens(header)
    if recognised(header, CHANNELS) and not words & _ONLY_TIME:
        return False
    if (
        plan.formats[0] == "excel"
        and not words & set(TIME)
        and 2 * int(cells.str.contains(_TIME_OF_DAY).sum()) <= len(cells)
    ):
        return False
    clock = read_clock(cells, plan.formats)
    read = pl.concat([clock.naive, clock.moment.dt.replace_time_zone(None)]).drop_nulls()
    first, last = read.min(), read.max()
    if not isinstance(first, datetime) or not isinstance(last, datetime):
        return False
    return _FIRST <= first <= last < _LAST and last - first <= _LONGEST


def find_clock(
    rows: Rows, heading: Heading, shares: dict[int, float], *, typed: bool, now: datetime | None = None
) -> FoundClock | None:
    """Find the time of a table."""

    def is_numeric(place: int) -> bool:
        return bool(rows.column(place).head(50).str.contains(_NUMBER).mean() or 0)

    def rank(place: int) -> tuple[bool, bool, int]:
        words = tokens(heading.names[place])
        numeric = is_numeric(place)
        return bool(words & (_ONLY_TIME if numeric else set(TIME))), not numeric, -place

    fit = [place for place, share in shares.items() if share >= 0.5]
    if not fit:
        clocks = [
            p for p in range(heading.width) if are_clocks(rows.column(p)) and tokens(heading.names[p]) & set(TIME)
        ]
        plan = plan_clock(day_cells(rows.column(clocks[0])), "auto") if clocks else ClockPlan(())
        if plan.undecided:
            return _found_clock((clocks[0],), plan)
        return FoundClock((clocks[0],), "auto") if clocks else None
    best = max(fit, key=rank)
    if is_numeric(best) and not rank(best)[0] and len(fit) > 1:
        return None  # of several columns of numbers that could be moments none says that it is
    clock = _beside_clock(rows, best, heading.width, typed=typed)
    return _counted_from(clock, rows, now) if clock and clock.time_format == "excel" and now else clock


def begin_clock(
    kind: ExportKind, clock: FoundClock, rows: Rows, heading: Heading, file: tuple[Path, bool]
) -> FoundClock:
    """The times at which reels were put on, and stops and batches began; those at which they ended are no such."""
    words = [tokens(name) for name in heading.names]
    ends = TAKEN_OFF if kind == "reels" else {*FIELD_WORDS[kind]["end"]}
    ended = {place for place, header in enumerate(words) if header & ends}
    begins = {place for place, header in enumerate(words) if header & {*FIELD_WORDS[kind].get("start", ())}} - ended
    shares = {place: share for place, share in time_shares(rows, heading).items() if place not in ended}
    at_begin = {place: share for place, share in shares.items() if place in begins and share >= 0.5}
    if (at_begin and begins.isdisjoint(clock.places)) or not ended.isdisjoint(clock.places):
        other = find_clock(rows, heading, at_begin or shares, typed=file[1])
        if other is None or not ended.isdisjoint(other.places):
            header = heading.names[next((place for place in clock.places if place in ended), clock.places[0])]
            what = tr("the time '{header}' is an end: when it began is not written", header=header)
            do = tr("Export when each began, or was put on; if this is it, head the column 'Time'.")
            raise IntakeError(Fault(what, str(file[0]), tr("the time at which it began"), do))
        clock = other
    halts = [heading.names[place] for place, share in shares.items() if share >= 0.5 and words[place] & HALTED]
    if kind == "stops" and not begins.isdisjoint(clock.places) and halts:
        what = tr("'{header}' and a start: which begins the stop is open", header=halts[0])
        raise IntakeError(Fault(what, str(file[0]), tr("a begin and an end"), tr("Head them 'Begin' and 'End'.")))
    return clock


def must_be_stops(rows: Rows, heading: Heading, path: Path) -> None:
    """Raise where rows of a stop log say that the machine runs."""
    for place, header in enumerate(heading.names):
        running = [cell for cell in rows.column(place).unique(maintain_order=True) if says_running(header, cell)]
        if running and header:
            what = tr("rows of '{header}' say '{cell}': they are no stops", header=header, cell=running[0])
            raise IntakeError(Fault(what, str(path), tr("stops alone"), tr("Export the stops alone.")))


def _counted_from(clock: FoundClock, rows: Rows, now: datetime) -> FoundClock:
    """Ask whether days are counted from 1904 where they would be of these years so, and else long past."""
    cells = joined_cells(rows, clock.places)
    last = cast(datetime, read_clock(cells, ("excel",)).naive.max())
    later, today = last + _FROM_1904, now.replace(tzinfo=None)
    if last > today - _LONG_PAST or later > today + timedelta(days=2):
        return clock
    meanings = {"excel": (last, 1900), "excel 1904": (later, 1904)}
    options = tuple(
        (form, tr("from {year}: the last is of {day:%Y-%m-%d}", year=year, day=day))
        for form, (day, year) in meanings.items()
    )
    text = tr("'{example}': from which year are the days counted?", example=_filled_cells(cells)[-1])
    return replace(clock, question=Question("time_format", text, options))


def _beside_clock(rows: Rows, best: int, width: int, *, typed: bool) -> FoundClock | None:
    """The time in a column, or in it and a clock beside it."""
    places: tuple[int, ...] = (best,)
    # a workbook gives a date the midnight that nobody wrote
    texts = rows.column(best).str.replace(r"[ T]00:00:00(\.0+)?$", "") if typed else rows.column(best)
    if not texts.str.contains(r":|\d{4}T|[h]\d{2}|^\d+[.,]\d+(E0)?$|^\d{9,}$").any():
        clocks = [p for p in range(width) if p != best and _is_clock(rows.column(p))]
        places = (best, *clocks[:1])
    plan = plan_clock(joined_cells(rows, places), "auto", typed=typed)
    if not plan.formats:  # not a clock of its day after all
        if len(places) > 1 and _of_numbers(plan_clock(_filled_cells(rows.column(best)), "auto")):
            return None  # days as numbers beside a clock: without the clock all rows would be of midnight
        places, plan = (best,), plan_clock(rows.column(best), "auto", typed=typed)
    return _found_clock(places, plan)


def _found_clock(places: tuple[int, ...], plan: ClockPlan) -> FoundClock:
    if plan.undecided:
        options = tuple((form, first_of(form)) for form in plan.undecided)
        parts = (_PARTS.get(form[1:2], _YEAR) for form in plan.undecided)
        text = mark("'{example}': does {parts} come first?")
        text = tr(text, example=plan.example, parts=tr(" or ").join(tr(part) for part in parts))
        return FoundClock(places, plan.undecided[0], Question("time_format", text, options))
    form = plan.formats[0]
    return FoundClock(places, "iso" if form.startswith("%Y-") else form)


def _filled_cells(cells: pl.Series) -> pl.Series:
    bare = cells.str.strip_chars()
    return bare.filter(bare != "")


def _is_clock(cells: pl.Series) -> bool:
    filled = _filled_cells(cells.head(500))
    return int(filled.str.contains(_CLOCK).sum()) * 2 > len(filled)


def _share(cells: pl.Series, plan: ClockPlan) -> float:
    if not plan.formats:
        return 0.0
    clock = read_clock(cells, plan.formats)
    return 1 - int((clock.naive.is_null() & clock.moment.is_null()).sum()) / len(cells)
