"""An answer as a page: sentence, soft line, one picture, tables, the folded working, notes and cautions."""

from __future__ import annotations

from typing import Any

from dash import html

from lineview.answers.answer import Answer, Span
from lineview.board.address import Address
from lineview.board.aria import aria
from lineview.board.graph import graph
from lineview.board.sheet_files import sheet_links
from lineview.board.tables import frame_table, open_or_folded
from lineview.board.working import working
from lineview.charts.look import Look
from lineview.charts.pictures import pictures
from lineview.errors import LineviewError

#: Shown on every page, whatever the answer adds.
CAUTION = (
    "Before reaching past a guard, clearing a jam or adjusting rollers and knives: stop and lock out by your "
    "site's procedure. Figures come from counters and may be late; no interlock may depend on them."
)


#: So many of an answer's tables stand open below its picture.
OPEN_TABLES = 2
#: Of the rope one more: the sizers of the works by how soon they need a person.
OPEN_ROPE_TABLES = 3
#: Columns of the pictures' frames whose names do not end in their unit.
HEADINGS: dict[str, dict[str, tuple[str, str]]] = {
    "rope": {
        name: (words, "mm")
        for name, words in (
            ("low", "from"),
            ("mid", "expected"),
            ("high", "to"),
            ("value", "charted value"),
            ("upper", "upper sum"),
            ("lower", "lower sum"),
            ("limit", "decision interval"),
        )
    },
    "weight": {"low": ("from", "g"), "high": ("to", "g")},
    "wrap": {"m_per_thousand": ("a thousand good pieces", "m")},
}


def sentence(spans: tuple[Span, ...]) -> list[Any]:
    """Give a sentence; what needs a person is marked by weight and line as well as by colour.

    Parameters
    ----------
    spans : tuple of Span
        The answer's.

    Returns
    -------
    list
        Strings and marks.
    """
    return [html.Mark(span.text, className="call") if span.call else span.text for span in spans]


def answer_page(answer: Answer, look: Look, address: Address) -> list[Any]:
    """Give all that stands below the sentence.

    Parameters
    ----------
    answer : Answer
        What to show.
    look : Look
        Plant, colours, width.
    address : Address
        Of the page, for links to its files.

    Returns
    -------
    list
        Dash components.
    """
    plant = look.plant
    drawn = pictures(answer, look)
    first = [graph(p, answer.text) for p in drawn if p.first]
    folded: list[Any] = [graph(p, answer.text) for p in drawn if not p.first]
    told = [table for table in answer.tables if table.rows]
    most = OPEN_ROPE_TABLES if answer.question == "rope" else OPEN_TABLES
    tables = [open_or_folded(table, plant, at < most) for at, table in enumerate(told)]
    behind = _behind(answer, look, address)
    page: list[Any] = [html.P(answer.soft, className="soft lead"), *first]
    if behind and drawn:
        page.append(_fold("The picture as a table", behind, "chart-table"))
    page.append(html.Div(tables, className="tables"))
    page.append(working(answer, plant, folded))
    if answer.notes:
        page.append(
            html.Ul([html.Li(note) for note in answer.notes], className="notes", **aria(label="notes"))
        )
    page.append(sheet_links(address))
    return page


def cautions(answer: Answer | None) -> list[Any]:
    """Give the foot of a page.

    Parameters
    ----------
    answer : Answer or None
        Its own cautions stand first.

    Returns
    -------
    list
        Paragraphs, each caution once.
    """
    own = answer.cautions if answer is not None else ()
    return [html.P(text) for text in dict.fromkeys((*own, *(() if own else (CAUTION,))))]


def _behind(answer: Answer, look: Look, address: Address) -> list[Any]:
    """Give the picture's frames as tables, each with all of its rows as a file."""
    tables: list[Any] = []
    for name, frame in answer.series.items():
        if not frame.height:
            continue
        words = name.replace("_", " ")
        tables.append(frame_table(words, frame, look.plant, HEADINGS.get(answer.question)))
        tables.append(html.P(html.A(f"All of {words} as CSV", href=address.file(name)), className="acts"))
    return tables


def _fold(title: str, content: list[Any], name: str) -> html.Details:
    return html.Details([html.Summary(title), *content], className="fold", id=name)


def fault_page(error: LineviewError, lead: str = "That cannot be answered") -> tuple[list[Any], list[Any]]:
    """Give the sentence and the page for what cannot be answered.

    Parameters
    ----------
    error : LineviewError
        With all its faults.
    lead : str
        What the sentence begins with.

    Returns
    -------
    (list, list)
        Sentence and what stands below it.
    """
    what = error.faults[0].what.rstrip(".") if error.faults else "it cannot be read"
    return [f"{lead}: {what}."], [
        html.Ul([html.Li(str(fault)) for fault in error.faults], className="faults", role="alert")
    ]
