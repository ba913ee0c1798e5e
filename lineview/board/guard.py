"""The checks before and the headers after every request: host, origin, size, who asks, and what they may."""

from __future__ import annotations

import ipaddress
import logging
import time
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any
from urllib.parse import quote, urlsplit

from dash import __version__ as dash_version
from flask import Flask, Response, abort, g, redirect, request
from itsdangerous import BadSignature, Signer
from werkzeug.wrappers import Response as BaseResponse

from lineview.app.access import LOCAL, Access, Person, become_person
from lineview.board.calls import Calls
from lineview.core.language import tr, tr_in

LOCAL_HOSTS = ("127.0.0.1", "localhost", "::1")
#: What a callback may send: a 10 MB file as text and some room.
CALLBACK_LIMIT_BYTES = 20_000_000
#: What the plain page for large files may send.
LARGE_LIMIT_BYTES = 400_000_000
#: What any other form may send.
FORM_LIMIT_BYTES = 200_000
#: Characters of an address with its query.
ADDRESS_LIMIT = 4_000
#: Characters of a cookie: a token and its signature.
COOKIE_LIMIT = 200

CALLBACK = "/_dash-update-component"
#: Where a large file may be sent, and the right that it takes.
LARGE = {"/large": "take in", "/setup/look": "administer"}
#: What anybody may fetch: no word of the works is in it.
OPEN = {"sign-in", "pair", "health", "/_favicon.ico", "_dash_assets.static"}
OPEN |= {"/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>"}
#: The right that an endpoint takes; of the others, fetching takes "see" and sending "administer".
ENDPOINT_RIGHTS = {
    "large": "take in",
    "order-csv": "order",
    "supplier": "order",
    "claim": "order",
    "audit": "administer",
    "setup": "administer",
    "written": "note",
    "count": "note",
}
ENDPOINT_RIGHTS |= {"password": "see", "sign-out": "see", "sign-out-everywhere": "see"}

log = logging.getLogger("lineview.board")


@dataclass(frozen=True)
class Doors:
    """By which names the board is reached, and who may come in.

    `any_address`: it answers to every address in figures, since it serves on all of the machine's; `access` is None
    where it serves this machine alone and nobody signs in; `proxied`: a proxy that was named stands in front.
    """

    hosts: tuple[str, ...] = LOCAL_HOSTS
    any_address: bool = False
    access: Access | None = None
    proxied: bool = False

    def cookie(self, secure: bool) -> str:
        """The cookie's name; over TLS one that browsers take from this host alone."""
        return "__Host-lineview" if secure else "lineview"

    def knows(self, host: str) -> bool:
        """Whether a Host header names this board."""
        try:
            name = (urlsplit(f"//{host}").hostname or "").lower()
        except ValueError:
            return False
        if name in {known.lower() for known in self.hosts}:
            return True
        return self.any_address and is_address(name)


def is_address(name: str) -> bool:
    """Whether a name is an IP address in figures."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def person() -> Person:
    """Whoever asks now."""
    known: Person = g.person
    return known


# -- cookies -------------------------------------------------------------------------------------------


def _signer(access: Access) -> Signer:
    return Signer(access.key, salt="lineview session", digest_method=sha256)


def give_cookie(response: BaseResponse, doors: Doors, access: Access, token: str, lasting_s: float) -> None:
    """Let the browser hold a token, signed, out of reach of scripts and of other sites' posts."""
    response.set_cookie(
        doors.cookie(request.is_secure),
        _signer(access).sign(token).decode(),
        max_age=int(lasting_s),
        secure=request.is_secure,
        httponly=True,
        samesite="Lax",
        path="/",
    )


#: Under this name a worker of the board is given who asks; no header of a request gets there.
PERSON_KEY = "lineview.person"


def _who(doors: Doors) -> Person | None:
    caller = request.environ.get(PERSON_KEY)
    if isinstance(caller, Person):
        return caller
    if doors.access is None:
        return LOCAL
    return person_of(doors.access, request.cookies.get(doors.cookie(request.is_secure), ""))


def person_of(access: Access, cookie: str) -> Person | None:
    """Whose cookie this is; None where it is not of this board, or nobody is signed in by it any more."""
    if not cookie or len(cookie) > COOKIE_LIMIT:
        return None
    try:
        token = _signer(access).unsign(cookie).decode()
    except (BadSignature, UnicodeError):
        return None
    return access.person(token)


# -- the checks ----------------------------------------------------------------------------------------


def guard(server: Flask, doors: Doors, calls: Calls, script_hashes: Sequence[str]) -> None:
    """Put the checks before and the headers after every request."""
    server.config["MAX_CONTENT_LENGTH"] = CALLBACK_LIMIT_BYTES
    server.config["MAX_FORM_PARTS"] = 50
    policy = _policy(script_hashes)

    def check() -> Any:
        g.began = time.monotonic()
        g.person = None
        _check_place(doors)
        _check_size()
        open_to_all = request.endpoint in OPEN
        g.person = None if open_to_all else _who(doors)
        if g.person is None:
            return None if open_to_all else _turned_away()
        body = _call() if request.path == CALLBACK else None
        right = calls.right_for(body) if body is not None else _right_of(request.endpoint or "", request.method)
        if right is None:
            abort(400, tr("This is no call of a page of this board."))
        if not g.person.may(right):
            abort(
                403,
                tr(
                    "This takes the right to {right}, which {name} does not have.",
                    right=right_words(right),
                    name=tr(g.person.name) if g.person == LOCAL else g.person.name,
                ),
            )
        become_person(g.person.name, _address())
        return None

    def leave(_error: BaseException | None) -> None:
        become_person("")  # the thread serves somebody else next

    def headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        if request.is_secure:
            response.headers["Strict-Transport-Security"] = "max-age=31536000"
        if request.path.startswith("/assets/") and request.args.get("m"):
            response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        elif g.get("person") is not None and (doors.access is not None or g.get("holds_a_page")):
            response.headers["Cache-Control"] = "no-store"
        _log(response)
        return response

    server.before_request(check)
    server.after_request(headers)
    server.teardown_request(leave)


