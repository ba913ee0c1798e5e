"""The server's connections: what is refused by its header, dropped when slow, and read over TLS."""

from __future__ import annotations

import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from shutil import which

import pytest

from lineview.board import channel
from lineview.board.app import create_app
from lineview.board.guard import Doors
from lineview.board.serve import Serving, open_server
from lineview.core.errors import AskError
from tests.board.access_scene import HOST, Scene, scene
from tests.board.invented_works import InventedWorks

LOOPBACK = Serving()


class Local:
    """A server on this machine, and what it answers to bytes."""

    def __init__(self, doors: Doors | None = None, serving: Serving = LOOPBACK, made: Scene | None = None) -> None:
        app = made.app if made is not None else create_app(InventedWorks(), doors=doors)
        self.server = open_server(app, port=0, doors=doors, serving=serving)
        self.port: int = self.server.effective_port
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def connect(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=10)

    def answer(self, head: str, body: bytes = b"", host: str = "localhost") -> str:
        with self.connect() as sock:
            lines = [*head.split("\n"), f"Host: {host}", "Connection: close", "", ""]
            sock.sendall("\r\n".join(lines).encode() + body)
            return read(sock)

    def close(self) -> None:
        self.server.close()
        self.server.task_dispatcher.shutdown()  # else a thread answers into what is closed, during another test


def read(sock: socket.socket) -> str:
    parts = []
    try:
        while part := sock.recv(65_536):
            parts.append(part)
    except ConnectionResetError:  # refused before all of the body was taken
        pass
    return b"".join(parts).decode(errors="replace")


@pytest.fixture(scope="module")
def local() -> Iterator[Local]:
    served = Local()
    yield served
    served.close()


@pytest.mark.parametrize(
    ("head", "host", "status"),
    [
        ("GET /health HTTP/1.1", "localhost", 200),
        ("POST /large HTTP/1.1\nContent-Length: 400000001", "localhost", 413),
        ("POST /setup/look HTTP/1.1\nContent-Length: 999999999999", "localhost", 413),
        ("POST /_dash-update-component HTTP/1.1\nContent-Length: 20000001", "localhost", 413),
        ("POST /works/change HTTP/1.1\nContent-Length: 200001", "localhost", 413),
        ("POST /large HTTP/1.1\nTransfer-Encoding: chunked", "localhost", 413),
        ("POST /large HTTP/1.1\nContent-Length: 1000", "evil.example", 403),
        ("POST /large HTTP/1.1\nContent-Length: 1000\nOrigin: http://evil.example", "localhost", 403),
        ("POST /large HTTP/1.1\nContent-Length: 1000\nOrigin: https://localhost", "localhost", 403),
        ("POST /large HTTP/1.1\nContent-Length: -1", "localhost", 400),
        ("POST /large HTTP/1.1\nContent-Length: 1\nContent-Length: 2", "localhost", 400),
        ("POST /large HTTP/1.1\nContent-Length: 5\nTransfer-Encoding: chunked", "localhost", 413),
        ("POST /large HTTP/1.1\nTransfer-Encoding: x", "localhost", 501),
        ("GET /" + "a" * 40_000 + " HTTP/1.1", "localhost", 431),
        ("GET / HTTP/1.1\n" + "\n".join(f"X-{i}: {'a' * 400}" for i in range(100)), "localhost", 431),
        ("GET / HTTP/1.1\nX y: z", "localhost", 400),
        ("\x00\x01\x02", "localhost", 400),
    ],
)
def test_refused_by_the_header_before_a_byte_of_the_body(local: Local, head: str, host: str, status: int) -> None:
    assert local.answer(head, host=host).split()[1] == str(status), head[:60]


def test_half_sent_requests_keep_nobody_waiting(local: Local) -> None:
    halves = [local.connect() for _ in range(130)]
    try:
        for number, sock in enumerate(halves):
            part = b"GET /shift HTTP/1.1\r\nHost: loc" if number % 2 else b"POST /large HTTP/1.1\r\nHost: localhost\r\n"
            sock.sendall(part + (b"" if number % 2 else b"Content-Length: 100000\r\n\r\nabc"))
        before = time.process_time()
        assert local.answer("GET /health HTTP/1.1").endswith('{"status": "ok"}')
        assert time.process_time() - before < 2
    finally:
        for sock in halves:
            sock.close()


def test_the_server_does_not_say_what_it_is(local: Local) -> None:
    heads = local.answer("GET /health HTTP/1.1").partition("\r\n\r\n")[0].lower()
    assert "\nserver:" not in heads
    assert "waitress" not in heads
    assert "waitress" not in local.answer("GET /\x01 HTTP/1.1").lower()


