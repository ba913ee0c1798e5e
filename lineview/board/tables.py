"""Tables of a page: an answer's own, the chart's data behind it, and any frame."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import polars as pl
from dash import html
from markupsafe import Markup

from lineview.board.components import RawHtml, aria, element, go_link
from lineview.core.language import tr, tr_count
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Table
from lineview.report.tables import frame_words, table_text
from lineview.sheets.tables import guard_formulas

#: A frame's table shows this many rows, since each row costs the browser time; the rest is a download away.
MOST_ROWS = 40
#: Longer tables stand folded, and none shows more rows than MOST_FOLDED.
OPEN_ROWS = 12
MOST_FOLDED = 150
#: On a phone the rows of tables with so many columns stand as cards.
CARDS_FROM = 4
#: A table with more rows gets tools: sort, filter, copy, save.
TOOLS_FROM = 10
#: One with more than this is not sorted in a browser, which would fetch too much.
MOST_SORTED = 20_000
#: Text of a cell that is longer than this many letters gets a column of some width.
LONG = 28


@dataclass(frozen=True)
class Tools:
    """What a table needs beside its cells: a saved file's name, the address of all its rows, and of a row's page."""

    file: str = ""
    rows: str = ""
    opens: Callable[[Mapping[str, Any]], str] | None = None

    def of(self, height: int, most: int) -> Tools:
        """The tools of a table of so many rows: their address only where not all are shown, nor too many to sort."""
        return self if most < height <= MOST_SORTED else replace(self, rows="")


NO_TOOLS = Tools()


def answer_table(table: Table, plant: Plant, tools: Tools = NO_TOOLS) -> html.Div:
    """A table of an answer; its tools may lead from a row's first cell to a page."""
    text = table_text(table, plant)
    cells: list[list[Any]] = [list(row) for row in text.rows]
    for row, shown_row in zip(table.rows, cells, strict=True):
        href = tools.opens(row) if tools.opens else ""
        if href:
            shown_row[0] = go_link(shown_row[0], href)
    is_repeated = text.headings[0].casefold() == table.title.casefold()
    isos = moments(table, plant) if len(table.rows) > TOOLS_FROM else ()
    wide_table = plain_table(table.title, text.headings, cells, text.numbers, caption_hidden=is_repeated, isos=isos)
    set_data(wide_table, **{name: value for name, value in (("file", tools.file), ("rows", tools.rows)) if value})
    if _wide([text.headings, *text.rows]):
        wide_table.className += " wide"  # type: ignore[attr-defined]  # set by Dash from its property list
    return wide_table


def set_data(table: html.Div, **values: str) -> None:
    """Set data attributes of a table, which `assets/tables.later.js` reads."""
    for name, text in values.items():
        setattr(table, f"data-{name}", text)


def moments(table: Table, plant: Plant) -> list[list[str]]:
    """Of each row and column the moment or day in ISO form, by which it is sorted and saved; "" for another cell."""
    return [[_iso(row.get(key), plant) for key, _, _ in table.columns] for row in table.rows]


def _iso(content: Any, plant: Plant) -> str:
    if isinstance(content, datetime):
        return content.astimezone(plant.tz).isoformat(timespec="seconds")
    return content.isoformat() if isinstance(content, date) else ""


def rows_json(table: Table, plant: Plant) -> str:
    """All rows of a table as its cells are written, and the moments in them."""
    return json.dumps({"text": table_text(table, plant).rows, "moment": moments(table, plant)}, ensure_ascii=False)


def _wide(rows: Sequence[Sequence[str]]) -> bool:
    """Say whether a table needs the page's whole width."""
    columns = len(rows[0])
    widest = [max(len(row[i]) for row in rows) for i in range(columns)]
    return columns > 6 or sum(min(w, LONG) for w in widest) + 3 * columns > 62


def open_or_folded(table: Table, plant: Plant, is_open: bool, tools: Tools = NO_TOOLS) -> html.Div | html.Details:
    """A table as it stands on a page: the first ones open, further and long ones folded."""
    tools = tools.of(len(table.rows), MOST_FOLDED)
    if is_open and len(table.rows) <= OPEN_ROWS:
        return answer_table(table, plant, tools)
    count = len(table.rows)
    title = tr_count("{title} (1 row)", "{title} ({count} rows)", count, title=table.title)
    more = len(table.rows) - MOST_FOLDED
    inner = answer_table(replace(table, rows=table.rows[:MOST_FOLDED]), plant, tools)
    if tools.rows:
        words = tr("The first {most} are shown. Sorting, filtering and saving take all.", most=MOST_FOLDED)
    else:
        words = tr("The first {most} are shown. The sheet has all.", most=MOST_FOLDED)
    note = [html.P(words, className="soft")] if more > 0 else []
    return html.Details([html.Summary(title), inner, *note], className="fold wide")


