"""The board: one Dash app over one works, its callbacks bound to it, everything served from here."""

from __future__ import annotations

import logging
from collections.abc import Sequence

from dash import Dash, set_props

from lineview.board.callbacks import bind
from lineview.board.frame import frame, index
from lineview.board.header import opening
from lineview.board.routes import add_routes
from lineview.board.security import guard
from lineview.board.sheet_files import add_sheet_routes
from lineview.core.resources import shipped
from lineview.errors import PlantError
from lineview.works import Works

LOCAL_HOSTS = ("127.0.0.1", "localhost", "::1")

log = logging.getLogger(__name__)


def create_app(
    works: Works,
    *,
    night: bool | None = None,
    hosts: Sequence[str] = LOCAL_HOSTS,
    poll_s: float = 10.0,
) -> Dash:
    """Make the board of a works.

    Parameters
    ----------
    works : Works
        What the board asks.
    night : bool, optional
        Start dark or light; by default as the system is set. Each browser can switch and remembers.
    hosts : sequence of str
        Host names the board answers to.
    poll_s : float
        Seconds between looks for new data [s].

    Returns
    -------
    dash.Dash
        Its `server` is a WSGI application; lineview.board.serve serves it.
    """
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
    """Give the shop's name; none where the plant description was edited and is wrong now."""
    try:
        return works.plant.shop
    except PlantError:
        return ""


def _failed(error: Exception) -> None:
    """Say on the page that something broke, and keep the whole of it in the log."""
    log.error("a page could not be made", exc_info=error)
    set_props("sentence", {"children": "This page could not be made; the log of the board says why."})
