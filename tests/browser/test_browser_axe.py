"""Every page held to the rules of axe-core: folds open, light and night, at three widths."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.served_board import Board, Served

pytestmark = pytest.mark.browser
ANSWERS = ("rope", "weight", "shift", "wrap", "order", "week", "bags", "intake", "wall")
PLAIN = ("works", "account", "large")
UNFOLD = "document.querySelectorAll('main details').forEach(fold => { fold.open = true; })"


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
def test_no_page_breaks_a_rule(
    serve_board: Served, week: object, size: str, dark: bool, pages: tuple[str, ...]
) -> None:
    board = serve_board(week, size, dark=dark)  # type: ignore[arg-type]  # the demo's week
    wrong: list[tuple[str, str, str]] = []
    for page in pages:
        if page in PLAIN:
            board.page.goto(f"{board.base}/{page}")
        else:
            board.open(f"/{page}")
        wrong += violations(board, page)
    assert wrong == []
