"""An answer as a page: sentence, soft line, one picture, tables, the folded working, notes and cautions."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from dash import dcc, html
from flask import Flask, Response, request

from lineview.app.access import LOCAL
from lineview.app.handover import with_handover
from lineview.app.question import QUESTIONS
from lineview.app.works import Works
from lineview.board.address import Address, on_a_page, read_address
from lineview.board.components import Lazy, aria, element
from lineview.board.guard import person
from lineview.board.method_pages import how_to_read, method_link, method_title
from lineview.board.readings_page import readings_link
from lineview.board.tables import (
    MOST_SORTED,
    Tools,
    frame_table,
    framed,
    open_or_folded,
    plain_table,
    rows_json,
    set_data,
)
from lineview.charts.render import pictures
from lineview.charts.style import ChartStyle, Picture
from lineview.core.errors import LineviewError
from lineview.core.figure import Figure
from lineview.core.language import mark, tr, tr_count
from lineview.order.tables import supplier_sheet, suppliers_due
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer, Question, Span, Table, file_name
from lineview.report.tables import frame_words
from lineview.sheets.pdf import to_pdf
from lineview.sheets.saved_picture import FORMS as PICTURE_FORMS
from lineview.sheets.saved_picture import saved_picture
from lineview.sheets.tables import to_csv, to_xlsx
from lineview.wrap.tables import claim_sheet, suppliers_claimed

#: plotly.js would offer to upload a chart to a server of its makers; nothing of that kind is left.
CONFIG: Any = {
    "displayModeBar": False,
    "displaylogo": False,
    "showSendToCloud": False,
    "modeBarButtonsToRemove": ["sendChartToCloud", "sendDataToCloud", "editInChartStudio"],
    "showEditInChartStudio": False,
    "displayNotifier": False,
    "showTips": False,
    "showAxisDragHandles": False,
    "doubleClick": False,
    "scrollZoom": False,
    "responsive": True,
}


def graph(picture: Picture, words: str, scale: float = 1.0, below: tuple[Any, ...] = ()) -> html.Figure:
    """A picture as a figure with its title, named for those who cannot see it; `below` stands under it."""
    height = None if scale > 1 else f"{picture.height}px"  # the wall's picture fills what is left of it
    room: Any = {} if height is None else {"style": {"minHeight": height}}  # kept before it is drawn, so nothing jumps
    return html.Figure(
        [
            html.Figcaption(picture.title),
            html.Div(
                Lazy(
                    children=dcc.Graph(
                        figure=picture.figure, config=CONFIG, responsive=True, style={"height": height or "100%"}
                    )
                ),
                role="img",
                **room,
                **aria(label=f"{picture.title}. {words}"),
            ),
            *below,
        ],
        className="picture",
    )


def _save_links(picture: Picture, number: int, address: Address) -> html.P:
    """The links that save a picture; each is named with the picture's title."""
    links = []
    for ending in PICTURE_FORMS:
        words, href = tr("Save as {form}", form=ending.upper()), address.picture(number, ending)
        links.append(html.A(words, href=href, **aria(label=f"{words}: {picture.title}")))
    return html.P(links, className="acts saves")