def right_words(right: str) -> str:
    """What a right of RIGHTS lets one do, in the works' language."""
    words = {
        "see": tr_in("a right", "see"),
        "note": tr_in("a right", "note"),
        "take in": tr_in("a right", "take in"),
        "order": tr_in("a right", "order"),
        "administer": tr_in("a right", "administer"),
    }
    return words.get(right, right)


def _right_of(endpoint: str, method: str) -> str:
    usual = "see" if method in ("GET", "HEAD", "OPTIONS") else "administer"
    return ENDPOINT_RIGHTS.get(endpoint, usual)


def _check_place(doors: Doors) -> None:
    """Refuse requests under a strange name, by a strange proxy, and from strange pages."""
    if not doors.knows(request.host):
        abort(403, tr("The board answers only to its configured host names."))
    if doors.access is None and any(name in request.headers for name in _FORWARDED):
        abort(403, tr("A proxy has to be named when the board is started."))
    strange = is_strange(request.headers.get("Origin"), request.scheme, request.host)
    site = request.headers.get("Sec-Fetch-Site", "same-origin")
    if request.method not in ("GET", "HEAD", "OPTIONS") and (strange or site not in ("same-origin", "none")):
        abort(403, tr("This came from another page."))


def is_strange(origin: str | None, scheme: str, host: str) -> bool:
    """Whether a request comes from another page than this board's, as its Origin header says."""
    return origin is not None and origin.lower() != f"{scheme}://{host}".lower()


_FORWARDED = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto")


def _check_size() -> None:
    if len(request.full_path) > ADDRESS_LIMIT:
        abort(414)
    if request.path in LARGE:
        request.max_content_length = LARGE_LIMIT_BYTES
    elif request.path != CALLBACK:
        request.max_content_length = FORM_LIMIT_BYTES


def _call() -> Any:
    """The JSON of a call; one that cannot be read is no call."""
    try:
        return request.get_json(silent=True) or {}
    except RecursionError:
        return {}


def _turned_away() -> BaseResponse:
    """Send a person to the sign-in page, and a script away."""
    is_page = request.method == "GET" and not request.path.startswith("/_")
    if not is_page:
        return Response(tr("Sign in first."), status=401, mimetype="text/plain")
    back = quote(request.full_path.rstrip("?"), safe="/")
    return redirect(f"/sign-in?next={back}", code=303)


def _address() -> str:
    return request.remote_addr or ""


def _log(response: Response) -> None:
    """One line for each request: no query, cookie, code or password is in it."""
    user = g.get("person")
    fields = {
        "method": request.method,
        "path": request.path[:200],
        "status": response.status_code,
        "ms": round((time.monotonic() - g.get("began", time.monotonic())) * 1000),
        "who": user.name if user is not None else "",
        "from": _address(),
    }
    log.info("request", extra={"fields": fields})


#: Of the styles that Dash's own scripts and plotly.js put into the page, by Dash's version: they change with it.
#: The first is of an empty one, which plotly.js fills rule by rule. With another version styles are not limited.
STYLE_HASHES = {
    "4.4.1": (
        "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=",
        "Do5Z9ZqsPvCQTUBQS9BnDm/2+on7omuzuLYk5sbA+2s=",
        "ITR5T9OwskhdqdsliUJRmgp9ltOFAHgXe1F7eRvGnmQ=",
        "0IJGrxhCP5NUIafylLkj5118xkZH1kp5FmNio7NOckI=",
        "Z8VokGxeiKThZOEmkdUgfW+jxbvItBwAXC8M1c4wqAM=",
        "VUA+tqvhK3niMn7AdszqidMFPRh9FLqxB2iINUrsiTw=",
        "Aq43X0SlmB69maWGob4rp/UuSHhwePalkRRExtsxOJ8=",
        "SkhFDxgIcEjMhRh19uSHWrkdnAlZ9rlskgr9yLsipa8=",
        "uDiOZWps1U7E8/0BTaQrclYMhVhRVE4dT0vb5X6nXOw=",
        "+QoPrsxO0auPnxSulD3bAr9CoDGgzv7YRfYE0vfxeQI=",
        "MJs2ke1SA6Cy3tTCZu2QH0rj0r//iNqU0idy9bM4leg=",
        "X2TqJwnIiE/ceDVeAdr7v7BOWBU6CEzE6qxlNzBzvBk=",
    )
}


def _styles(version: str) -> str:
    """Which styles a page may have beside those from here."""
    known = STYLE_HASHES.get(version)
    return "'unsafe-inline'" if known is None else " ".join(f"'sha256-{digest}'" for digest in known)


def _policy(script_hashes: Sequence[str]) -> str:
    """The content security policy: everything from here."""
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src 'self' {' '.join(script_hashes)}".rstrip(),
            f"style-src 'self' {_styles(dash_version)}",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "manifest-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ]
    )
