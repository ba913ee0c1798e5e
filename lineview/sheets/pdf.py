"""An answer on printed paper: the same figures as the board, as PDF."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from importlib.resources import files
from textwrap import shorten
from typing import Any

from lineview.charts.render import pictures
from lineview.charts.style import ChartStyle
from lineview.charts.svg import to_svg
from lineview.core.language import mark, spoken, tr
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import QUESTION_NAMES, Answer, Column, Table, columns_of
from lineview.report.figure_table import FIGURES
from lineview.report.tables import FIGURE_HEADINGS, TableText, figure_text, table_text

#: Rows of each table on the sheet; tables not named here stay on the board.
ROWS = {
    "ladder": 14,
    "next": 5,
    "stops": 10,
    "reasons": 8,
    "shifts": 8,
    "found changeovers": 6,
    "changeovers": 6,
    "order": 12,
    "ledger of losses": 20,
    "patterns": 4,
    "trends": 8,
    "lasting changes": 6,
    "open points": 5,
    "shift notes": 4,
}
#: Of a sheet that hands over.
FEWER = {"stops": 5, "reasons": 4, "changeovers": 3, "found changeovers": 3, "next": 4}
HANDOVER_TABLES = ("open points", "shift notes")
#: Characters of a cell of the tables that people wrote, so that one long note leaves room for the others.
MOST_SIGNS = 130
#: Columns too wide for half a sheet, and of the order what only its working needs.
_LEFT_OUT = {
    "reels for pieces": ("working", "net", "proportional", "fixed"),
    "stops": ("end",),
    "shifts": ("planned", "stood", "unseen"),
    "found changeovers": ("end",),
    "changeovers": ("shortest_min", "longest_min"),
    "trends": ("slope_low", "slope_high"),
    "patterns": ("number", "minutes", "chance"),
}

#: Answers that are printed on one sheet, for the hand-over of a shift and for Monday.
ONE_SHEET = ("shift", "week")
#: Tables as wide as the sheet, above the two columns.
WIDE = ("ledger of losses", "trends", *HANDOVER_TABLES)
#: Tables of the left column; the others stand on the right.
SIDE_TABLES = ("ladder", "reasons", "key figures", "lasting changes")


def handover(answer: Answer) -> list[Table]:
    """The tables that are printed; a sheet that hands over has fewer rows of the others, so that it stays one page."""
    if answer.question == "order":
        return [replace(table, columns=_without(table, _LEFT_OUT.get(table.name, ()))) for table in answer.tables]
    if answer.question not in ONE_SHEET:
        return list(answer.tables)
    names = {table.name for table in answer.tables if table.rows}
    rows = ROWS | FEWER if names & set(HANDOVER_TABLES) else ROWS
    return [_shortened(table, rows[table.name]) for table in answer.tables if table.name in ROWS]


def _shortened(table: Table, most: int) -> Table:
    rows, title = list(table.rows), table.title
    if table.name == "ledger of losses":
        rows = _sum_others(table, most)
    if table.name == "stops" and len(rows) > most:
        longest = sorted(rows, key=lambda row: -row["minutes"])[:most]
        title = tr("The {most} longest stops", most=most)
        rows = [row for row in rows if row in longest]
    columns = _without(table, _LEFT_OUT.get(table.name, ()))
    if table.name in HANDOVER_TABLES:
        rows = [{key: _short(cell) for key, cell in row.items()} for row in rows]
    if table.name in ("reasons", "changeovers", *HANDOVER_TABLES) and len(rows) > most:
        title = tr("{title}, {shown} of {all}", title=title, shown=most, all=len(rows))
    return replace(table, title=title, columns=columns, rows=rows[:most])


def _without(table: Table, left_out: Sequence[str]) -> tuple[Column, ...]:
    return tuple(column for column in table.columns if column[0] not in left_out)


def _short(cell: Any) -> Any:
    return shorten(cell, MOST_SIGNS, placeholder=" …") if isinstance(cell, str) else cell


def _sum_others(table: Table, most: int) -> list[Mapping[str, Any]]:
    """The first rows of a table that ends with its sum, the rest added up in one: it still adds up."""
    *rows, total = table.rows
    if len(table.rows) <= most:
        return list(table.rows)
    first_rows, others_rows = rows[: most - 2], rows[most - 2 :]
    others: dict[str, Any] = {table.columns[0][0]: tr("{count} other rows", count=len(others_rows))}
    for key, _, _ in table.columns[1:]:
        numbers = [row[key] for row in others_rows if isinstance(row.get(key), int | float)]
        others[key] = round(sum(numbers), 6) if numbers else None
    return [*first_rows, others, total]


#: Rows of a table that a printed page shows; the rest is counted.
ROWS_SHOWN = 14
RUNS = ("running", "slow")
#: Where a column has a text of more letters, or a page has no room for all of them, columns of text share what numbers
#: leave by their letters, up to so many each. A line has so many letters: of few columns, of many, of one sheet.
LONG, MOST_SHARE, MANY, LETTERS, GAP = 40, 60, 9, (112, 148, 136), 2
#: On the order's sheet: what is bought first, the stock's picture of each web after it, the figures not at all.
ELSEWHERE = mark("Every figure with its interval and its working is in the workbook (XLSX) and on the page.")


def to_pdf(answer: Answer, plant: Plant) -> bytes:
    """Print an answer.

    Parameters
    ----------
    answer : Answer
        Of any question; a shift's timeline is drawn.
    plant : Plant
        Shop name, units and zone.

    Returns
    -------
    bytes
        A PDF.
    """
    import typst

    template = files("lineview.sheets").joinpath("page.typ").read_bytes()
    data = {"answer": json.dumps(_page(answer, plant))}
    pdf: bytes = typst.compile(template, format="pdf", sys_inputs=data)
    return pdf


def _page(answer: Answer, plant: Plant) -> dict[str, Any]:
    timeline, hours = _timeline(answer, plant)
    printed = [table for table in (*handover(answer), *_key_figures(answer, plant)) if table.rows]
    widths = (
        SIDE_TABLES[:2] if any(table.name in HANDOVER_TABLES for table in printed) else SIDE_TABLES
    )  # with few stops there is room there
    low, high, top = _band(answer, plant)
    is_short = answer.question in (*ONE_SHEET, "order")
    return {
        "title": f"{plant.shop}: {tr(QUESTION_NAMES[answer.question])}",
        "language": spoken(),
        "paper": "a4" if plant.units == "metric" else "us-letter",
        "footer": _footer(answer, plant),
        "shop": plant.shop,
        "scope": f"{answer.about(plant)} · {answer.scope.label}" if answer.figures else answer.scope.label,
        "sentence": [{"text": span.text, "call": span.call} for span in answer.sentence],
        "soft": answer.soft,
        "points": list(answer.points),
        "timeline": timeline,
        "pictures": _pictures(answer, plant),
        "band": {"bottom": low / top, "height": (high - low) / top},
        "hours": hours,
        "timeline-legend": tr("Height: pieces a minute; pale: the nominal band; hatched: standing."),
        "one-sheet": answer.question in ONE_SHEET,
        "tables-first": answer.question == "order",
        "tables": [_table(table, plant, widths, answer.question in ONE_SHEET) for table in printed],
        "figures": [] if is_short else [figure_text(figure, plant) for figure in answer.figures],
        "figures-title": tr("Figures"),
        "figure-headings": [tr(heading) for heading in FIGURE_HEADINGS],
        "notes": [*answer.notes, tr(ELSEWHERE)]
        if answer.question == "order" and answer.figures
        else list(answer.notes),
        "cautions": list(answer.cautions),
    }


def _footer(answer: Answer, plant: Plant) -> str:
    """Shop, question and how far readings go; what has no figures goes to others, who need not know that."""
    status = (
        tr("readings up to {moment}", moment=show.moment(answer.scope.now, plant, year=True))
        if answer.figures
        else answer.scope.label
    )
    return f"{plant.shop} · {tr(QUESTION_NAMES[answer.question])} · {status}"


#: Width and height of a picture of half a page's width [px].
HALF_PX = (390, 220)


def _pictures(answer: Answer, plant: Plant) -> list[dict[str, Any]]:
    """The board's open pictures, and of the order those of all webs; one sheet has its timeline or its ledger."""
    if answer.question in ONE_SHEET:
        return []
    wide = [p for p in pictures(answer, ChartStyle(plant)) if p.first]
    half = [p for p in pictures(answer, ChartStyle(plant, narrow=True)) if not p.first and answer.question == "order"]
    svgs = [to_svg(p) for p in wide] + [to_svg(replace(p, height=HALF_PX[1]), HALF_PX[0]) for p in half]
    return [
        {"title": picture.title, "svg": svg, "wide": picture.first}
        for picture, svg in zip((*wide, *half), svgs, strict=True)
    ]


