"""An answer's sheets as the board sends them: what a page shows, as PDF, as a workbook, as CSV."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import html
from flask import Flask, Response, request

from lineview.answers.answer import Answer, Question
from lineview.board.address import Address, read_address
from lineview.board.aria import aria
from lineview.errors import LineviewError
from lineview.plant import Plant
from lineview.question_scope import QUESTIONS
from lineview.sheets.page import to_pdf
from lineview.sheets.table_csv import to_csv
from lineview.sheets.workbook import to_xlsx
from lineview.works import Works

#: By a file's ending: what makes it, its media type, and the words of its link.
FORMS: dict[str, tuple[Callable[[Answer, Plant], bytes], str, str]] = {
    "pdf": (to_pdf, "application/pdf", "This page as PDF"),
    "xlsx": (
        to_xlsx,
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        "as workbook (XLSX)",
    ),
    "csv": (to_csv, "text/csv", "what to order as CSV"),
}


def sheet_links(address: Address) -> html.P:
    """Give the links to a page's sheets; they carry its line, machine and period.

    Parameters
    ----------
    address : Address
        Of the page.

    Returns
    -------
    dash.html.P
        The table as CSV on the order page alone, where it is the list to send.
    """
    endings = [ending for ending in FORMS if ending != "csv" or address.page == "order"]
    links = [html.A(FORMS[ending][2], href=address.sheet(ending)) for ending in endings]
    return html.P(links, className="acts sheets", **aria(label="this page as a file"))


def add_sheet_routes(server: Flask, works: Works) -> None:
    """Add the routes that send sheets.

    Parameters
    ----------
    server : flask.Flask
        The board's.
    works : Works
        The works.
    """

    def sheet(question: Question, ending: str) -> Response:
        at = read_address(f"/{question}", request.query_string.decode(errors="replace"))
        make, media_type, _ = FORMS[ending]
        try:
            content = make(works.ask(at.asked), works.plant)
        except LineviewError as error:
            return Response(str(error), status=404, mimetype="text/plain")
        sent = Response(content, mimetype=media_type)
        sent.headers["Content-Disposition"] = f"attachment; filename={question}.{ending}"
        return sent

    for question in QUESTIONS:
        for ending in FORMS:
            told: dict[str, Any] = {"question": question, "ending": ending}
            server.add_url_rule(f"/{question}.{ending}", f"{question}-{ending}", sheet, defaults=told)
