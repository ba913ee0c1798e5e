"""The board: one Dash app over one works, its callbacks bound to it, everything served from here."""

from __future__ import annotations

import csv
import io
import logging
from collections.abc import Callable, Sequence
from urllib.parse import urlsplit

import polars as pl
from dash import Dash, set_props
from flask import Flask, Response, abort, render_template_string, request

from lineview.app.works import Works
from lineview.board.address import read_address
from lineview.board.answer_page import add_sheet_routes
from lineview.board.callbacks import bind
from lineview.board.intake_page import TakeOutcome, take_upload
from lineview.board.layout import frame, index, opening
from lineview.core.errors import AskError, Fault, LineviewError, PlantError
from lineview.core.resources import shipped
from lineview.sheets.tables import guarded

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
    """Add the routes to the board's server."""

    def refusals(intake: int) -> Response:
        return _file(f"refusals-{intake}", lambda: works.store.refusals(intake))

    def series(question: str, name: str) -> Response:
        def frame() -> pl.DataFrame:
            at = read_address(f"/{question}", request.query_string.decode(errors="replace"))
            known = works.ask(at.asked).series
            if name not in known:
                raise AskError(Fault(f"there is no frame '{name}'", question, f"one of {', '.join(known) or 'none'}"))
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
    r"""Write a frame as RFC 4180 text in which no cell can be taken for a formula."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(frame.columns)
    writer.writerows(guarded(frame).iter_rows())
    return out.getvalue()


#: What a callback may send: a 10 MB file as text and some room.
CALLBACK_LIMIT_BYTES = 20_000_000
#: What the plain page for large files may send.
LARGE_LIMIT_BYTES = 400_000_000


def guard(server: Flask, hosts: Sequence[str], script_hashes: Sequence[str]) -> None:
    """Put the checks before and the headers after every request."""
    server.config["MAX_CONTENT_LENGTH"] = CALLBACK_LIMIT_BYTES
    known = {host.lower() for host in hosts}
    policy = _policy(script_hashes)

    def check() -> None:
        name = urlsplit(f"//{request.host}").hostname or ""
        if name.lower() not in known:
            abort(403, "The board answers only to its configured host names.")
        origin = request.headers.get("Origin")
        strange = origin is not None and urlsplit(origin).netloc != request.host
        if request.method == "POST" and (strange or request.headers.get("Sec-Fetch-Site") == "cross-site"):
            abort(403, "This came from another page.")
        if request.path == "/large":
            request.max_content_length = LARGE_LIMIT_BYTES

    def headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        if request.path.startswith("/assets/") and request.args.get("m"):
            response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response

    server.before_request(check)
    server.after_request(headers)


def _policy(script_hashes: Sequence[str]) -> str:
    """The content security policy: everything from here; styles of plotly.js are set in the page."""
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src 'self' {' '.join(script_hashes)}".rstrip(),
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "manifest-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ]
    )


LOCAL_HOSTS = ("127.0.0.1", "localhost", "::1")

log = logging.getLogger(__name__)


def create_app(
    works: Works, *, night: bool | None = None, hosts: Sequence[str] = LOCAL_HOSTS, poll_s: float = 10.0
) -> Dash:
    """Make the board of a works."""
    app = Dash(
        "lineview",
        assets_folder=str(shipped("assets")),
        use_pages=False,
        serve_locally=True,
        suppress_callback_exceptions=True,
        index_string=index(night),
        title=works.plant.shop,
        update_title="",
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
        enable_mcp=False,
        health_endpoint="health",
        add_log_handler=False,
        on_error=_failed,
    )
    app.layout = lambda: frame(poll_s, works.version(), opening(_shop(works)))
    bind(app, works)
    add_routes(app.server, works)
    add_sheet_routes(app.server, works)
    guard(app.server, hosts, app.csp_hashes())
    return app


def _shop(works: Works) -> str:
    """The shop's name; none where the plant description was edited and is wrong now."""
    try:
        return works.plant.shop
    except PlantError:
        return ""


def _failed(error: Exception) -> None:
    """Say on the page that something broke, and keep the whole of it in the log."""
    log.error("a page could not be made", exc_info=error)
    set_props("sentence", {"children": "This page could not be made; the log of the board says why."})
