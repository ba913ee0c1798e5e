"""An answer as a spreadsheet: the same figures as the board, as XLSX; no cell is ever a formula."""

from __future__ import annotations

from datetime import date, datetime
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from lineview.core.figure import Figure
from lineview.core.units import in_units
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer, Table
from lineview.report.show import heading
from lineview.sheets.pdf import table_text

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
    bold = book.add_format({"bold": True})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    first = book.add_worksheet(answer.question.capitalize())
    first.set_column(0, 0, 44)
    first.set_column(1, 4, 16)
    first.set_column(5, 9, 34)
    _rows(first, [[plant.shop, answer.scope.label], [answer.text], [answer.soft], []], plant.tz, day)
    _rows(first, [_HEAD, *(_figure(f, plant) for f in answer.figures)], plant.tz, day, at=4)
    first.set_row(4, None, bold)
    names: set[str] = {answer.question}
    for table in answer.tables:
        sheet = book.add_worksheet(_name(table.title, names))
        sheet.set_column(0, len(table.columns), 20)
        _rows(sheet, _table(table, plant), plant.tz, day)
        sheet.set_row(0, None, bold)
    notes = book.add_worksheet(_name("Notes and cautions", names))
    notes.set_column(0, 0, 110, wrap)
    _rows(notes, [[text] for text in (*answer.notes, *answer.cautions)], plant.tz, day)
    book.close()
    return memory.getvalue()


_HEAD = ["figure", "value", "low", "high", "unit", "interval", "n", "period", "working", "sources"]


def _figure(figure: Figure, plant: Plant) -> list[Any]:
    ends = [_shown(one, figure.unit, plant) for one in (figure.low, figure.high)]
    value = figure.why_none if figure.value is None else _shown(figure.value, figure.unit, plant)
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
    head = [heading(words, unit, plant) for _, words, unit in table.columns]
    return [head, *([_shown(row.get(key), unit, plant) for key, _, unit in table.columns] for row in table.rows)]


def _shown(content: Any, unit: str, plant: Plant) -> Any:
    """A number in the plant's units; anything else as it is."""
    if isinstance(content, bool) or not isinstance(content, int | float):
        return content
    return content if plant.units == "metric" else in_units(content, unit, plant.units)[0]


def _name(title: str, taken: set[str]) -> str:
    plain = title.translate(NOT_IN_NAMES).strip()[:28] or "table"
    name, count = plain, 2
    while name.casefold() in taken:
        name, count = f"{plain} {count}", count + 1
    taken.add(name.casefold())
    return name


def _rows(sheet: Any, rows: list[list[Any]], zone: ZoneInfo, day: Any, at: int = 0) -> None:
    for r, row in enumerate(rows, start=at):
        for c, content in enumerate(row):
            if content is None:
                continue
            if isinstance(content, datetime):  # a spreadsheet knows no zones: wall time of the plant
                sheet.write_datetime(r, c, content.astimezone(zone).replace(tzinfo=None))
            elif isinstance(content, date):
                sheet.write_datetime(r, c, content, day)
            elif isinstance(content, bool | int | float):
                sheet.write(r, c, content)
            else:
                sheet.write_string(r, c, str(content))


#: A spreadsheet takes a cell that begins with one of these for a formula or a command.
RISKY = r"^[=+\-@\t\r]"


def guarded(frame: pl.DataFrame) -> pl.DataFrame:
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
    >>> guarded(pl.DataFrame({"text": ["=1+1", "12"]}))["text"].to_list()
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
        UTF-8 with a byte-order mark, which spreadsheets want; text that would run as a formula is defused.
    """
    table = next((t for t in answer.tables if t.rows), None)
    if table is None:
        return b"\xef\xbb\xbf"
    headings, rows, _ = table_text(table, plant)
    plain = [[cell.replace("\N{MINUS SIGN}", "-").replace(",", "") for cell in row] for row in rows]
    numbers = [all(_is_number(row[c]) for row in plain) for c in range(len(headings))]
    cells = [
        [p if numbers[c] else r for c, (p, r) in enumerate(zip(*both, strict=True))]
        for both in zip(plain, rows, strict=True)
    ]
    text = pl.DataFrame(cells, schema=[f"{h}" for h in _unique(headings)], orient="row")
    names = [n for n, number in zip(text.columns, numbers, strict=True) if not number]
    safe = text.with_columns(guarded(text.select(names))) if names else text
    return b"\xef\xbb\xbf" + safe.write_csv().encode("utf-8")


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).removeprefix("-").isdigit() or text in ("", "–")


def _unique(headings: list[str]) -> list[str]:
    seen: dict[str, int] = {}
    names = []
    for text in (name or " " for name in headings):  # a column without a name would be given one
        seen[text] = seen.get(text, 0) + 1
        names.append(text if seen[text] == 1 else f"{text} ({seen[text]})")
    return names
