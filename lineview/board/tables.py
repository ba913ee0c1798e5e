"""Tables of a page: an answer's own, the chart's data behind it, and any frame."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import polars as pl
from dash import html

from lineview.plant import Plant
from lineview.report.answer import Table
from lineview.report.tables import table_text
from lineview.sheets.tables import guard_formulas


def aria(**said: str) -> Any:
    """Give aria attributes as keyword arguments for a Dash component."""
    return {f"aria-{name}": text for name, text in said.items()}


#: A frame's table shows this many rows, since each row costs the browser time; the rest is a download away.
MOST_ROWS = 40
#: Longer tables stand folded, and none shows more rows than MOST_FOLDED.
OPEN_ROWS = 12
MOST_FOLDED = 150
#: On a phone the rows of tables with so many columns stand as cards.
CARDS_FROM = 4
#: Text of a cell that is longer than this many letters gets a column of some width.
LONG = 28


def answer_table(table: Table, plant: Plant) -> html.Div:
    """A table of an answer."""
    text = table_text(table, plant)
    said_twice = text.headings[0].casefold() == table.title.casefold()
    shown = plain_table(table.title, text.headings, text.rows, text.numbers, caption_hidden=said_twice)
    if _wide([text.headings, *text.rows]):
        shown.className += " wide"  # type: ignore[attr-defined]  # set by Dash from its property list
    return shown


def _wide(rows: Sequence[Sequence[str]]) -> bool:
    """Say whether a table needs the page's whole width."""
    columns = len(rows[0])
    widest = [max(len(row[i]) for row in rows) for i in range(columns)]
    return columns > 6 or sum(min(w, LONG) for w in widest) + 3 * columns > 62


def open_or_folded(table: Table, plant: Plant, is_open: bool) -> html.Div | html.Details:
    """A table as it stands on a page: the first ones open, further and long ones folded."""
    if is_open and len(table.rows) <= OPEN_ROWS:
        return answer_table(table, plant)
    rows = f"{len(table.rows)} rows" if len(table.rows) != 1 else "1 row"
    inner = answer_table(replace(table, rows=table.rows[:MOST_FOLDED]), plant)
    more = len(table.rows) - MOST_FOLDED
    note = [html.P(f"{more:,} further rows are in the sheet and the JSON of this answer.")] if more > 0 else []
    return html.Details([html.Summary(f"{table.title} ({rows})"), inner, *note], className="fold wide")


def plain_table(
    title: str,
    headings: Sequence[Any],
    rows: Sequence[Sequence[Any]],
    right: Sequence[bool],
    caption_hidden: bool = False,
) -> html.Div:
    """A table of ready cells."""
    side = ["number" if r else "" for r in right]
    head = html.Tr([_heading(h, s) for h, s in zip(headings, side, strict=True)])
    body = [html.Tr([_cell(*one) for one in zip(row, headings, side, strict=True)]) for row in rows]
    if not rows:
        body = [html.Tr(html.Td("nothing yet", colSpan=len(headings), className="soft"))]
    caption = html.Caption(title, className="hidden" if caption_hidden else "")
    return html.Div(
        html.Table([caption, html.Thead(head), html.Tbody(body)]),
        className="table cards" if len(headings) >= CARDS_FROM and rows else "table",
        tabIndex=0,
        role="region",
        **aria(label=title),
    )


def _heading(words: Any, side: str) -> html.Th | html.Td:
    """A column's heading; a column without words has an empty cell, since a heading that says nothing is none."""
    return html.Th(words, scope="col", className=side) if words else html.Td(className=side)


def _cell(content: Any, heading: Any, side: str) -> html.Td:
    """A cell; on a phone, where each row stands as a card, its heading stands before it."""
    named: Any = {"data-label": heading} if isinstance(heading, str) else {}
    return html.Td(content, className=_class(content, side), **named)


def _class(content: Any, side: str) -> str:
    if not side:
        return _text_class(content)
    return f"{side} reason" if isinstance(content, str) and len(content) > LONG else side


def _text_class(content: Any) -> str:
    if not isinstance(content, str):
        return ""
    if len(content) > LONG:
        return "long"
    return "whole" if any(c.isdigit() for c in content) else ""  # moments and measures stay on one line


def frame_table(
    title: str,
    frame: pl.DataFrame,
    plant: Plant,
    headings: Mapping[str, tuple[str, str]] | None = None,
    most: int = MOST_ROWS,
) -> html.Div:
    """A frame as a table, its column names as words."""
    columns = [(name, *_worded(name, headings or {})) for name in frame.columns]
    whole = frame.head(most)
    caption = title if frame.height <= most else f"{title} (the first {most} of {frame.height:,})"
    return answer_table(Table(title, caption, columns, whole.to_dicts()), plant)


#: Units that end a column's name, as shown.
ENDINGS = {"mm": "mm", "g": "g", "kg": "kg", "m": "m", "h": "h", "c": "°C", "min": "min"}


def _worded(name: str, headings: Mapping[str, tuple[str, str]]) -> tuple[str, str]:
    if name in headings:
        return headings[name]
    words, _, ending = name.rpartition("_")
    if words and ending in ENDINGS and not words.endswith("per"):
        return words.replace("_", " "), ENDINGS[ending]
    return name.replace("_", " "), ""


def csv_text(frame: pl.DataFrame) -> str:
    r"""Write a frame as RFC 4180 text in which no cell can be taken for a formula."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(frame.columns)
    writer.writerows(guard_formulas(frame).iter_rows())
    return out.getvalue()