def test_one_address_opens_so_many_connections(local: Local) -> None:
    opened = [local.connect() for _ in range(channel.MOST_OF_ADDRESS + 20)]
    try:
        opened[-1].settimeout(5)
        assert opened[-1].recv(10) == b""  # closed at once
    finally:
        for sock in opened:
            sock.close()


def is_closed(sock: socket.socket) -> bool:
    sock.settimeout(0.1)
    try:
        return sock.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_a_request_that_drips_is_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(channel, "HEADER_S", 0.3)
    local = Local()
    with local.connect() as sock:
        sock.sendall(b"GET / HTTP/1.1\r\n")
        lines = 0
        while lines < 40 and not is_closed(sock):
            sock.sendall(b"X-A: b\r\n")
            lines += 1
        assert 1 < lines < 40
    local.close()


def test_a_large_upload_takes_somebody_who_may_before_it_is_read(tmp_path: Path) -> None:
    made = scene(tmp_path)
    local = Local(made.doors, made=made)
    head = "POST /{} HTTP/1.1\nContent-Length: 300000000\nCookie: lineview={}"
    assert local.answer(head.format("large", "x"), host=HOST).startswith("HTTP/1.1 403")
    for right, path in (("take in", "setup/look"), ("note", "large"), ("screen", "large")):
        cookie = made.browsers[right].get_cookie("lineview", domain=HOST)
        assert cookie is not None
        assert local.answer(head.format(path, cookie.value), host=HOST).startswith("HTTP/1.1 403"), (right, path)
    local.close()
    cookie = made.browsers["take in"].get_cookie("lineview", domain=HOST)
    assert cookie is not None
    behind = Local(replace(made.doors, proxied=True), Serving(proxies=("127.0.0.1",)), made)
    for scheme, name, status in (
        ("http", "lineview", "200"),
        ("https", "__Host-lineview", "200"),  # the proxy is the one that has TLS
        ("https", "other", "403"),
    ):
        head = (
            f"POST /large HTTP/1.1\nContent-Length: 250000\nCookie: {name}={cookie.value}\nX-Forwarded-Proto: {scheme}"
        )
        assert behind.answer(head, b"x" * 250_000, host=HOST).split()[1] == status, name
    behind.close()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    if which("openssl") is None:
        pytest.skip("no openssl to make a certificate")
    folder = tmp_path_factory.mktemp("tls")
    chain, key = folder / "chain.pem", folder / "key.pem"
    subject = ["-subj", f"/CN={HOST}", "-addext", f"subjectAltName=DNS:{HOST}"]
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-keyout", str(key)]
    subprocess.run([*made, "-out", str(chain), *subject], check=True, capture_output=True)
    return chain, key


def test_over_tls_a_page_and_a_large_form_come_through(tmp_path: Path, certificate: tuple[Path, Path]) -> None:
    made = scene(tmp_path)
    local = Local(made.doors, Serving(tls=certificate), made=made)
    context = ssl.create_default_context(cafile=str(certificate[0]))
    cookie = made.browsers["administer"].get_cookie("lineview", domain=HOST)
    assert cookie is not None

    def asked(head: str, body: bytes = b"") -> str:
        with context.wrap_socket(local.connect(), server_hostname=HOST) as sock:
            lines = [head, f"Host: {HOST}", "Connection: close", f"Cookie: __Host-lineview={cookie.value}", "", ""]
            sock.sendall("\r\n".join(lines).encode() + body)
            return read(sock)

    shown = asked("GET /sign-in HTTP/1.1")
    assert shown.startswith("HTTP/1.1 200")
    assert "Strict-Transport-Security" in shown
    body = b"--b\r\nContent-Disposition: form-data; name=export; filename=a.csv\r\n\r\n" + b"time;good\n" * 300_000
    body += b"\r\n--b--\r\n"
    head = f"POST /large HTTP/1.1\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: {len(body)}"
    assert "2,878 kept" in asked(head, body)
    assert len(made.works.taken[-1][1]) == 3_000_000
    assert len(asked("GET /assets/plotly-basic.min.js HTTP/1.1")) > 1_000_000
    with local.connect() as plain:  # no TLS: closed, and others go on
        plain.sendall(b"GET / HTTP/1.1\r\n\r\n")
        assert "HTTP/1.1 200" not in read(plain)
    assert asked("GET /health HTTP/1.1").endswith('{"status": "ok"}')
    local.close()


def test_a_certificate_that_cannot_be_used_is_a_plain_error(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("no certificate")
    with pytest.raises(AskError, match=r"--tls .*cannot be used"):
        open_server(create_app(InventedWorks()), port=0, serving=Serving(tls=(tmp_path / "a", tmp_path / "a")))
