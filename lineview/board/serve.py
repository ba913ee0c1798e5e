"""The board's server: waitress, on this machine alone or, for those who sign in, on a network."""

from __future__ import annotations

import errno
import gc
import ipaddress
import json
import logging
import logging.handlers
import socket
import ssl
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dash import Dash
from waitress import create_server
from werkzeug.middleware.proxy_fix import ProxyFix

from lineview.app.works import Works
from lineview.board.app import create_app, open_answers
from lineview.board.channel import channels
from lineview.board.guard import LOCAL_HOSTS, Doors, is_address
from lineview.board.workers import Workers
from lineview.core.errors import AskError, Fault
from lineview.core.language import tr

THREADS = 8
#: Connections at once; more wait. An open one costs little, since no thread waits for it.
CONNECTIONS = 600
HEADER_LIMIT_BYTES = 32_768
#: Seconds after which a silent connection is closed, also one with half a request.
SILENT_S = 20
LOG_BYTES, LOG_FILES = 10_000_000, 5


@dataclass(frozen=True)
class Serving:
    """Where and how the board is served.

    Parameters
    ----------
    host : str
        Address to serve on.
    port : int
        Port; 0 takes a free one.
    host_names : tuple of str
        Further names that the board answers to.
    tls : tuple of pathlib.Path, optional
        Certificate chain and private key.
    proxies : tuple of str
        Addresses of proxies whose forwarded headers are believed.
    log : str
        A file, "-" for the error output, or "" for none.
    workers : int, optional
        Processes that work pages out; by default one for each core, up to four; 0: the board's own threads.
    """

    host: str = "127.0.0.1"
    port: int = 8050
    host_names: tuple[str, ...] = ()
    tls: tuple[Path, Path] | None = None
    proxies: tuple[str, ...] = ()
    log: str = ""
    workers: int | None = None

    @property
    def is_local(self) -> bool:
        """Whether nobody but this machine can reach the board."""
        outer_names = [name for name in self.host_names if name.lower() not in LOCAL_HOSTS]
        return _is_loopback(self.host) and not outer_names and not self.proxies


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def doors_of(works: Works, serving: Serving) -> Doors:
    """Who may come in by which names; without sign-in on this machine alone.

    Raises `AskError` where other machines could reach the board and no user is there, or a proxy is no address.
    """
    if serving.is_local:
        return Doors((*LOCAL_HOSTS, serving.host))
    faults = [
        Fault(tr("'{proxy}' is no address", proxy=proxy), "--proxy", tr("such as 192.168.1.4"))
        for proxy in serving.proxies
        if not is_address(proxy)
    ]
    if not works.access.accounts.users():
        do = tr("Add one first: lineview user add NAME --role administer")
        faults.append(Fault(tr("other machines could reach the board and there is no user"), "--host", do=do))
    if faults:
        raise AskError(faults)
    wildcard = serving.host in ("0.0.0.0", "::", "")  # noqa: S104 - compared, not bound
    served = (socket.gethostname(), "localhost") if wildcard else (serving.host,)
    names = (*serving.host_names, *served, *(LOCAL_HOSTS if _is_loopback(serving.host) else ()))
    return Doors(names, wildcard, works.access, bool(serving.proxies))


def forwarded(app: Any, proxies: Iterable[str]) -> Any:
    """Let only named proxies say for whom they ask."""
    trusted, believed = set(proxies), ProxyFix(app, x_for=1, x_proto=1, x_host=1)

    def serve_one(environ: dict[str, Any], start_response: Any) -> Any:
        if environ.get("REMOTE_ADDR") in trusted:
            return believed(environ, start_response)
        for name in [n for n in environ if n == "HTTP_FORWARDED" or n.startswith("HTTP_X_FORWARDED_")]:
            del environ[name]
        return app(environ, start_response)

    return serve_one


def tls_context(tls: tuple[Path, Path] | None) -> ssl.SSLContext | None:
    """The TLS settings of a certificate chain and its key: version 1.2 or later."""
    if tls is None:
        return None
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(*tls)
    except (OSError, ssl.SSLError) as error:
        expected = tr("a certificate chain and its private key, both PEM")
        raise AskError(
            Fault(tr("cannot be used: {why}", why=error.strerror or error), f"--tls {tls[0]}", expected)
        ) from None
    return context


