"""A board served once, whatever works stands behind it, and a page on it as the browser sees it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page

from lineview.app.works import Works
from lineview.board.app import create_app
from lineview.board.serve import address_of, open_server

SIZES = {"desk": (1240, 870), "tablet": (800, 1100), "phone": (390, 844), "wall": (1920, 1080)}
POLL_S = 2.0


class Behind:
    """Whatever works stands behind the one served board at the moment."""

    def __init__(self) -> None:
        self.works: Any = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self.__dict__["works"], name)


class Served:
    """The board, served once; its scripts are then in the browser's cache, as on a second visit."""

    def __init__(self, browser: Browser) -> None:
        self.browser = browser
        self.behind = Behind()
        self.server: Any = None
        self.contexts: dict[tuple[str, bool], BrowserContext] = {}
        self.boards: list[Board] = []

    def __call__(self, works: Works, size: str = "desk", *, dark: bool = False) -> Board:
        self.behind.works = works
        if self.server is None:
            self.server = open_server(create_app(self.behind, poll_s=POLL_S), port=0)
            threading.Thread(target=self.server.run, daemon=True).start()
        board = Board(self._context(size, dark).new_page(), address_of(self.server, "127.0.0.1").rstrip("/"))
        board.listen()
        self.boards.append(board)
        return board

    def _context(self, size: str, dark: bool) -> BrowserContext:
        if (size, dark) not in self.contexts:
            width, height = SIZES[size]
            context = self.browser.new_context(
                viewport={"width": width, "height": height},
                color_scheme="dark" if dark else "light",
                is_mobile=size == "phone",
                has_touch=size == "phone",
            )
            context.set_default_timeout(20_000)
            self.contexts[size, dark] = context
        return self.contexts[size, dark]


@dataclass
class Board:
    """A page on the served board, and what the browser noticed meanwhile."""

    page: Page
    base: str
    complaints: list[str] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)

    def open(self, path: str) -> Board:
        self.page.goto(self.base + path)
        return self.settled()

    def settled(self) -> Board:
        """Wait until the sentence is there and no callback is under way."""
        self.page.wait_for_selector("#sentence:not(:empty):not(:has(.waiting))")
        return self.until("!document.querySelector('#answer [data-dash-is-loading=\"true\"]')")

    def until(self, told: str) -> Board:
        """Wait until an expression is true; polled from here, since the page may not evaluate text."""
        for _ in range(400):
            if self.page.evaluate(told):
                return self
            self.page.wait_for_timeout(50)
        raise TimeoutError(told)

    def drawn(self) -> Board:
        self.page.wait_for_selector(".main-svg")
        return self

    @property
    def sentence(self) -> str:
        return " ".join(self.page.inner_text("#sentence").split())

    @property
    def path(self) -> str:
        return self.page.evaluate("location.pathname + location.search")

    def listen(self) -> None:
        """Note every complaint, and every request that leaves the board."""
        self.page.on("console", lambda m: self._complain(m.text) if m.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda r: self._seen(r.url))
        self.page.on("websocket", lambda w: self._seen(w.url))

    def _complain(self, text: str) -> None:
        # that a font's text comes late is said of a slow machine; that it comes, test_fonts_fetched_early_are_used says
        if "but not used within a few seconds" not in text:
            self.complaints.append(text)

    def _seen(self, url: str) -> None:
        if not url.startswith((self.base + "/", "data:", "blob:")):
            self.strangers.append(url)
