"""Which columns of an unknown table hold its time, and in which format."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineview.intake.clock_plan import ClockPlan, plan_clock
from lineview.intake.clock_read import read_clock
from lineview.intake.export import Question
from lineview.intake.header_words import TIME, tokens
from lineview.intake.heading import Heading
from lineview.intake.rows import Rows

_CLOCK = r"^(1899-12-3[01] )?\d{1,2}:\d{2}(:\d{2})?( ?[AaPp]\.?[Mm]\.?)?$"


@dataclass(frozen=True)
class FoundClock:
    """The time columns of a table, its format as a layout writes it, and what has to be asked."""

    places: tuple[int, ...]
    time_format: str
    question: Question | None = None


def time_shares(rows: Rows, heading: Heading) -> dict[int, float]:
    """Give for each column the share of its filled cells that read as a date and time.

    Parameters
    ----------
    rows : Rows
        Under the heading.
    heading : Heading
        Of the table.
    """
    shares = {}
    for place in range(heading.width):
        cells = _filled(rows.column(place).head(2000))
        shares[place] = _share(cells, plan_clock(cells, "auto")) if len(cells) else 0.0
    return shares


def find_clock(rows: Rows, heading: Heading, shares: dict[int, float], *, typed: bool) -> FoundClock | None:
    """Find the time of a table.

    Parameters
    ----------
    rows : Rows
        With all columns.
    heading : Heading
        Of the table.
    shares : mapping of int to float
        As time_shares gives them.
    typed : bool
        Whether the cells come from a workbook.

    Returns
    -------
    FoundClock or None
        None where no column reads as a time.
    """

    def rank(place: int) -> tuple[bool, bool, int]:
        header = heading.names[place]
        numeric = bool(rows.column(place).head(50).str.contains(r"^\d+([.,]\d+)?(E0)?$").mean() or 0)
        return bool(tokens(header) & set(TIME)), not numeric, -place

    fit = [place for place, share in shares.items() if share >= 0.5]
    if not fit:
        return None
    best = max(fit, key=rank)
    places: tuple[int, ...] = (best,)
    if not rows.column(best).str.contains(r":|\d{4}T|[h]\d{2}|^\d+([.,]\d+)?(E0)?$").any():
        clocks = [p for p in range(heading.width) if p != best and _is_clock(rows.column(p))]
        places = (best, *clocks[:1])
    cells = rows.column(best)
    if len(places) == 2:
        cells = pl.select(pl.concat_str([rows.column(p) for p in places], separator=" ")).to_series()
    return _settled(places, plan_clock(cells, "auto", typed=typed))


def _settled(places: tuple[int, ...], plan: ClockPlan) -> FoundClock:
    if plan.undecided:
        day, month = plan.undecided
        question = Question(
            "time_format",
            f"'{plan.example}': does the day or the month come first?",
            ((day, "day first"), (month, "month first")),
        )
        return FoundClock(places, day, question)
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