def open_server(
    app: Dash, host: str = "127.0.0.1", port: int = 8050, doors: Doors | None = None, serving: Serving = Serving()
) -> Any:
    """Bind the board to its port without yet serving."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    tls = tls_context(serving.tls)
    try:
        bound = socket.create_server((host, port), family=family)
    except OSError as error:
        in_use = error.errno == errno.EADDRINUSE
        what = (
            tr("port {port} is taken by another program", port=port)
            if in_use
            else tr("port {port} cannot be used: {why}", port=port, why=error)
        )
        do = tr("Stop the other program, or ask for any free port with --port 0.")
        raise AskError(Fault(what, f"{host}:{port}", do=do)) from None
    wsgi = forwarded(app.server, serving.proxies) if serving.proxies else app.server
    server = create_server(
        wsgi,
        sockets=[bound],
        threads=THREADS,
        ident=None,
        url_scheme="https" if tls else "http",
        clear_untrusted_proxy_headers=False,  # `forwarded` and the board's guard look at them
        connection_limit=CONNECTIONS,
        asyncore_use_poll=True,
        max_request_header_size=HEADER_LIMIT_BYTES,
        channel_timeout=SILENT_S,
        cleanup_interval=5,
    )
    server.channel_class = channels(doors or Doors(), tls)
    return server


def address_of(server: Any, host: str, *, tls: bool = False) -> str:
    """The address a browser can open."""
    name = socket.gethostname() if host in ("0.0.0.0", "::") else host  # noqa: S104 - compared, not bound
    return f"http{'s' * tls}://{f'[{name}]' if ':' in name else name}:{server.effective_port}/"


class JsonLines(logging.Formatter):
    """Log lines as one JSON object each."""

    def format(self, record: logging.LogRecord) -> str:
        """One line."""
        line: dict[str, Any] = {
            "at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(record.created)),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
            **getattr(record, "fields", {}),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=True)


def keep_log(where: str) -> None:
    """Write the log of the board to a file that is turned over, or to the error output."""
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # that requests wait is no fault
    if not where:
        return
    try:
        handler: logging.Handler = (
            logging.StreamHandler(sys.stderr)
            if where == "-"
            else logging.handlers.RotatingFileHandler(where, maxBytes=LOG_BYTES, backupCount=LOG_FILES)
        )
    except OSError as error:
        raise AskError(Fault(tr("cannot be written: {why}", why=error.strerror), f"--log {where}")) from None
    handler.setFormatter(JsonLines())
    logger = logging.getLogger("lineview")
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)


def serve(works: Works, serving: Serving, tell: Callable[[str], object] = print) -> None:
    """Serve the board of a works until it is interrupted.

    Parameters
    ----------
    works : Works
        Opened.
    serving : Serving
        Where and how.
    tell : callable
        Given the lines that a person reads at the start.

    Raises
    ------
    AskError
        Where the port is taken, a certificate cannot be used, or nobody could sign in.
    """
    doors = doors_of(works, serving)
    keep_log(serving.log)
    workers = None if serving.workers == 0 else Workers(open_answers, works.folder, works.journal_url, serving.workers)
    try:
        server = open_server(
            create_app(works, doors=doors, workers=workers), serving.host, serving.port, doors, serving
        )
    except AskError:
        if workers is not None:
            workers.close()
        raise
    at = address_of(server, serving.host, tls=serving.tls is not None)
    tell(tr("The board is at {address} (Ctrl+C stops it).", address=at))
    if doors.access is not None and serving.tls is None and not serving.proxies:
        tell(tr("Pages and passwords cross the network unencrypted: see --tls and --proxy."))
    gc.freeze()  # what stands from the start is no garbage: looking for that is quick then
    try:
        server.run()
    except KeyboardInterrupt:  # the usual way to stop it
        pass
    finally:
        server.close()
        if workers is not None:
            workers.close()