def _key_figures(answer: Answer, plant: Plant) -> list[Table]:
    """Of a shift, the figures whose rows in the table of figures say that they are printed."""
    printed = [f for f in answer.figures if f.name in FIGURES and FIGURES[f.name].printed]
    rows = [{"name": f.label, "value": show.value(f, plant) if f.value is not None else None} for f in printed]
    columns = columns_of("name: key figure; value")
    return [Table("key figures", tr("Key figures (ISO 22400-2)"), columns, rows)] if answer.question == "shift" else []


def _band(answer: Answer, plant: Plant) -> tuple[float, float, float]:
    machine = plant.machine(answer.scope.machine)
    low, high = machine.nominal_per_min if machine else (300.0, 400.0)
    return low, high, high * 1.1


def _timeline(answer: Answer, plant: Plant) -> tuple[list[dict[str, Any]], list[str]]:
    frame = answer.series.get("timeline")
    if answer.question != "shift" or frame is None or frame.is_empty():
        return [], []
    starts: list[datetime] = frame["start"].to_list()
    ends: list[datetime] = frame["end"].to_list()
    first, last = min(starts), max(ends)
    span_s = (last - first).total_seconds()
    top = _band(answer, plant)[2]
    rectangles = []
    for row in frame.iter_rows(named=True):
        runs = row["state"] in RUNS
        minutes = (row["end"] - row["start"]).total_seconds() / 60
        rate = (row["pieces"] or 0.0) / minutes if minutes else 0.0
        if row["state"] in ("break", "unseen"):
            continue
        rectangles.append(
            {
                "x": (row["start"] - first).total_seconds() / span_s,
                "width": minutes * 60 / span_s,
                "height": min(1.0, rate / top) if runs else 0.6,
                "runs": runs,
            }
        )
    marks = [first + timedelta(seconds=span_s * k / 8) for k in range(8)]
    return rectangles, [show.moment(mark, plant, day=False) for mark in marks]