def plain_table(
    title: str,
    headings: Sequence[str],
    rows: Sequence[Sequence[Any]],
    right: Sequence[bool],
    caption_hidden: bool = False,
    isos: Sequence[Sequence[str]] = (),
    *,
    make: Callable[..., Any] = element,
) -> html.Div:
    """A table of ready cells, which `make` makes; `isos` are the moments in them."""
    side = ["number" if r else "" for r in right]
    head = make("tr", [_heading(make, h, s) for h, s in zip(headings, side, strict=True)])
    known = isos or [[""] * len(headings)] * len(rows)
    body = [
        make("tr", [_cell(make, *column) for column in zip(row, headings, side, iso, strict=True)])
        for row, iso in zip(rows, known, strict=True)
    ]
    if not rows:
        body = [make("tr", [make("td", tr("nothing yet"), colSpan=str(len(headings)), className="soft")])]
    caption = make("caption", title, className="hidden" if caption_hidden else "")
    table = make("table", [caption, make("thead", head), make("tbody", body)])
    return html.Div(
        RawHtml(html=table) if isinstance(table, Markup) else table,
        className="table cards" if len(headings) >= CARDS_FROM and rows else "table",
        tabIndex=0,
        role="region",
        **aria(label=title),
    )


def live(name: str, content: Any = "", **attributes: str) -> Any:
    """An element as a component of Dash: for a table whose cells hold buttons that the board hears."""
    return getattr(html, name.capitalize())(content, **attributes)


def _heading(make: Callable[..., Any], words: str, side: str) -> Any:
    """A column's heading; a column without words has an empty cell, since a heading that says nothing is none."""
    return make("th", words, scope="col", className=side) if words else make("td", className=side)


def _cell(make: Callable[..., Any], content: Any, heading: str, side: str, iso: str) -> Any:
    """A cell; on a phone, where each row stands as a card, its heading stands before it."""
    label = {"data-label": heading} | ({"data-moment": iso} if iso else {})
    return make("td", content, className=_class(content, side), **label)


def _class(content: Any, side: str) -> str:
    if not side:
        return _text_class(content)
    return f"{side} reason" if isinstance(content, str) and len(content) > LONG else side


def _text_class(content: Any) -> str:
    if not isinstance(content, str) or isinstance(content, Markup):
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
    tools: Tools = NO_TOOLS,
) -> html.Div:
    """A frame as a table, its column names as words."""
    caption = (
        title
        if frame.height <= most
        else tr("{title} (the first {most} of {all:,})", title=title, most=most, all=frame.height)
    )
    rows = replace(framed(title, frame.head(most), headings), title=caption)
    return answer_table(rows, plant, tools.of(frame.height, most))


def preview(sample: pl.DataFrame, plant: Plant) -> pl.DataFrame:
    """A proposal's first rows as a person checks them: moments whole, without columns that say nothing."""
    no_use = [
        c.name for c in sample if (c.name in ("intake", "row") and c.dtype.is_numeric()) or c.null_count() == c.len()
    ]
    moments = {
        c.name: [at and show.moment(at, plant, year=True, seconds=True) for at in c]
        for c in sample
        if isinstance(c.dtype, pl.Datetime)
    }
    return sample.with_columns(pl.Series(name, at, pl.String) for name, at in moments.items()).drop(no_use)


def framed(title: str, frame: pl.DataFrame, headings: Mapping[str, tuple[str, str]] | None = None) -> Table:
    """A frame as a table of an answer."""
    columns = [(name, *heading_of(name, headings or {})) for name in frame.columns]
    return Table(title, title, columns, frame.to_dicts())


#: Units that end a column's name, as shown.
ENDINGS = {"mm": "mm", "g": "g", "kg": "kg", "m": "m", "h": "h", "c": "°C", "min": "min"}


def heading_of(name: str, headings: Mapping[str, tuple[str, str]]) -> tuple[str, str]:
    """The words of a column's name, and the unit that ends it."""
    if name in headings:
        words, unit = headings[name]
        return tr(words), unit
    words, _, ending = name.rpartition("_")
    if words and ending in ENDINGS and not words.endswith("_per"):
        return frame_words(words), ENDINGS[ending]
    return frame_words(name), ""


def csv_text(frame: pl.DataFrame) -> str:
    r"""Write a frame as RFC 4180 text in which no cell can be taken for a formula."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(frame.columns)
    writer.writerows(guard_formulas(frame).iter_rows())
    return out.getvalue()
