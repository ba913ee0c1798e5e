"""What is sent to a browser compressed: scripts, styles and pages; scripts once for all, pages each."""

from __future__ import annotations

import gzip
from functools import lru_cache

from flask import Flask, Response, request

#: Kinds that shrink; fonts, pictures, workbooks and PDF are compressed as they are.
SHRINKS = ("text/", "application/json", "application/javascript", "image/svg+xml")
#: Shorter ones are sent as they are; how hard pages are compressed, and scripts, which are kept.
LEAST_BYTES, PAGE_LEVEL, SCRIPT_LEVEL = 1_000, 4, 9
#: Scripts and styles kept compressed.
MOST_KEPT = 100


def add_compression(server: Flask) -> None:
    """Compress what browsers take compressed.

    No answer holds a secret beside what somebody typed, so its length gives nothing away.
    """

    def compressed(response: Response) -> Response:
        kind = response.mimetype or ""
        if (
            response.status_code != 200
            or "Content-Encoding" in response.headers
            or not kind.startswith(SHRINKS)
            or not request.accept_encodings["gzip"]
        ):
            return response
        is_file = response.direct_passthrough
        if is_file and request.range is not None:
            return response
        file = response.response
        response.direct_passthrough = False
        plain = response.get_data()
        if is_file:
            file.close()  # type: ignore[union-attr]  # of what is passed through it is one
        if len(plain) < LEAST_BYTES:
            return response
        response.set_data(_zip_file(plain) if is_file else gzip.compress(plain, PAGE_LEVEL))
        response.headers["Content-Encoding"] = "gzip"
        response.vary.add("Accept-Encoding")
        return response

    server.after_request(compressed)


@lru_cache(maxsize=MOST_KEPT)
def _zip_file(plain: bytes) -> bytes:
    return gzip.compress(plain, SCRIPT_LEVEL)
