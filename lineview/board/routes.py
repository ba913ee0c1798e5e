"""The plain routes beside the pages: refusals as a file, and the page that takes large exports."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

import polars as pl
from flask import Flask, Response, render_template_string, request

from lineview.answers.answer import Answer
from lineview.board.address import Address, read_address
from lineview.board.service import Service, TakeOutcome
from lineview.errors import AskError, Fault, LineviewError

#: A spreadsheet would read a cell that starts with one of these as a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

LARGE = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Give a larger file · {{ shop }}</title><link rel="stylesheet" href="/assets/style.css"></head>
<body class="plain"><main>
<h1 class="sentence">Give an export of up to 400 MB.</h1>
{% if outcome %}
<div role="status">
{% if outcome.proposal %}<p>No layout fits {{ outcome.file_name }}. Give the first part of it on the
<a href="/intake">intake page</a>, accept a layout there, then give the whole file here.</p>
{% elif outcome.faults %}<p>{{ outcome.file_name }} was not taken in; nothing of it was kept.</p>
<ul class="faults">{% for fault in outcome.faults %}<li>{{ fault }}</li>{% endfor %}</ul>
{% else %}<p>{{ outcome.receipt }}</p>{% endif %}
</div>
{% endif %}
<form method="post" enctype="multipart/form-data">
<p><label>File <input type="file" name="export" required></label></p>
<p><button>Take it in</button></p></form>
<p><a href="/intake">Back to intake</a></p>
</main></body></html>"""


def add_routes(server: Flask, service: Service) -> None:
    """Add the routes to the board's server.

    Parameters
    ----------
    server : flask.Flask
        The board's.
    service : Service
        The works.
    """

    def refusals(intake: int) -> Response:
        return _file(f"refusals-{intake}", lambda: service.refusals(intake))

    def series(question: str, name: str) -> Response:
        def frame() -> pl.DataFrame:
            at = read_address(f"/{question}", request.query_string.decode(errors="replace"))
            known = _ask(service, at).series
            if name not in known:
                raise AskError(
                    Fault(f"there is no frame '{name}'", question, f"one of {', '.join(known) or 'none'}")
                )
            return known[name]

        return _file(f"{question}-{name}", frame)

    def large() -> str:
        return render_template_string(LARGE, shop=service.plant.shop, outcome=_given(service))

    server.add_url_rule("/refusals/<int:intake>.csv", "refusals", refusals)
    server.add_url_rule("/<question>/<name>.csv", "series", series)
    server.add_url_rule("/large", "large", large, methods=["GET", "POST"])


def _ask(service: Service, at: Address) -> Answer:
    if at.question is None:
        raise AskError(Fault("there is no page at this address"))
    return service.ask(at.question, at.line, at.machine, at.period)


def _file(name: str, frame: Callable[[], pl.DataFrame]) -> Response:
    """Send a frame as a file, or the plain error that stands in its way."""
    try:
        found = frame()
    except LineviewError as error:
        return Response(str(error), status=404, mimetype="text/plain")
    sent = Response(csv_text(found.columns, found.rows()), mimetype="text/csv")
    sent.headers["Content-Disposition"] = f"attachment; filename={name}.csv"
    return sent


def _given(service: Service) -> TakeOutcome | None:
    given = request.files.get("export") if request.method == "POST" else None
    if given is None:
        return None
    name = given.filename or "export"
    try:
        return service.take(name, given.read())
    except LineviewError as error:
        return TakeOutcome(name, faults=error.faults)


def csv_text(columns: list[str], rows: list[tuple[Any, ...]]) -> str:
    r"""Write rows as RFC 4180 text in which no cell can be taken for a formula.

    Parameters
    ----------
    columns : list of str
        The header.
    rows : list of tuple
        Cells; None is empty.

    Returns
    -------
    str
        Lines end in CRLF; a cell that a spreadsheet would run begins with an apostrophe.

    Examples
    --------
    >>> csv_text(["row", "text"], [(3, "=1+1"), (4, "n/a")])
    "row,text\r\n3,'=1+1\r\n4,n/a\r\n"
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([_harmless(cell) for cell in row] for row in rows)
    return out.getvalue()


def _harmless(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_STARTS) else cell
