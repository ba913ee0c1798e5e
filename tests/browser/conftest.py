"""A browser, and a board served for it once: any works can be put behind it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.served_board import Board, Served

ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def chromium() -> str | None:
    return next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser_here() -> Iterator[Browser]:
    """Give a browser, or skip with the reason where there is none."""
    path = chromium()
    if path is None:
        pytest.skip("there is no Chromium on this machine; Debian's package 'chromium' brings it")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def served(browser_here: Browser) -> Iterator[Served]:
    stage = Served(browser_here)
    yield stage
    for context in stage.contexts.values():
        context.close()
    if stage.server is not None:
        stage.server.close()


@pytest.fixture
def serve_board(served: Served) -> Iterator[Callable[..., Board]]:
    """Give a function that puts a works behind the board and opens a page; complaints fail the test."""
    yield served
    boards, served.boards = served.boards, []
    for board in boards:
        board.page.evaluate("window.localStorage.clear()")
        board.page.close()
    assert [board.complaints for board in boards if board.complaints] == []
    assert [board.strangers for board in boards if board.strangers] == []