#: By a file's ending: what makes it, its media type, and the words of its link.
FORMS: dict[str, tuple[Callable[[Answer, Plant], bytes], str, str]] = {
    "pdf": (to_pdf, "application/pdf", mark("This page as PDF")),
    "xlsx": (to_xlsx, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", mark("as workbook (XLSX)")),
    "csv": (to_csv, "text/csv", mark("what to order as CSV")),
}


def sheet_links(address: Address) -> html.P:
    """The links to a page's sheets; they carry its line, machine and period."""
    endings = [ending for ending in FORMS if ending != "csv" or address.page == "order"]
    links = [html.A(tr(FORMS[ending][2]), href=address.sheet(ending)) for ending in endings]
    return html.P(links, className="acts sheets", **aria(label=tr("this page as a file")))


def add_sheet_routes(server: Flask, works: Works) -> None:
    """Add the routes that send sheets."""

    def answer_of(question: str) -> tuple[Answer, Plant]:
        at = read_address(f"/{question}", request.query_string.decode(errors="replace"))
        return works.ask(at.question_scope), works.plant

    def sheet(question: Question, ending: str) -> Response:
        answer, plant = answer_of(question)
        make, media_type, _ = FORMS[ending]
        content = make(with_handover(works, answer, _hands_over() if question == "shift" else ""), plant)
        return download(content, media_type, f"{file_name(answer, plant)}.{ending}")

    def picture(question: str, number: int, ending: str) -> Response:
        if ending not in PICTURE_FORMS:
            return Response(tr("There is no such file."), status=404, mimetype="text/plain")
        answer, plant = answer_of(question)
        end = f".{ending}" if number == 1 else f"-{number}.{ending}"  # pictures of one page have names of their own
        content = saved_picture(answer, plant, number, ending)
        return download(content, PICTURE_FORMS[ending][1], f"{file_name(answer, plant)}{end}")

    def rows(question: Question, kind: str, name: str, ending: str) -> Response:
        answer, plant = answer_of(question)
        table = _table_of(answer, kind, name)
        if ending != "json" or table is None:
            return Response(tr("There is no such table."), status=404, mimetype="text/plain")
        return Response(rows_json(table, plant), mimetype="application/json")

    def supplier(question: Question, number: int, ending: str) -> Response:
        answer, plant = answer_of(question)
        claims = question == "wrap"
        names = suppliers_claimed(answer) if claims else suppliers_due(answer, plant)
        if ending not in FORMS or not 0 < number <= len(names):
            return Response(tr("There is no such sheet."), status=404, mimetype="text/plain")
        make, media_type, _ = FORMS[ending]
        part = (claim_sheet if claims else supplier_sheet)(answer, names[number - 1], plant)
        return download(make(part, plant), media_type, f"{'claim' if claims else 'order'}-{number}.{ending}")

    server.add_url_rule("/<question>/<any(table, frame):kind>/<name>.<ending>", "rows", rows)
    server.add_url_rule("/<question>/picture-<int(max=9999):number>.<ending>", "picture", picture)
    for question, endpoint in (("order", "supplier"), ("wrap", "claim")):
        address = f"/{question}/to/<int(max=9999):number>.<ending>"
        server.add_url_rule(address, endpoint, supplier, defaults={"question": question})
    for question in QUESTIONS:
        for ending in FORMS:
            defaults: dict[str, Any] = {"question": question, "ending": ending}
            server.add_url_rule(f"/{question}.{ending}", f"{question}-{ending}", sheet, defaults=defaults)


def _table_of(answer: Answer, kind: str, name: str) -> Table | None:
    """The answer's table of this name, or its frame as one; None for what is not there or too long to be sorted."""
    if kind == "table":
        return next((table for table in answer.tables if table.name == name and len(table.rows) <= MOST_SORTED), None)
    frame = answer.series.get(name)
    return (
        framed(name, frame, HEADINGS.get(answer.question))
        if frame is not None and frame.height <= MOST_SORTED
        else None
    )


def _hands_over() -> str:
    """The name of whoever is signed in and may note things; paired screens may not, and on this machine nobody is."""
    who = person()
    return who.name if who.may("note") and who != LOCAL else ""


def download(content: bytes | str, media_type: str, name: str) -> Response:
    """Content that a browser saves under this name."""
    response = Response(content, mimetype=media_type)
    response.headers.set("Content-Disposition", "attachment", filename=name)
    return response


def working(answer: Answer, plant: Plant, more: list[Any]) -> html.Details:
    """The fold that says how the answer was worked out."""
    rows = [_row(figure, answer, plant) for figure in answer.figures]
    headings = [tr("figure"), tr("value"), tr("interval"), "n", tr("how")]
    table = plain_table(tr("Every figure of this answer"), headings, rows, [False, True, True, True, False])
    set_data(table, file=file_name(answer, plant))
    cited = sorted({source for figure in answer.figures for source in figure.sources})
    sources = [html.Li(html.A(method_title(cited_id), href=method_link(cited_id))) for cited_id in cited]
    listed = [html.H2(tr("Sources")), html.Ul(sources, className="sources")] if sources else []
    period = show.period(answer.scope.period, plant)
    hint = html.P(
        tr("All of {period} ({zone}), unless another period is named.", period=period, zone=plant.zone),
        className="soft",
    )
    return html.Details(
        [html.Summary(tr("How this was worked out")), *more, hint, table, *listed], className="fold", id="working"
    )


def _row(figure: Figure, answer: Answer, plant: Plant) -> list[Any]:
    spread = show.interval(figure, plant)
    how = [element("span", figure.working)] if figure.working else []
    kind = figure.interval_kind
    if kind and kind != figure.why_none:
        how.append(element("span", kind, className="soft"))
    if figure.period is not None and figure.period != answer.scope.period:
        how.append(element("span", show.period(figure.period, plant), className="soft"))
    count = show.number(figure.n) if figure.n else ""
    if answer.scope.machine and figure.n:
        behind = readings_link(answer.scope.machine, figure.period or answer.scope.period)
        how.append(element("a", tr("readings, with file and row"), href=behind))
    if figure.sources:
        methods = [element("a", cited_id, href=method_link(cited_id)) for cited_id in figure.sources]
        how.append(
            element("span", [tr("method:"), *(part for link in methods for part in (" ", link))], className="soft")
        )
    return [figure.label, show.value(figure, plant), spread, count, element("div", how, className="how")]


#: Shown on every page, whatever the answer adds.
CAUTION = mark(
    "Before reaching past a guard, clearing a jam or adjusting rollers and knives: stop and "
    "lock out by your site's procedure. Figures come from counters and may be late; no "
    "interlock may depend on them."
)


#: So many of an answer's tables stand open below its picture.
OPEN_TABLES = 2
#: The table whose rows stand first on the page.
LEAD = "lead"
#: Of the rope one more: the sizers of the works by how soon they need a person.
OPEN_ROPE_TABLES = 3
#: Columns of the pictures' frames whose names do not end in their unit.
HEADINGS: dict[str, dict[str, tuple[str, str]]] = {
    "rope": {
        name: (words, "mm")
        for name, words in (
            ("low", mark("from")),
            ("mid", mark("expected")),
            ("high", mark("to")),
            ("value", mark("charted value")),
            ("upper", mark("upper sum")),
            ("lower", mark("lower sum")),
            ("limit", mark("decision interval")),
        )
    },
    "weight": {"low": ("from", "g"), "high": ("to", "g")},
    "wrap": {"m_per_thousand": (mark("a thousand good pieces"), "m")},
    "shift": {"code": (mark("code of the machine"), ""), "coded": (mark("state from the code"), "")},
    "order": {"kind": (mark("what"), "")},
}

#: A digit before a unit or a currency.
_BEFORE_UNIT = re.compile(r"(\d) (?=(?:mm|cm|m|km|g|kg|h|min|s|%|°C|°F|[A-Z]{3})(?!\w))")


def sentence(spans: tuple[Span, ...]) -> list[Any]:
    """A sentence, its numbers kept with their units; what needs a person is marked, by more than colour."""
    texts = [_BEFORE_UNIT.sub("\\1\u00a0", span.text) for span in spans]
    return [html.Mark(text, className="call") if span.call else text for text, span in zip(texts, spans, strict=True)]


def answer_page(answer: Answer, look: ChartStyle, address: Address) -> list[Any]:
    """All that stands below the sentence."""
    plant = look.plant
    charts = pictures(answer, look)
    graphs = [(p, graph(p, answer.text, below=(_save_links(p, n, address),))) for n, p in enumerate(charts, 1)]
    first = [figure for picture, figure in graphs if picture.first]
    further: list[Any] = [figure for picture, figure in graphs if not picture.first]
    many = answer.question == "order"  # a picture a web: all of them are the answer, none its working
    filled = [table for table in answer.tables if table.rows and table.name != LEAD]
    most = OPEN_ROPE_TABLES if answer.question == "rope" else OPEN_TABLES
    file = file_name(answer, plant)
    tables = [
        open_or_folded(table, plant, at < most, Tools(file, address.rows("table", table.name), _opens(table, address)))
        for at, table in enumerate(filled)
    ]
    behind = _behind(answer, look, address)
    soft = html.P(answer.soft, className="soft lead")
    # a picture that only a scroll brings answers nobody: what is read beside it stands below it
    page: list[Any] = [*first, soft] if facts(answer) and first else [soft, *first]
    page += points(answer)
    if many and further:
        title = tr_count(
            "The pictures of {count} further web, by urgency",
            "The pictures of {count} further webs, by urgency",
            len(further),
        )
        page.append(_fold(title, [html.Div(further, className="many")], "further-pictures"))
    if behind and charts:
        page.append(_fold(tr("The picture as a table"), behind, "chart-table"))
    page.append(html.Div(tables, className="tables"))
    page.append(working(answer, plant, [] if many else further))
    if answer.notes:
        page.append(html.Ul([html.Li(note) for note in answer.notes], className="notes", **aria(label=tr("notes"))))
    page += how_to_read(answer.question)
    page.append(sheet_links(address))
    if answer.question == "order" and not address.supposed:  # what is only supposed is sent to nobody
        page += [
            _supplier_links(tr("The order to {supplier}:", supplier=name), n, address)
            for n, name in enumerate(suppliers_due(answer, plant), 1)
        ]
    if answer.question == "wrap":
        page += [
            _supplier_links(tr("The claim to {supplier}:", supplier=name), n, address)
            for n, name in enumerate(suppliers_claimed(answer), 1)
        ]
    return page


def _opens(table: Table, address: Address) -> Callable[[Mapping[str, Any]], str] | None:
    """Of the table of shifts, the address of a row's shift, as a tap on its strip opens it."""
    if table.name != "shifts":
        return None
    return lambda row: address.with_period(f"{row['date']}.{row['shift']}").href if row["date"] else ""


def _supplier_links(words: str, number: int, address: Address) -> html.P:
    """The links to what one supplier gets, without the works' own figures."""
    links = [html.A(ending.upper(), href=address.supplier_sheet(number, ending)) for ending in FORMS]
    return html.P([words, *links], className="acts sheets")


def points(answer: Answer) -> list[Any]:
    """The short list below the soft line, where an answer has one."""
    return [html.Ul([html.Li(point) for point in answer.points], className="points")] if answer.points else []


def facts(answer: Answer) -> list[Any]:
    """What stands first on the page, as a list of names and what is so; only the rope has it."""
    lead = next((table for table in answer.tables if table.name == LEAD), None)
    if lead is None:
        return []
    return [
        html.Dl([part for row in lead.rows for part in (html.Dt(row["what"]), html.Dd(row["said"]))], className="facts")
    ]


def cautions(answer: Answer | None) -> list[Any]:
    """The foot of a page."""
    of_answer = answer.cautions if answer is not None else ()
    return [html.P(text) for text in dict.fromkeys((*of_answer, *(() if of_answer else (tr(CAUTION),))))]


def _behind(answer: Answer, look: ChartStyle, address: Address) -> list[Any]:
    """The picture's frames as tables, each with all of its rows as a file."""
    tables: list[Any] = []
    file = file_name(answer, look.plant)
    for name, frame in answer.series.items():
        if not frame.height:
            continue
        words = frame_words(name)
        tools = Tools(file, address.rows("frame", name))
        tables.append(frame_table(words, frame, look.plant, HEADINGS.get(answer.question), tools=tools))
        tables.append(
            html.P(html.A(tr("All of {frame} as CSV", frame=words), href=address.file(name)), className="acts")
        )
    return tables


def _fold(title: str, content: list[Any], name: str) -> html.Details:
    return html.Details([html.Summary(title), *content], className="fold", id=name)


def fault_page(error: LineviewError, lead: str = "") -> tuple[list[Any], list[Any]]:
    """The sentence and the page for what cannot be answered."""
    what = error.faults[0].what.rstrip(".") if error.faults else tr("it cannot be read")
    return [f"{lead or tr('That cannot be answered')}: {what}."], [
        html.Ul([html.Li(on_a_page(fault)) for fault in error.faults], className="faults", role="alert")
    ]
