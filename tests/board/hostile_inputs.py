"""Inputs that no person and no page of the board sends, drawn at random: addresses, forms, calls, uploads."""

from __future__ import annotations

import gzip
import io
import json
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from tests.board.access_scene import HOST, Scene, call_of

#: What must never come back as markup: a browser would run it.
SCRIPT = "<script>alert(7)</script>"
MARKUP = (SCRIPT, "<img src=x onerror=alert(7)>", '"><svg/onload=alert(7)>', "{{7*7}}${7*7}", "</title>" + SCRIPT)
TEXTS = (
    *MARKUP, "", " ", "\0", "\r\nX: y", "\u202e", "\ufffd",
    "a" * 5_000, "../../etc/passwd", "..\\..\\x", "/etc/passwd", "C:\\x", "%00", "%", "'; DROP TABLE audit;--",
    "0001-01-01..9999-12-31", "9999-12-31", "0001-01-01", "2026-02-30", "99:99", "1e400", "nan", "-1", "9" * 40,
    "line2", "wrap1", "last-shift", "all", "previous", "line=", "shift=early", "=1+1", "@SUM(A1)", "ß" * 300,
    "🍬" * 200,    "2026-06-08.early", "2026-W60", "٣", "²", "\x1b[31m", "true", "null", "[]", "{}",
)  # fmt: skip
VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**62, 2**70, 1.5, 1e308, [], {}, [None], [[]], [{}], {"a": {"b": {"c": 1}}},
    *[["x"] * n for n in (1, 600)], {"kind": "undo", "intake": "x"}, {"kind": "accept-pattern"}, {"theme": []},
)  # fmt: skip
PAGES = ("rope", "weight", "shift", "wrap", "order", "week", "bags", "intake", "wall", "works", "setup", "account")
KEYS = ("line", "machine", "period", "intake", "from", "only", "against", "done", "next", "x")
FORMS: dict[str, tuple[str, ...]] = {
    "/sign-in": ("name", "password", "next"), "/pair": ("code",), "/password": ("now", "new", "again"),
    "/screens": ("screen",), "/screens/revoke": ("screen",),
    "/works/change": ("table", "part", "id", "who", "days", "start", "end", "breaks", "mass_g", "name",
                      "price_per_reel"),
    "/works/remove": ("table", "part", "who"), "/works/undo": ("number", "who"),
    "/works/fill": ("back", "who", "products/honey/price_per_kg", "webs/clear/price_per_reel", "a/b/c", "/"),
    "/setup": ("shop", "zone", "band-low", "band-high", "shift-rows", "s0-start", "s0-end", "s0-days", "line-name",
               "do"),
    "/setup/look": ("path",), "/large": ("export",), "/count": ("web", "at", "whole", "parts", "coming", "undo"),
}  # fmt: skip
#: Words that some fields know, so that a form comes further than its first check.
KNOWN = ("webs", "products", "shifts", "lines", "machines", "wax", "wrap1", "finish", "06:00", "honey", "1", "2", "mon")
FILES = (
    b"", b"\0" * 100, b"PK\x03\x04" + b"x" * 60, b"\x1f\x8b\x08" + b"x" * 60, b"time;pieces\n2026-06-08 06:00:00;1\n",
    b"[" * 5_000, gzip.compress(b"0" * 900_000), b"%PDF-1.4", SCRIPT.encode(), b"time;" + SCRIPT.encode() + b"\n1;2\n",
    b"PAR1" + b"x" * 60, b"a,b\n" * 2_000,
)  # fmt: skip


@dataclass
class Sent:
    """One input: who sends it where, and what came back."""

    who: str
    method: str
    path: str
    more: dict[str, Any] = field(default_factory=dict)

    def through(self, scene: Scene) -> Any:
        return scene.send(self.who, self.path, self.method, **self.more)


def _text(draw: random.Random) -> str:
    text = draw.choice(TEXTS)
    return text + draw.choice(TEXTS) if draw.random() < 0.2 else text


def _query(draw: random.Random) -> str:
    pairs = [(draw.choice(KEYS), _text(draw)) for _ in range(draw.randint(0, 4))]
    return "?" + "&".join(f"{key}={quote(text, safe='', errors='replace')}" for key, text in pairs)


def _page(draw: random.Random, who: str, _scene: Scene) -> Sent:
    page = draw.choice(PAGES)
    kind = draw.random()
    path = f"/{page}"
    if kind < 0.05:
        path = f"/{draw.choice(PAGES[:6])}.{draw.choice(('pdf', 'xlsx', 'csv', 'exe'))}"
    elif kind < 0.2:
        path = f"/{page}/{quote(_text(draw), safe='', errors='replace')}.csv"
    elif kind < 0.3:
        path = f"/refusals/{draw.choice(('1', '7', '-1', '9' * 30, 'x', '1.5'))}.csv"
    elif kind < 0.5:
        root = draw.choice(("/assets/", "/_dash-component-suites/dash/", "/", "/_", "/static/", "/_dash-layout/"))
        path = root + quote(_text(draw), safe="/", errors="replace")
    method = draw.choice(("GET",) * 8 + ("POST", "PUT", "DELETE", "PATCH", "OPTIONS", "HEAD", "TRACE"))
    return Sent(who, method, path + _query(draw), {"headers": _headers(draw)})


