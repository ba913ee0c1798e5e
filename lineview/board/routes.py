"""The plain routes beside the pages: refusals as a file, and the page that takes large exports."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import polars as pl
from flask import Flask, Response, render_template_string, request

from lineview.board.address import read_address
from lineview.board.upload import TakeOutcome, take_upload
from lineview.errors import AskError, Fault, LineviewError
from lineview.sheets.guard import guarded
from lineview.works import Works

LARGE = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Upload a larger file</title><link rel="stylesheet" href="/assets/style.css"></head>
<body class="plain"><main>
<h1 class="sentence">Upload an export of up to 400 MB.</h1>
{% if outcome %}
<div role="status">
{% if outcome.proposal %}<p>No layout fits {{ outcome.file_name }}. Upload the first part of it on the
<a href="/intake">intake page</a>, accept a layout there, then upload the whole file here.</p>
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


def add_routes(server: Flask, works: Works) -> None:
    """Add the routes to the board's server.

    Parameters
    ----------
    server : flask.Flask
        The board's.
    works : Works
        The works.
    """

    def refusals(intake: int) -> Response:
        return _file(f"refusals-{intake}", lambda: works.store.refusals(intake))

    def series(question: str, name: str) -> Response:
        def frame() -> pl.DataFrame:
            at = read_address(f"/{question}", request.query_string.decode(errors="replace"))
            known = works.ask(at.asked).series
            if name not in known:
                raise AskError(
                    Fault(f"there is no frame '{name}'", question, f"one of {', '.join(known) or 'none'}")
                )
            return known[name]

        return _file(f"{question}-{name}", frame)

    def large() -> str:
        return render_template_string(LARGE, outcome=_uploaded(works))

    server.add_url_rule("/refusals/<int:intake>.csv", "refusals", refusals)
    server.add_url_rule("/<question>/<name>.csv", "series", series)
    server.add_url_rule("/large", "large", large, methods=["GET", "POST"])


def _file(name: str, frame: Callable[[], pl.DataFrame]) -> Response:
    """Send a frame as a file, or the plain error that stands in its way."""
    try:
        text = csv_text(frame())
    except LineviewError as error:
        return Response(str(error), status=404, mimetype="text/plain")
    sent = Response(text, mimetype="text/csv")
    sent.headers["Content-Disposition"] = f"attachment; filename={name}.csv"
    return sent


def _uploaded(works: Works) -> TakeOutcome | None:
    export = request.files.get("export") if request.method == "POST" else None
    return None if export is None else take_upload(works, export.filename or "", export.read())


def csv_text(frame: pl.DataFrame) -> str:
    r"""Write a frame as RFC 4180 text in which no cell can be taken for a formula.

    Parameters
    ----------
    frame : polars.DataFrame
        Null is an empty cell.

    Returns
    -------
    str
        Lines end in CRLF; a cell that a spreadsheet would run begins with an apostrophe.

    Examples
    --------
    >>> csv_text(pl.DataFrame({"row": [3, 4], "text": ["=1+1", "n/a"]}))
    "row,text\r\n3,'=1+1\r\n4,n/a\r\n"
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(frame.columns)
    writer.writerows(guarded(frame).iter_rows())
    return out.getvalue()
