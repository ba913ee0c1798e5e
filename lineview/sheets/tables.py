"""An answer as a spreadsheet: the same figures as the board, as XLSX; no cell is ever a formula."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from lineview.core.figure import Figure
from lineview.core.language import in_digits, in_english, mark, tr, tr_in
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import OF_ROW, QUESTION_NAMES, Answer, Table
from lineview.report.tables import heading, row_decimals, table_places, table_text

#: Spreadsheets refuse these in a sheet's name, and more than 31 characters.
NOT_IN_NAMES = str.maketrans(dict.fromkeys("[]:*?/\\'", " "))


def to_xlsx(answer: Answer, plant: Plant) -> bytes:
    """Write an answer as a workbook: a sheet of figures, one a table, one of notes.

    Parameters
    ----------
    answer : Answer
        Of any question.
    plant : Plant
        Shop name, zone and units; values and tables are in its units, workings in the metric ones.

    Returns
    -------
    bytes
        An XLSX file.
    """
    import xlsxwriter

    memory = BytesIO()
    options: dict[str, Any] = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    options |= {"strings_to_numbers": False, "default_date_format": "yyyy-mm-dd hh:mm", "nan_inf_to_errors": True}
    book = xlsxwriter.Workbook(memory, options)
    writer = _SheetWriter(book, plant.tz)
    names: set[str] = set()
    first = book.add_worksheet(_name(tr(QUESTION_NAMES[answer.question]).capitalize(), names))
    upto = tr("readings up to {moment}", moment=show.moment(answer.scope.now, plant, year=True))
    head = [plant.shop, answer.scope.label, *([upto] if answer.figures else [])]
    lead = [head, [answer.text], [answer.soft], *([point] for point in answer.points)]
    writer.write(first, lead)
    if answer.figures:
        writer.write_table(
            first, [[tr(words) for words in _HEAD], *(_figure(f, plant) for f in answer.figures)], {}, at=len(lead) + 1
        )
    for table in answer.tables:
        sheet = book.add_worksheet(_name(table.title, names))
        places = table_places(table, plant)
        writer.write_table(sheet, _table(table, plant), {c: places[key] for c, (key, _, _) in enumerate(table.columns)})
    notes = book.add_worksheet(_name(tr("Notes and cautions"), names))
    notes.set_column(0, 0, 110, writer.wrapped)
    writer.write(notes, [[text] for text in (*answer.notes, *answer.cautions)])
    book.close()
    return memory.getvalue()


#: Narrowest and widest column [letters].
WIDTHS = (9, 60)


class _SheetWriter:
    """Writes cells with their formats: numbers with their places, days, moments, wrapped text."""

    def __init__(self, book: Any, zone: ZoneInfo) -> None:
        self._book, self._zone = book, zone
        self._head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        self._day = book.add_format({"num_format": "yyyy-mm-dd", "valign": "top"})
        self._moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm", "valign": "top"})
        self.wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        self._numbers: dict[tuple[int, str], Any] = {}

    def write_table(
        self, sheet: Any, rows: Sequence[Sequence[Any]], places: Mapping[int, int | None], at: int = 0
    ) -> None:
        """Write a heading that stays in sight and can be filtered by, and rows below it, as wide as they are."""
        self.write(sheet, rows[1:], places, at + 1)
        for c, words in enumerate(rows[0]):
            sheet.write_string(at, c, words, self._head)
            longest = max((self._letters(row[c]) for row in rows[1:]), default=0)
            by_words = max(map(len, words.split()), default=0) + 4  # beside the filter's button
            sheet.set_column(c, c, min(WIDTHS[1], max(WIDTHS[0], longest + 1, by_words)))
        sheet.freeze_panes(at + 1, 1)
        if len(rows) > 1:
            sheet.autofilter(at, 0, at + len(rows) - 1, len(rows[0]) - 1)

    def write(
        self, sheet: Any, rows: Sequence[Sequence[Any]], places: Mapping[int, int | None] | None = None, at: int = 0
    ) -> None:
        """Write rows of cells; what is not known stays empty."""
        for r, row in enumerate(rows, start=at):
            for c, content in enumerate(row):
                self._cell(sheet, (r, c), content, (places or {}).get(c))

    def _cell(self, sheet: Any, at: tuple[int, int], content: Any, places: int | None) -> None:
        if content is None:
            return
        if isinstance(content, datetime):  # a spreadsheet knows no zones: wall time of the plant
            sheet.write_datetime(*at, content.astimezone(self._zone).replace(tzinfo=None), self._moment)
        elif isinstance(content, date):
            sheet.write_datetime(*at, content, self._day)
        elif isinstance(content, _Measured):
            sheet.write(*at, content.value, self._number(content.places, content.unit))
        elif isinstance(content, bool):
            sheet.write_string(*at, _words(content))
        elif isinstance(content, int | float):
            sheet.write(*at, content, self._number(_places(content) if places is None else places))
        else:
            words = _words(content)
            sheet.write_string(*at, words, self.wrapped if len(words) > WIDTHS[1] and at[1] else None)

    def _number(self, places: int, unit: str = "") -> Any:
        if (places, unit) not in self._numbers:
            pattern = "#,##0" + (f".{'0' * places}" if places else "") + (f' "{unit}"' if unit else "")
            self._numbers[places, unit] = self._book.add_format({"num_format": pattern, "valign": "top"})
        return self._numbers[places, unit]

    @staticmethod
    def _letters(content: Any) -> int:
        if isinstance(content, datetime):
            return 16
        if isinstance(content, _Measured):
            return len(f"{content.value:,.{content.places}f} {content.unit}")
        if isinstance(content, bool) or not isinstance(content, int | float):
            return 0 if content is None else len(_words(content))
        return len(f"{content:,.{min(_places(content), 3)}f}")


def _words(content: Any) -> str:
    """A text or a fact as the works' language has it."""
    if isinstance(content, bool):
        return tr_in("of a fact", "yes") if content else tr_in("of a fact", "no")
    return tr(str(content))


