"""The time columns of a table for which a layout is proposed."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.intake.cells.dateless import are_clocks
from lineview.intake.cells.timestamp_columns import first_of, joined_cells
from lineview.intake.cells.timestamps import ClockPlan, plan_clock, read_clock
from lineview.intake.detect.header import TIME, Heading, tokens
from lineview.intake.detect.sheets import Question
from lineview.intake.tidy.rows import Rows

_CLOCK = r"^(1899-12-3[01] )?\d{1,2}:\d{2}(:\d{2})?( ?[AaPp]\.?[Mm]\.?)?$"


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
        cells = _filled(rows.column(place).head(2000))
        shares[place] = _share(cells, plan_clock(cells, "auto")) if len(cells) else 0.0
    return shares


def find_clock(rows: Rows, heading: Heading, shares: dict[int, float], *, typed: bool) -> FoundClock | None:
    """Find the time of a table."""

    def rank(place: int) -> tuple[bool, bool, int]:
        header = heading.names[place]
        numeric = bool(rows.column(place).head(50).str.contains(r"^\d+([.,]\d+)?(E0)?$").mean() or 0)
        return bool(tokens(header) & set(TIME)), not numeric, -place

    fit = [place for place, share in shares.items() if share >= 0.5]
    if not fit:
        clocks = [
            p for p in range(heading.width) if are_clocks(rows.column(p)) and tokens(heading.names[p]) & set(TIME)
        ]
        return FoundClock((clocks[0],), "auto") if clocks else None
    best = max(fit, key=rank)
    places: tuple[int, ...] = (best,)
    # a workbook gives a date the midnight that nobody wrote
    written = rows.column(best).str.replace(r"[ T]00:00:00(\.0+)?$", "") if typed else rows.column(best)
    if not written.str.contains(r":|\d{4}T|[h]\d{2}|^\d+[.,]\d+(E0)?$|^\d{9,}$").any():
        clocks = [p for p in range(heading.width) if p != best and _is_clock(rows.column(p))]
        places = (best, *clocks[:1])
    plan = plan_clock(joined_cells(rows, places), "auto", typed=typed)
    if not plan.formats:  # not a clock of its day after all
        places, plan = (best,), plan_clock(rows.column(best), "auto", typed=typed)
    return _settled(places, plan)


def _settled(places: tuple[int, ...], plan: ClockPlan) -> FoundClock:
    if plan.undecided:
        options = tuple((form, first_of(form)) for form in plan.undecided)
        text = f"'{plan.example}': does {' or '.join(f'the {what[:-6]}' for _, what in options)} come first?"
        return FoundClock(places, plan.undecided[0], Question("time_format", text, options))
    form = plan.formats[0]
    return FoundClock(places, "iso" if form.startswith("%Y-") else form)


def _filled(cells: pl.Series) -> pl.Series:
    bare = cells.str.strip_chars()
    return bare.filter(bare != "")


def _is_clock(cells: pl.Series) -> bool:
    filled = _filled(cells.head(500))
    return int(filled.str.contains(_CLOCK).sum()) * 2 > len(filled)


def _share(cells: pl.Series, plan: ClockPlan) -> float:
    dated = [form for form in plan.formats if not form.startswith(("%H", "%I"))]
    if not dated:
        return 0.0
    clock = read_clock(cells, dated)
    return 1 - int((clock.naive.is_null() & clock.moment.is_null()).sum()) / len(cells)
