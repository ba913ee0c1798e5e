"""Every page held to the rules of axe-core: folds open, light and night, at three widths."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from shutil import copytree

import pytest
from axe_playwright_python.sync_playwright import Axe

from lineview.app.works import Works
from tests.browser.served_board import Board, Served

pytestmark = pytest.mark.browser
ANSWERS = ("rope", "weight", "shift", "wrap", "order", "week", "bags", "intake", "wall")
PLAIN = ("works", "account", "large")
UNFOLD = "document.querySelectorAll('main details').forEach(fold => { fold.open = true; })"


@pytest.fixture(scope="module")
def german(week: Works, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Works]:
    """The demo's week in a works that speaks German, whose words are longer."""
    folder: Path = tmp_path_factory.mktemp("german")
    copytree(week.folder, folder, dirs_exist_ok=True)
    described = folder / "plant.toml"
    described.write_text(described.read_text("utf-8").replace('language = "en"', 'language = "de"'), "utf-8")
    with Works(folder) as works:
        yield works


def violations(board: Board, page: str) -> list[tuple[str, str, str]]:
    """Rule, place and element of each violation on a page with its folds open."""
    board.page.evaluate(UNFOLD)
    board.page.wait_for_timeout(300)  # roles of Dash's lists are set right when they are drawn
    found = Axe().run(board.page).response["violations"]
    return [(page, rule["id"], node["html"][:160]) for rule in found for node in rule["nodes"]]


@pytest.mark.parametrize(
    ("size", "dark", "pages"),
    [
        pytest.param("phone", False, ("rope", "shift", "intake"), id="phone"),
        *(
            pytest.param(
                size, dark, (*ANSWERS, *PLAIN), id=f"{size} {'night' if dark else 'light'}", marks=pytest.mark.long
            )
            for size in ("phone", "desk", "wall")
            for dark in (False, True)
        ),
    ],
)
def test_no_page_breaks_a_rule(serve_board: Served, week: Works, size: str, dark: bool, pages: tuple[str, ...]) -> None:
    assert wrong_on(serve_board(week, size, dark=dark), pages) == []


@pytest.mark.long
@pytest.mark.parametrize("dark", [False, True], ids=["light", "night"])
def test_no_german_page_breaks_a_rule(serve_board: Served, german: Works, dark: bool) -> None:
    assert wrong_on(serve_board(german, "phone", dark=dark), (*ANSWERS, *PLAIN)) == []


def test_no_german_page_scrolls_sideways_on_a_phone(serve_board: Served, german: Works) -> None:
    board, widths = serve_board(german, "phone"), {}
    board.page.set_default_timeout(120_000)
    for page in ("order", "week", "intake"):
        board.open(f"/{page}").page.evaluate(UNFOLD)
        board.page.locator(".cards .tools select").first.wait_for()
        widths[page] = board.page.evaluate("document.documentElement.scrollWidth")
    assert widths == dict.fromkeys(widths, 390)


def wrong_on(board: Board, pages: tuple[str, ...]) -> list[tuple[str, str, str]]:
    """What breaks a rule on any of the pages."""
    wrong: list[tuple[str, str, str]] = []
    board.page.set_default_timeout(120_000)  # the first time each is worked out
    for page in pages:
        if page in PLAIN:
            board.page.goto(f"{board.base}/{page}")
        else:
            board.open(f"/{page}")
        wrong += violations(board, page)
    return wrong
