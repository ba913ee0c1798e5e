"""Connections of the board: what is refused before a body is read, slow ones dropped, TLS.

Notes
-----
waitress reads requests in one loop and hands whole ones to its threads, so a half-sent request holds a
connection and no thread. It knows no TLS; here a connection's socket is wrapped, and a lock keeps the loop
and the thread that answers from using one TLS state at once.
"""

from __future__ import annotations

import ssl
import time
from collections.abc import Callable
from threading import Lock
from typing import Any

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.utilities import Error, RequestEntityTooLarge
from werkzeug.http import parse_cookie

from lineview.board.guard import (
    CALLBACK,
    CALLBACK_LIMIT_BYTES,
    FORM_LIMIT_BYTES,
    LARGE,
    LARGE_LIMIT_BYTES,
    Doors,
    is_strange,
    person_of,
    right_words,
)
from lineview.core.language import tr

#: Seconds until a header must have come, and bytes a second that a body must bring after that.
HEADER_S, LEAST_BYTES_A_S = 20.0, 5_000
#: Connections of one address; a browser opens some six.
MOST_OF_ADDRESS = 200


class Refused(Error):  # type: ignore[misc]  # noqa: N818 - waitress ships no types; no exception
    """The answer to a request that is refused by its header."""

    code = 403
    reason = "Forbidden"


class GuardedParser(HTTPRequestParser):  # type: ignore[misc]  # likewise
    """Reads one request, and refuses it by its header before its body is read."""

    doors = Doors()
    is_tls = False
    looked = False
    error: Any
    completed: bool

    def received(self, data: bytes) -> int:
        """Take bytes in; the number used."""
        count: int = super().received(data)
        if self.headers_finished and not self.looked and self.error is None and not self.empty:
            self.looked = True
            self.error = self._fault()
            self.completed = self.completed or self.error is not None
        return count

    def _fault(self) -> Error | None:
        doors = self.doors
        if not doors.proxied and not doors.knows(self.headers.get("HOST", "")):
            return Refused(tr("The board answers only to its configured host names."))
        scheme = "https" if self.is_tls else "http"
        if not doors.proxied and is_strange(self.headers.get("ORIGIN"), scheme, self.headers.get("HOST", "")):
            return Refused(tr("This came from another page."))
        limits = {CALLBACK: CALLBACK_LIMIT_BYTES, **dict.fromkeys(LARGE, LARGE_LIMIT_BYTES)}
        limit = limits.get(self.path, FORM_LIMIT_BYTES)
        if self.content_length > limit or self.chunked:
            return RequestEntityTooLarge(tr("up to {limit:,} bytes with their number in the header", limit=limit))
        if self.content_length > FORM_LIMIT_BYTES and doors.access is not None:
            cookies = parse_cookie(self.headers.get("COOKIE", ""))
            secures = (False, True) if doors.proxied else (self.is_tls,)  # the proxy may be the one that has TLS
            known = [person_of(doors.access, cookies.get(doors.cookie(secure), "")) for secure in secures]
            who = next((user for user in known if user is not None), None)
            right = LARGE.get(self.path, "take in")
            if who is None or not who.may(right):
                return Refused(tr("Sign in first, as somebody who may {right}.", right=right_words(right)))
        return None


class GuardedChannel(HTTPChannel):  # type: ignore[misc]  # likewise
    """A connection that drops what comes too slowly."""

    began = 0.0

    def received(self, data: bytes) -> Any:
        """Take bytes of a request in."""
        now = time.monotonic()
        if self.request is None:
            self.began = now
        wants_more = super().received(data)
        request = self.request
        if request is not None:
            body_bytes = request.body_bytes_received if request.headers_finished else 0
            if now - self.began > HEADER_S + body_bytes / LEAST_BYTES_A_S:
                self.will_close = True
        return wants_more


class TlsChannel(GuardedChannel):
    """A connection over TLS."""

    def __init__(self, server: Any, sock: Any, addr: Any, adj: Any, map: Any = None) -> None:  # noqa: A002 - waitress's name
        self._tls = Lock()
        super().__init__(server, sock, addr, adj, map=map)

    def handle_read(self) -> None:
        """Read what has come; nothing may be left within the TLS state, which no poll would report."""
        while self.socket is not None:
            try:
                with self._tls:
                    data, more = self.socket.recv(self.adj.recv_bytes), self.socket.pending()
            except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
                return
            except OSError:
                self.handle_close()
                return
            if not data:
                self.handle_close()
                return
            self.last_activity = time.time()
            self.received(data)
            if not more:
                return

    def send(self, data: bytes, do_close: bool = True) -> int:
        """Send what the connection takes now; how many bytes it took."""
        try:
            with self._tls:
                return int(self.socket.send(data))
        except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return 0
        except OSError:
            if not do_close:
                raise
            self.handle_close()
            return 0


def channels(doors: Doors, tls: ssl.SSLContext | None) -> Callable[..., Any]:
    """Make what opens a channel for each new connection of waitress's server."""
    parser = type("Parser", (GuardedParser,), {"doors": doors, "is_tls": tls is not None})
    kind = type("Channel", (TlsChannel if tls else GuardedChannel,), {"parser_class": parser})

    def channel(server: Any, sock: Any, addr: Any, adj: Any, map: Any = None) -> Any:  # noqa: A002 - waitress's name
        same = sum(1 for open_channel in server.active_channels.values() if open_channel.addr[0] == addr[0])
        try:
            if same >= MOST_OF_ADDRESS and not doors.proxied:
                raise OSError("too many connections of one address")
            if tls is not None:
                sock = tls.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
            return kind(server, sock, addr, adj, map=map)
        except OSError:  # also a peer that has gone already; the server itself goes on
            sock.close()
            return None

    return channel
