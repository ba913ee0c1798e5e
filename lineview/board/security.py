"""Who may talk to the board and what its pages may do: known host names, own scripts, no strangers' posts."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

#: What a callback may send: a 10 MB file as text and some room.
CALLBACK_LIMIT_BYTES = 20_000_000
#: What the plain page for large files may send.
LARGE_LIMIT_BYTES = 400_000_000


def guard(server: Flask, hosts: Sequence[str], script_hashes: Sequence[str]) -> None:
    """Put the checks before and the headers after every request.

    Parameters
    ----------
    server : flask.Flask
        The board's.
    hosts : sequence of str
        Names it answers to; another name is a page elsewhere that points at this machine.
    script_hashes : sequence of str
        Of the few scripts that stand in the document itself.
    """
    server.config["MAX_CONTENT_LENGTH"] = CALLBACK_LIMIT_BYTES
    known = {host.lower() for host in hosts}
    policy = _policy(script_hashes)

    def check() -> None:
        name = urlsplit(f"//{request.host}").hostname or ""
        if name.lower() not in known:
            abort(403, "The board answers to its own names only.")
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
    """Give the content security policy: everything from here; styles of plotly.js are set in the page."""
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