def _shares(text: TableText, one_sheet: bool) -> list[float]:
    """What each column takes of the page, so that no word is cut or lies on the next; 0 for as much as it needs."""
    columns = list(zip(*text.rows, strict=True)) or [()] * len(text.headings)
    longest = [max(map(len, cells), default=0) for cells in columns]
    in_one_line = [max(n, len(heading)) for n, heading in zip(longest, text.headings, strict=True)]
    letters = LETTERS[2 if one_sheet else len(columns) > MANY]
    is_long, is_wide = max(longest, default=0) > LONG, sum(in_one_line) + GAP * len(columns) > letters
    if not (is_wide and 2 * sum(text.numbers) > len(columns) if one_sheet else is_long or is_wide):
        return [0] * len(columns)
    kept = [
        GAP + max([len(word) for cell in (heading, *cells * (not number)) for word in cell.split(" ")] + [n * number])
        for heading, cells, n, number in zip(text.headings, columns, longest, text.numbers, strict=True)
    ]
    wished = [
        max((len(heading) // 2 + GAP if number else min(MOST_SHARE, n)) - least, 0)
        for heading, n, least, number in zip(text.headings, longest, kept, text.numbers, strict=True)
    ]
    room = max(letters - sum(kept), 0) / max(sum(wished), 1)
    return [least + room * more for least, more in zip(kept, wished, strict=True)]


def _table(table: Table, plant: Plant, left: tuple[str, ...], one_sheet: bool) -> dict[str, Any]:
    text = table_text(table, plant)
    most = max(ROWS_SHOWN, ROWS.get(table.name, 0))
    more = len(text.rows) - most
    return {
        "title": table.title,
        "left": table.name in left,
        "wide": table.name in WIDE,
        "headings": text.headings,
        "align": ["right" if number else "left" for number in text.numbers],
        "rows": text.rows[:most],
        "shares": _shares(text, one_sheet),
        "more": tr("and {more} more", more=more) if more > 0 else "",
    }
