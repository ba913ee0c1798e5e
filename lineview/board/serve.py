"""The board's server: waitress on this machine, its address told."""

from __future__ import annotations

import errno
import socket
from threading import Thread
from typing import Any

from dash import Dash
from waitress import create_server

from lineview.app.works import Works
from lineview.board.app import create_app
from lineview.core.errors import AskError, Fault

THREADS = 8


def open_server(app: Dash, host: str = "127.0.0.1", port: int = 8050) -> Any:
    """Bind the board to its port without yet serving."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        bound = socket.create_server((host, port), family=family)
    except OSError as error:
        taken = error.errno == errno.EADDRINUSE
        what = f"port {port} is taken by another program" if taken else f"port {port} cannot be used: {error}"
        do = "Stop the other program, or ask for any free port with --port 0."
        raise AskError(Fault(what, f"{host}:{port}", do=do)) from None
    return create_server(app.server, sockets=[bound], threads=THREADS, ident=None)


def address_of(server: Any, host: str) -> str:
    """The address a browser can open."""
    return f"http://{f'[{host}]' if ':' in host else host}:{server.effective_port}/"


def serve(app: Dash, host: str = "127.0.0.1", port: int = 8050, tell: Any = print) -> None:
    """Serve the board until it is interrupted."""
    server = open_server(app, host, port)
    tell(f"The board is at {address_of(server, host)} (Ctrl+C stops it).")
    try:
        server.run()
    except KeyboardInterrupt:  # the usual way to stop it
        pass
    finally:
        server.close()


def run_board(works: Works, host: str, port: int) -> None:
    """Serve the board of a works until it is stopped.

    Parameters
    ----------
    works : Works
        Opened.
    host : str
        Address to serve on.
    port : int
        Port to serve on.

    Raises
    ------
    AskError
        Where the port is taken.
    """
    serve(create_app(works), host=host, port=port)


def start_board(works: Works, host: str, port: int) -> None:
    """Serve the board of a works in the background of this process.

    Parameters
    ----------
    works : Works
        Opened.
    host : str
        Address to serve on.
    port : int
        Port to serve on.
    """
    Thread(target=run_board, args=(works, host, port), daemon=True).start()
