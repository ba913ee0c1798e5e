# ruff: noqa: E501 - scripts of the page read better unbroken
"""From an empty folder and a folder of exports to the first shift's answer, with the mouse and by keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from lineview.app.works import Works
from tests.browser.served_board import Board, Served
from tests.browser.test_browser_access import SMALL, UNNAMED
from tests.main_job.invented_week import DEMO
from tests.simulate.undescribed import Undescribed, make_undescribed

pytestmark = pytest.mark.browser
#: From the opened page to the answer: presses, keys and the choice of the folder.
MOST_ACTIONS = 12


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Undescribed:
    return make_undescribed(8, tmp_path_factory.mktemp("shop") / "machine logs")


@pytest.fixture
def new(tmp_path: Path, made: Undescribed, monkeypatch: pytest.MonkeyPatch) -> Iterator[Works]:
    """An empty folder on a computer that knows its zone."""
    monkeypatch.setenv("TZ", made.zone)
    folder = tmp_path / "mill_lane"
    folder.mkdir()
    with Works(folder, new=True) as works:
        yield works


class Hand:
    """Counts what a person does."""

    def __init__(self, board: Board) -> None:
        self.page = board.page
        self.actions = 0

    def press(self, words: str) -> None:
        self.actions += 1
        self.page.get_by_role("button", name=words).click()

    def key(self, name: str) -> None:
        self.actions += 1
        self.page.keyboard.press(name)


def first_answer(board: Board, works: Works, made: Undescribed) -> None:
    """The shift's page stands there with the pieces of the last shift."""
    board.page.wait_for_url("**/shift")
    board.settled()
    last = max(made.truth, key=lambda shift: shift.end)
    figure = board.sentence.split()[3].replace(",", "")
    assert last.made * 0.97 < int(figure) <= last.made  # good pieces: rejects are counted apart
    assert (works.folder / "plant.toml").is_file()
    assert sorted(p.name for p in (works.folder / "exports").iterdir()) == sorted(p.name for p in made.folder.iterdir())


def test_with_the_mouse(serve_board: Served, new: Works, made: Undescribed) -> None:
    board = serve_board(new)
    board.page.goto(board.base + "/")
    hand = Hand(board)
    assert board.page.inner_text("h1").startswith("Set this works up")
    board.page.set_input_files("#folder", str(made.folder))
    hand.actions += 2  # the button and the choice in the system's window
    hand.press("Look at these exports")
    board.page.wait_for_selector("h1:has-text('counted')")
    assert board.page.locator("tbody tr").count() > 3  # pieces by day stand there while it asks
    hand.press("Finish")
    first_answer(board, new, made)
    assert hand.actions <= MOST_ACTIONS


def test_by_keyboard_alone(serve_board: Served, new: Works, made: Undescribed) -> None:
    board = serve_board(new)
    # Chromium hands its dialogs over from the first listener on, and not at once: a key pressed in between is lost.
    board.page.on("filechooser", lambda _chooser: None)
    board.page.goto(board.base + "/")
    hand = Hand(board)
    hand.key("Tab")  # skip to the page
    hand.key("Enter")
    board.until("document.activeElement.id === 'answer'")
    hand.key("Tab")
    with board.page.expect_file_chooser() as chooser:
        hand.key("Enter")
    chooser.value.set_files(str(made.folder))
    hand.actions += 1
    hand.key("Tab")
    hand.key("Tab")
    hand.key("Enter")
    board.page.wait_for_selector("h1:has-text('counted')")
    hand.key("Tab")
    hand.key("Enter")
    board.until("document.activeElement.id === 'answer'")
    hand.key("Tab")  # the name of the works
    hand.key("Enter")
    first_answer(board, new, made)
    assert hand.actions <= MOST_ACTIONS


@pytest.mark.parametrize(("size", "least"), [("desk", 24), ("phone", 44)])
def test_everything_on_the_page_has_a_name_and_a_size(
    serve_board: Served, new: Works, made: Undescribed, size: str, least: int
) -> None:
    board = serve_board(new, size)
    board.page.goto(board.base + "/setup")
    board.page.set_input_files("#folder", str(made.folder))
    board.page.get_by_role("button", name="Look").click()
    board.page.wait_for_selector("h1:has-text('counted')")
    for summary in board.page.locator("main summary").all():
        summary.click()
    assert board.page.evaluate(UNNAMED) == []
    assert board.page.evaluate(SMALL, least) == []
    wide, inner = board.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= inner
    unlabelled = (
        "[...document.querySelectorAll('input:not([type=hidden]), select')].filter(e => !e.labels.length).length"
    )
    assert board.page.evaluate(unlabelled) == 0
    repeated = "(() => { const ids = [...document.querySelectorAll('[id]')].map(e => e.id); return ids.filter((id, i) => ids.indexOf(id) !== i); })()"
    assert board.page.evaluate(repeated) == []


