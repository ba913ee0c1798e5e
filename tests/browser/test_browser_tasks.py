"""Each role's tasks by touch, mouse and keyboard alone, at 390, 1240 and 1920 px, with their counts of actions."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.board.invented_works import InventedWorks
from tests.browser.served_board import Served

pytestmark = pytest.mark.browser

#: By page: role and task, then its actions ("what = words" fills a field, "saves what" ends in a file), and what is
#: there then, if not a file.
TASKS = {
    "/rope?line=1": {
        "tech: note an adjustment": (
            ["#adjustment > summary", "#adjustment-what = pair 3 opened", "#adjustment-save"],
            "#adjustment-told:has-text('Saved')",
        ),
        "tech: from a figure to its readings": (
            ["#working > summary", "#working a:has-text('readings, with file and row') >> nth=0"],
            "body.plain table",
        ),
    },
    "/shift": {
        "lead: the reason of a stop": (
            ["#reasons > summary", "#stops input >> nth=0", "#reasons .offered button >> nth=0"],
            "#reason-told:has-text('is set for 1 stop')",
        ),
        "lead: a note for the next shift": (
            ["#note > summary", "#note-what = knife is dull", "#note-save"],
            "#note-told:has-text('Saved')",
        ),
        "lead: the handover sheet": (["saves .sheets a >> nth=0"], ""),
        "lead: the wall": (["a.wall-link >> nth=0"], ".wall .ahead"),
    },
    "/order": {
        "buyer: what to order as a file": (["saves .sheets a >> nth=2"], ""),
        "buyer: every web's picture": (["#further-pictures > summary"], "#further-pictures .main-svg"),
    },
    "/week": {
        "all: how to read a page": (
            ["summary:has-text('How to read this page')"],
            "details[open]:has(summary:has-text('How to read'))",
        )
    },
}


def act(page: Page, action: str, way: str) -> None:
    """One action of a person: a press, or words into a field."""
    what, _, words = action.partition(" = ")
    target = page.locator(what)
    if words:
        target.focus()
        page.keyboard.type(words)
    elif way == "keyboard":
        target.focus()
        page.keyboard.press("Space" if "input" in what else "Enter")
    elif way == "touch":
        target.tap()
    else:
        target.click()


@pytest.mark.parametrize(
    ("size", "way"), [("phone", "touch"), ("phone", "keyboard"), ("desk", "keyboard"), ("wall", "mouse")]
)
def test_each_task_takes_few_actions(serve_board: Served, size: str, way: str) -> None:
    board = serve_board(InventedWorks(), size)
    page = board.page
    for path, tasks in TASKS.items():
        board.open(path).drawn()
        for task, (actions, there) in tasks.items():
            for action in actions:
                if action.startswith("saves "):
                    with page.expect_download() as saved:
                        act(page, action.removeprefix("saves "), way)
                    assert saved.value.suggested_filename
                else:
                    act(page, action, way)
            if there:
                page.wait_for_selector(there)
            print(f"{size:5} {way:8} {len(actions)} actions: {task}")
            assert len(actions) <= 3
