"""What a scanner that only reads would look for, at every address, as each person and as a stranger."""

import re
from base64 import b64encode
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from tests.board.access_scene import Scene, scene
from tests.board.test_access import PATHS, functions

#: Besides those of the access tables: open to all, files of the board, and what there is not.
FURTHER = {("/sign-in", "GET"), ("/sign-in", "POST"), ("/pair", "GET"), ("/pair", "POST"), ("/health", "GET")}
FURTHER |= {("/sign-out", "POST"), ("/sign-out-everywhere", "POST"), ("/assets/style.css", "GET")}
FURTHER |= {("/assets/board.js", "GET"), ("/_favicon.ico", "GET"), ("/assets/none.js", "GET"), ("/none", "GET")}
FURTHER |= {("/none/none.csv", "GET"), ("/shift", "DELETE"), ("/shift", "TRACE"), ("/shift", "OPTIONS")}
FURTHER |= {("/refusals/0.csv", "GET"), (f"/shift?x={'y' * 5000}", "GET"), ("/wall", "GET"), ("/bags", "GET")}
WANTED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
#: What says which programs answer, or lets other pages read.
UNWANTED = ("Server", "X-Powered-By", "X-AspNet-Version", "Access-Control-Allow-Origin", "Via")
VERSION = re.compile(r"(?i)(werkzeug|flask|waitress|dash|python|plotly)[ /]v?\d+\.\d")
POLICY = ("default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'")
INLINE = re.compile(r"""(?i)<[^>]+\s(style|on[a-z]+)=["']""")
SCRIPT = re.compile(r"(?is)<script(?![^>]*(?:\bsrc=|application/json))[^>]*>(.+?)</script>")


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    return scene(tmp_path_factory.mktemp("passive"))


def faults_of(answer: Any, *, signed_in: bool) -> list[str]:
    """What a reader of an answer would note."""
    headers, kind = answer.headers, answer.headers.get("Content-Type", "")
    policy = headers.get("Content-Security-Policy", "")
    faults = [f"{name}: {headers.get(name)}" for name, value in WANTED.items() if headers.get(name) != value]
    faults += [f"policy without {part}" for part in POLICY if part not in policy]
    faults += ["an unsafe policy"] if "unsafe" in policy or "*" in policy or "http:" in policy else []
    faults += [f"{name}: {headers[name]}" for name in UNWANTED if name in headers]
    if signed_in and headers.get("Cache-Control") != "no-store":
        faults.append(f"kept by browsers: {headers.get('Cache-Control')}")
    if kind.startswith("text/") and "charset=utf-8" not in kind.lower():
        faults.append(f"no character set: {kind}")
    text = answer.get_data().decode(errors="replace") if kind.startswith(("text/html", "text/plain")) else ""
    faults += ["names a program's version"] if VERSION.search(f"{text} {headers}") else []
    faults += ["a trace of the program"] if "Traceback (most recent" in text else []
    faults += [f"inline: {found[0][:60]}" for found in INLINE.finditer(text)]
    for body in SCRIPT.findall(text):
        mark = b64encode(sha256(body.encode()).digest()).decode()
        faults += [] if f"'sha256-{mark}'" in policy else [f"a script that the policy does not name: {body[:60]}"]
    for cookie in headers.getlist("Set-Cookie"):
        faults += [f"cookie without {part}" for part in ("HttpOnly", "SameSite=Lax", "Path=/") if part not in cookie]
    return faults


def test_every_address_says_what_a_careful_server_says(board: Scene) -> None:
    noted, rows = [], []
    for name, output in functions(board).items():
        answer = board.call("administer", output)
        assert answer.status_code in (200, 204)
        noted += [(name, fault) for fault in faults_of(answer, signed_in=True)]
        rows.append(f"{'call':<8}{name:<52}{'administer':<12}{answer.status_code}")
    for path, method in sorted({*PATHS, *FURTHER}, key=lambda one: ("/sign-out" in one[0], one)):  # which end sessions
        for who in ("administer", "see", "screen", "nobody", "forged"):
            answer = board.send(who, path, method)
            signed_in = who in ("administer", "see", "screen") and answer.status_code == 200
            is_open = path.startswith(("/assets/", "/sign-in", "/pair", "/health", "/_favicon"))
            faults = faults_of(answer, signed_in=signed_in and not is_open)
            rows.append(
                f"{method:<8}{path[:50]:<52}{who:<12}{answer.status_code}  {'; '.join(faults) or 'as it should'}"
            )
            noted += [(method, path[:50], who, fault) for fault in faults]
            assert answer.status_code < 500
    print("\n" + "\n".join(rows))
    assert len(rows) > 250
    assert not noted


def test_a_strange_host_and_an_answer_over_tls_say_it_too(board: Scene) -> None:
    strange = board.send("administer", "/shift", headers={"Host": "evil.example"})
    assert strange.status_code == 403
    assert not faults_of(strange, signed_in=False)
    secure = board.send("administer", "/sign-in", base_url="https://board.invented.example")
    assert secure.headers["Strict-Transport-Security"] == "max-age=31536000"
    assert not faults_of(secure, signed_in=False)


def test_pages_of_the_package_hold_no_inline_style_or_script() -> None:
    from lineview.core.resources import shipped

    pages = [*Path(shipped("assets")).parent.rglob("lineview/board/pages/*.html")]
    assert len(pages) > 5
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert not [found[0] for found in (*INLINE.finditer(text), *SCRIPT.finditer(text))], page.name