def test_what_the_exports_leave_open_has_to_be_checked(
    serve_board: Served, new: Works, tmp_path: Path, made: Undescribed
) -> None:
    board = serve_board(new)
    one_day = tmp_path / "one day"
    one_day.mkdir()
    for path in made.folder.glob("*2026-06-08*"):
        (one_day / path.name).write_bytes(path.read_bytes())
    board.page.goto(board.base + "/setup")
    board.page.set_input_files("#folder", str(one_day))
    board.page.get_by_role("button", name="Look").click()
    board.page.wait_for_selector("text=one day does not tell breaks from stops")
    board.page.get_by_role("button", name="Finish").click()
    assert not (new.folder / "plant.toml").exists()  # the browser points at the box that has to be ticked
    board.page.get_by_label("These shifts and breaks are right").check()
    board.page.get_by_role("button", name="Finish").click()
    board.page.wait_for_url("**/shift")
    board.settled()
    assert (new.folder / "plant.toml").is_file()


def test_one_answer_is_taken_before_the_others_are_given(serve_board: Served, new: Works, tmp_path: Path) -> None:
    board = serve_board(new)
    rows = "".join(f"2026-06-08 {6 + k // 60:02}:{k % 60:02};{4711 + 340 * k};{int(k % 60 > 0)}\n" for k in range(481))
    (tmp_path / "wrapper1.csv").write_text("Time;Pieces;Status\n" + rows, encoding="utf-8")
    board.page.goto(board.base + "/setup")
    board.page.set_input_files("#files", str(tmp_path / "wrapper1.csv"))
    board.page.get_by_role("button", name="Look").click()
    board.page.wait_for_selector("h1:has-text('nothing in them counts pieces')")
    board.page.get_by_label("the state of the machine").check()
    board.page.get_by_role("button", name="Work it out again").click()
    board.page.wait_for_selector("h1:has-text('On 1 day 1 machine counted 163,200 pieces.')")
    assert board.page.input_value("[name=s0-start]")
    with board.page.expect_navigation():
        board.page.get_by_role("button", name="Work it out again").click()
    board.page.get_by_label("These shifts and breaks are right").check()  # what is only likely is still open


def test_a_page_takes_the_price_that_it_lacks_and_the_change_is_undone(serve_board: Served, tmp_path: Path) -> None:
    text = (DEMO / "plant.toml").read_text(encoding="utf-8").replace("price_per_reel = 9.40\n", "")
    (tmp_path / "plant.toml").write_text(text, encoding="utf-8")
    with Works(tmp_path) as works:
        works.take([DEMO / "exports" / "wrap1_2026-06-08.csv"])
        board = serve_board(works).open("/wrap?machine=wrap1").drawn()
        board.page.click("summary:has-text('This page lacks 1 thing: price of a reel')")
        assert board.page.evaluate(UNNAMED) == []
        board.page.get_by_label("Wax paper: price of a reel (EUR)").fill("9,80")
        board.page.locator("#lacking").get_by_label("Your name").fill("Ann")
        board.page.get_by_role("button", name="Save").click()
        board.page.wait_for_url("**/wrap?machine=wrap1")
        board.settled()
        board.until("!document.querySelector('#lacking')")
        assert works.plant.webs[-1].price_per_reel == 9.8
        board.page.get_by_role("link", name="Works").click()
        board.page.wait_for_selector("text=web wax: price of a reel not set → 9.80")
        for summary in board.page.locator("main summary").all():
            summary.click()
        assert board.page.evaluate(UNNAMED) == []
        assert board.page.evaluate(SMALL, 24) == []
        board.page.get_by_role("button", name="Undo change 1").click()
        board.page.wait_for_selector("text=web wax: price of a reel 9.80 → not set.")
        assert works.plant.webs[-1].price_per_reel is None
