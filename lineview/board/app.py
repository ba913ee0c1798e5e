"""The board: one Dash app over one works, its callbacks bound to it, everything served from here."""

from __future__ import annotations

import json
import logging
import re
from contextlib import suppress
from html import escape
from pathlib import Path
from typing import Any

from dash import Dash, set_props
from dash.exceptions import DependencyException
from flask import Flask, Response, request
from markupsafe import Markup

from lineview.app.works import Works
from lineview.board.account import add_account_routes, shop_of
from lineview.board.address import on_a_page, read_address
from lineview.board.answer_page import add_sheet_routes, download
from lineview.board.callbacks import bind
from lineview.board.calls import Calls
from lineview.board.compression import add_compression
from lineview.board.guard import PERSON_KEY, Doors, guard
from lineview.board.intake_page import TakeOutcome, take_upload
from lineview.board.kept_pages import KeptPages, answer_from, look_of_document, start_of_document
from lineview.board.layout import LANGUAGE, frame, index, opening
from lineview.board.method_pages import add_method_routes
from lineview.board.plain import document_attributes, page_links, plain_page
from lineview.board.plant_page import add_plant_routes
from lineview.board.processes import Answers, Reply, Request
from lineview.board.readings_page import add_readings_route
from lineview.board.setup_page import add_setup_routes
from lineview.board.tables import csv_text
from lineview.board.what_if_form import add_count_route
from lineview.board.workers import Workers
from lineview.board.written import add_writing_routes
from lineview.core.errors import AskError, Fault, LineviewError, PlantError
from lineview.core.language import speak, tr
from lineview.core.resources import shipped


def add_routes(server: Flask, works: Works, workers: Workers | None) -> None:
    """Add the routes to the board's server."""

    def refusals(intake: int) -> Response:
        return download(csv_text(works.store.refusals(intake)), "text/csv", f"refusals-{intake}.csv")

    def series(question: str, name: str) -> Response:
        address = read_address(f"/{question}", request.query_string.decode(errors="replace"))
        known = works.ask(address.question_scope).series
        if name not in known:
            what = tr("there is no frame '{name}'", name=name)
            raise AskError(Fault(what, question, tr("one of {names}", names=", ".join(known) or tr("none"))))
        return download(csv_text(known[name]), "text/csv", f"{question}-{name}.csv")

    def large() -> str:
        return plain_page(
            "large.html",
            title=tr("Upload a larger file"),
            sentence=tr("Upload an export of up to 400 MB."),
            shop=shop_of(works),
            pages=page_links(),
            outcome=_uploaded(works),
        )

    def health() -> Response:
        """Whether the works can be read and pages worked out: for a service that watches the board."""
        try:
            works.version()
        except LineviewError:
            return Response('{"status": "failing"}', status=503, mimetype="application/json")
        failing = workers is not None and workers.is_failing
        state = {"status": "failing" if failing else "ok", **(workers.queue() if workers is not None else {})}
        return Response(json.dumps(state), status=503 if failing else 200, mimetype="application/json")

    server.register_error_handler(
        LineviewError, lambda error: Response(on_a_page(error), status=404, mimetype="text/plain")
    )
    server.register_error_handler(
        DependencyException, lambda _error: Response(tr("There is no such file."), status=404)
    )
    server.add_url_rule("/health", "health", health)
    server.add_url_rule("/refusals/<int(max=999999999999):intake>.csv", "refusals", refusals)
    server.add_url_rule("/<question>/<name>.csv", "series", series)
    server.add_url_rule("/large", "large", large, methods=["GET", "POST"])


def _uploaded(works: Works) -> TakeOutcome | None:
    export = request.files.get("export") if request.method == "POST" else None
    return None if export is None else take_upload(works, export.filename or "", export.save)


log = logging.getLogger("lineview.board")


def create_app(
    works: Works,
    *,
    night: bool | None = None,
    doors: Doors | None = None,
    poll_s: float = 10.0,
    workers: Workers | None = None,
) -> Dash:
    """Make the board of a works; without workers it works its pages out itself."""
    app = _Board(
        "lineview",
        assets_folder=str(shipped("assets")),
        assets_ignore=r"\.later\.js$|^plotly",  # board.js has them loaded where they are needed
        use_pages=False,
        serve_locally=True,
        suppress_callback_exceptions=True,
        index_string=index(night),
        title=escape(shop_of(works)).replace("{%", "{&#37;") or tr("Set up"),  # Dash takes it as it is, and fills {%…%}
        update_title="",
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
        enable_mcp=False,
        add_log_handler=False,
        on_error=_failed,
    )
    app.layout = lambda: frame(poll_s, works.version(), opening(shop_of(works)))
    calls = Calls(app)
    pages = KeptPages(works, workers, calls) if workers is not None else None
    bind(calls, works, pages)
    doors = doors or Doors()
    guard(app.server, doors, calls, app.csp_hashes())  # before the routes, so that its check comes first
    app.server.before_request(lambda: _speak(works))
    add_compression(app.server)
    if pages is not None:
        app.pages = pages
        answer_from(app.server, pages)
    add_routes(app.server, works, workers)
    add_sheet_routes(app.server, works)
    add_readings_route(app.server, works)
    add_method_routes(app.server, lambda: shop_of(works))
    add_writing_routes(app.server, works)
    add_count_route(app.server, works)
    add_setup_routes(app.server, works)
    add_plant_routes(app.server, works)
    add_account_routes(app.server, works, doors)
    return app


def _speak(works: Works) -> None:
    """Show the next texts in the works' language, which an edit of plant.toml may have changed."""
    with suppress(PlantError):
        speak(works.plant.language)


def open_answers(folder: Path, journal_url: str | None) -> Answers:
    """Open a works in a worker of the board; give what answers the board's requests there."""
    client = create_app(Works(folder, journal_url, new=True)).server.test_client()

    def answer(call: Request) -> Reply:
        response = client.open(
            call.target,
            method=call.method,
            data=call.body or None,
            content_type="application/json" if call.body else None,
            environ_overrides={PERSON_KEY: call.person},
        )
        return Reply(response.status_code, tuple(response.headers.items()), response.get_data())

    return answer


#: Scripts that Dash adds to every page: what browsers of ten years ago lack, and a table that no page has.
NEEDLESS = re.compile(r'<script src="[^"]*/(?:polyfill@|dash_table/)[^"]*"></script>')


class _Board(Dash):
    """The app, whose document is in the language of the works and shows what is kept of its page at once."""

    pages: KeptPages | None = None

    def interpolate_index(self, *parts: Any, **texts: Any) -> str:
        """The document as it is sent."""
        texts["scripts"] = NEEDLESS.sub("", texts["scripts"])
        if self.pages is not None:
            texts["app_entry"] = start_of_document(self.pages) + Markup(texts["app_entry"])  # noqa: S704  # a fixed text of Dash
        document: str = super().interpolate_index(*parts, **texts)  # type: ignore[no-untyped-call]  # Dash leaves it bare
        return document.replace(LANGUAGE, f"{document_attributes()} {look_of_document()}", 1)


def _failed(error: Exception) -> None:
    """Say on the page that something broke, and keep the whole of it in the log."""
    log.error("a page could not be made", exc_info=error)
    set_props("sentence", {"children": tr("This page could not be made; the log of the board says why.")})