def _headers(draw: random.Random) -> dict[str, str]:
    odd = {
        "Cookie": "lineview=" + draw.choice(("", "x", "a.b.c", "%00", "é", "A" * 5_000)),
        "Origin": draw.choice(("null", "http://evil.example", f"http://{HOST}", "http://" + "a" * 300)),
        "Host": draw.choice((HOST, "evil.example", "[::1", "a:b", HOST + ":99999", "")),
        "X-Forwarded-For": "1.2.3.4", "X-Forwarded-Host": "evil.example", "Range": "bytes=0-1,5-", "Accept": "*/*;q=x",
        "If-Modified-Since": "never",
        "Content-Type": draw.choice(("text/html", "application/json", "multipart/form-data", "")),
        "Referer": SCRIPT, "User-Agent": SCRIPT, "Accept-Language": SCRIPT, "Content-Encoding": "gzip",
    }  # fmt: skip
    if draw.random() < 0.7:
        return {}
    return {name: odd[name] for name in draw.sample(sorted(odd), draw.randint(1, 2))}


def _form(draw: random.Random, who: str, _scene: Scene) -> Sent:
    path = draw.choice(list(FORMS))
    known = [(name, draw.choice(KNOWN) if draw.random() < 0.4 else _text(draw)) for name in FORMS[path]]
    data: dict[str, Any] = {name: text for name, text in known if draw.random() < 0.85}
    if path in ("/large", "/setup/look"):
        name = "export" if path == "/large" else "exports"
        file = _text(draw) + draw.choice((".csv", ".xlsx", ".csv.gz", ".zip", "", ".toml", ".json"))
        data = {**data, name: (io.BytesIO(draw.choice(FILES)), file)}
        if path == "/setup/look":
            data["path"] = draw.choice(("", "/nowhere/at/all", "\0", "a" * 5_000, "~nobody/x", "relative"))
    if draw.random() < 0.1:
        return Sent(who, "POST", path, {"data": draw.choice(FILES), "headers": _headers(draw)})
    return Sent(who, "POST", path, {"data": data, "headers": _headers(draw)})


def _call(draw: random.Random, who: str, scene: Scene) -> Sent:
    body = call_of(
        scene.app, draw.choice([name for name, one in scene.app.callback_map.items() if one.get("callback")])
    )
    for _ in range(draw.randint(1, 3)):
        _bend(draw, body)
    if draw.random() < 0.1:
        odd: Any = draw.choice((*VALUES, SCRIPT, "x" * 9_000, [body], {"output": body}))
        return Sent(who, "POST", "/_dash-update-component", {"json": odd})
    if draw.random() < 0.05:
        text = json.dumps(body)[: draw.randint(0, 200)] + draw.choice(("", "}" * 50, "[" * 100_000, "\0"))
        sent = {"data": text, "headers": {"Content-Type": "application/json"}}
        return Sent(who, "POST", "/_dash-update-component", sent)
    return Sent(who, "POST", "/_dash-update-component", {"json": body, "headers": _headers(draw)})


def _bend(draw: random.Random, body: dict[str, Any]) -> None:
    """Put something odd into one place of a call, most often a value."""
    sent = [one for part in ("inputs", "state") if isinstance(body.get(part), list) for one in body[part]]
    flat = [one for given in sent for one in (given if isinstance(given, list) else [given])]
    places = [one for one in flat if isinstance(one, dict)]
    kind = draw.random()
    if kind < 0.75 and places:
        one = draw.choice(places)
        one["value"] = _text(draw) if draw.random() < 0.6 else draw.choice(VALUES)
        if one.get("property") == "contents" and draw.random() < 0.7:
            one["value"] = "data:text/csv;base64," + draw.choice(("", "====", "QUJD", "dGltZTtuCjE7Mgo=", "A" * 3_000))
    elif kind < 0.85:
        body[draw.choice(list(body))] = draw.choice((*VALUES, SCRIPT))
    elif kind < 0.95 and places:
        draw.choice(places)[draw.choice(("id", "property", "value"))] = draw.choice((*VALUES, SCRIPT))
    else:
        body["changedPropIds"] = [
            draw.choice((SCRIPT, "", "shown.data", '{"kind":"undo","intake":"x"}.n_clicks', "." * 99))
        ]


KINDS: tuple[tuple[float, Callable[[random.Random, str, Scene], Sent]], ...] = (
    (0.35, _page),
    (0.65, _form),
    (1.0, _call),
)


def drawn(draw: random.Random, who: str, scene: Scene) -> Sent:
    """One input of a random kind."""
    share = draw.random()
    return next(make for most, make in KINDS if share < most)(draw, who, scene)


def wrong_with(answer: Any) -> str:
    """What an answer says that it never may; "" where it is in order."""
    text = answer.get_data(as_text=False).decode(errors="replace")
    if answer.status_code >= 500:
        return f"status {answer.status_code}"
    if "Traceback (most recent" in text or 'File "/' in text:
        return "a traceback"
    if "This page could not be made" in text:
        return "a page that could not be made"
    kind = answer.headers.get("Content-Type", "")
    runs = kind.startswith(("text/html", "image/svg", "text/xml", "application/xml", "application/xhtml"))
    if runs and any(mark in text for mark in MARKUP if "<" in mark):
        return "markup of the input"
    if "nosniff" not in answer.headers.get("X-Content-Type-Options", ""):
        return "no nosniff"
    return "" if "default-src 'none'" in answer.headers.get("Content-Security-Policy", "") else "no content policy"