def _places(value: float) -> int:
    return show.decimals_of(value) if math.isfinite(value) else 0


_HEAD = (
    *(mark("figure"), mark("value"), mark("low"), mark("high"), mark("unit"), mark("interval"), "n", mark("period")),
    *(mark("working"), mark("sources")),
)


def _figure(figure: Figure, plant: Plant) -> list[Any]:
    ends = [_in_plant_units(end, figure.unit, plant) for end in (figure.low, figure.high)]
    value = figure.why_none if figure.value is None else _in_plant_units(figure.value, figure.unit, plant)
    period = show.period(figure.period, plant) if figure.period else ""
    kind = "" if figure.why_none else figure.interval_kind
    sources = ", ".join(figure.sources)
    return [
        figure.label,
        value,
        *ends,
        show.unit_words(figure.unit, plant.units),
        kind,
        figure.n,
        period,
        figure.working,
        sources,
    ]


def _table(table: Table, plant: Plant) -> list[list[Any]]:
    head, mixed = [heading(words, unit, plant) for _, words, unit in table.columns], row_decimals(table, plant)
    return [head, *(_cells(table, at, mixed, plant) for at in range(len(table.rows)))]


@dataclass(frozen=True)
class _Measured:
    """A number with the unit it is written with."""

    value: float
    places: int
    unit: str


def _cells(table: Table, at: int, mixed: Sequence[int | None], plant: Plant) -> list[Any]:
    row, cells = table.rows[at], []
    for key, _, unit in table.columns:
        content = _in_plant_units(row.get(key), row["unit"] if unit == OF_ROW else unit, plant)
        if unit == OF_ROW and content is not None:
            content = _Measured(content, mixed[at] or 0, show.unit_words(row["unit"], plant.units))
        cells.append(content)
    return cells


def _in_plant_units(content: Any, unit: str, plant: Plant) -> Any:
    """A number in the plant's units; anything else as it is."""
    if isinstance(content, bool) or not isinstance(content, int | float):
        return content
    return content if plant.units == "metric" else in_units(content, unit, plant.units)[0]


#: Characters of a sheet's name, with room for a number after it: a workbook takes 31.
MOST_NAME = 28


def _name(title: str, earlier: set[str]) -> str:
    plain = title.translate(NOT_IN_NAMES).strip()
    plain = (plain if len(plain) <= MOST_NAME else plain[: MOST_NAME + 1].rsplit(" ", 1)[0])[:MOST_NAME] or tr("table")
    name, count = plain, 2
    while name.casefold() in earlier:
        name, count = f"{plain} {count}", count + 1
    earlier.add(name.casefold())
    return name


#: A spreadsheet takes a cell that begins with one of these for a formula or a command.
RISKY = r"^[=+\-@\t\r]"


def guard_formulas(frame: pl.DataFrame) -> pl.DataFrame:
    """Put an apostrophe before text that a spreadsheet would take for a formula.

    Parameters
    ----------
    frame : polars.DataFrame
        Any; only its text columns are looked at.

    Returns
    -------
    polars.DataFrame
        The same columns and rows.

    Examples
    --------
    >>> guard_formulas(pl.DataFrame({"text": ["=1+1", "12"]}))["text"].to_list()
    ["'=1+1", '12']
    """
    text = pl.col(pl.String)
    return frame.with_columns(pl.when(text.str.contains(RISKY)).then("'" + text).otherwise(text).name.keep())


def to_csv(answer: Answer, plant: Plant) -> bytes:
    """Write an answer's first table that has rows.

    Parameters
    ----------
    answer : Answer
        Of any question.
    plant : Plant
        Units and zone.

    Returns
    -------
    bytes
        UTF-8 with a byte-order mark, which spreadsheets want; text that would run as a formula is defused. Where the
        works' language has a decimal comma, columns stand apart by semicolons, as its spreadsheets take them.
    """
    table = next((t for t in answer.tables if t.rows), None)
    if table is None:
        return b"\xef\xbb\xbf"
    text = table_text(table, plant)
    plain = [[in_english(cell).replace("\N{MINUS SIGN}", "-").replace(",", "") for cell in row] for row in text.rows]
    point = in_digits(".")
    numbers = [
        all(row[c] in ("", "–") or row[c].replace(".", "", 1).removeprefix("-").isdigit() for row in plain)
        for c in range(len(text.headings))
    ]
    cells = [
        [p.replace(".", point) if numbers[c] else r for c, (p, r) in enumerate(zip(*both, strict=True))]
        for both in zip(plain, text.rows, strict=True)
    ]
    frame = pl.DataFrame(cells, schema=_unique(text.headings), orient="row")
    names = [n for n, number in zip(frame.columns, numbers, strict=True) if not number]
    safe = frame.with_columns(guard_formulas(frame.select(names))) if names else frame
    return b"\xef\xbb\xbf" + safe.write_csv(separator=";" if point == "," else ",").encode("utf-8")


def _unique(headings: list[str]) -> list[str]:
    counts: dict[str, int] = {}
    names = []
    for text in (name or " " for name in headings):  # a column without a name would be given one
        counts[text] = counts.get(text, 0) + 1
        names.append(text if counts[text] == 1 else f"{text} ({counts[text]})")
    return names
