"""The whole way in a real browser: an export given to the board, a shift picked, the sentences read."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from shutil import copy2

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.board.app import create_app, open_answers
from lineview.board.serve import address_of, open_server
from lineview.board.workers import Workers
from lineview.report.answer import Question
from tests.main_job.invented_week import DEMO

pytestmark = pytest.mark.browser
QUESTIONS: tuple[Question, ...] = ("rope", "weight", "shift", "wrap", "order")


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory):
    """The invented works with all but the last day of one machine taken in."""
    folder = tmp_path_factory.mktemp("browser-works")
    copy2(DEMO / "plant.toml", folder / "plant.toml")
    early = [p for p in sorted((DEMO / "exports").iterdir()) if not p.name.startswith("wrap1_2026-06-12")]
    with Works(folder) as opened:
        opened.take(early)
        yield opened


def test_an_export_is_uploaded_a_shift_picked_and_its_sentence_read(serve_board, works) -> None:
    board = serve_board(works).open("/intake")
    before = works.store.intakes().height
    late = DEMO / "exports" / "wrap1_2026-06-12.csv"
    board.page.set_input_files("input[type=file]", str(late))
    board.until(f"document.body.innerText.includes('{late.name}')")
    assert works.store.intakes().height == before + 1
    board.open("/shift?line=line1&machine=wrap1&period=2026-06-12.late").drawn()
    expected = works.ask(read_question("shift", "line1", "wrap1", "2026-06-12.late"))
    assert board.sentence == expected.text
    good = expected.figure("good_pieces")
    assert good is not None and f"{good.value:,}" in board.sentence
    link = board.page.locator("a", has_text="Fri 12 June, early").first
    href = link.get_attribute("href")
    assert href is not None
    board.open(href if href.startswith("/") else f"/shift{href}")
    assert board.sentence == works.ask(read_question("shift", "line1", "wrap1", "2026-06-12.early")).text


@pytest.mark.parametrize("question", QUESTIONS)
def test_each_page_shows_the_same_sentence_as_the_command_line(serve_board, works, question: Question) -> None:
    board = serve_board(works).open(f"/{question}").drawn()
    assert board.sentence == works.ask(read_question(question)).text


def test_a_bad_export_gets_a_plain_sentence_and_nothing_is_kept(serve_board, works, tmp_path: Path) -> None:
    board = serve_board(works).open("/intake")
    before = works.store.intakes().height
    bad = tmp_path / "wrap1_2026-06-13.csv"
    bad.write_bytes(b"")
    board.page.set_input_files("input[type=file]", str(bad))
    board.until("document.body.innerText.includes('empty')")
    assert works.store.intakes().height == before


def test_from_a_figure_to_its_readings_in_two_actions(serve_board, works) -> None:
    board = serve_board(works, "phone").open("/rope")
    page = board.page
    page.click("#working > summary")  # 1
    page.click("#working >> text=readings, with file and row >> nth=0")  # 2
    page.wait_for_selector("h1:has-text('Readings of')")
    assert page.locator("td[data-label=export]").first.inner_text().startswith("sizer1")
    assert page.locator("td[data-label=row]").first.inner_text().strip().isdigit()


@pytest.fixture(scope="module")
def kept(browser_here: Browser, works: Works) -> Iterator[str]:
    """The address of a board whose worker has made the page of the shift before."""
    workers = Workers(open_answers, works.folder, None, 1)
    server = open_server(create_app(works, workers=workers), port=0)
    threading.Thread(target=server.run, daemon=True).start()
    try:
        address = address_of(server, "127.0.0.1") + "shift"
        first = browser_here.new_page()
        first.goto(address)
        first.wait_for_selector("#sentence:not(:has(.waiting))")
        first.close()
        yield address
    finally:
        server.close()
        workers.close()


@pytest.fixture
def slow(browser_here: Browser, kept: str) -> Iterator[tuple[Page, list[Route]]]:
    """A browser that has been here before, at a document whose call for the page is held up."""
    live, held = browser_here.new_page(), list[Route]()

    def hold(route: Route) -> None:
        if "head.children" in (route.request.post_data or "").partition(",")[0]:
            held.append(route)
        else:
            route.continue_()

    live.goto(kept)
    live.wait_for_selector("#sentence:not(:has(.waiting))")
    live.route("**/_dash-update-component*", hold)
    live.goto(kept)
    while not held:
        live.wait_for_timeout(50)
    yield live, held
    live.close()


def let_go(live: Page, held: list[Route]) -> None:
    """Let what is held go on, until the page stands."""
    for route in held:
        route.continue_()
    live.unroute_all()
    live.wait_for_selector("#start", state="detached")


def test_the_sentence_stands_before_any_script_has_run(browser_here: Browser, works: Works, kept: str) -> None:
    plain = browser_here.new_context(java_script_enabled=False).new_page()
    plain.goto(kept)
    assert " ".join(plain.inner_text("#start .sentence").split()) == works.ask(read_question("shift")).text
    assert plain.locator("#react-entry-point").is_hidden()
    shown = plain.locator("#start .picker:visible").count()
    plain.context.close()
    live = browser_here.new_page()
    live.goto(kept)
    live.wait_for_selector("#start", state="detached")
    assert shown == live.locator("#head .picker:visible").count()
    live.close()


def test_the_live_page_takes_over_an_open_picker_and_the_focus(slow: tuple[Page, list[Route]]) -> None:
    live, held = slow
    live.click("#start .pick-period > summary")
    let_go(live, held)
    assert live.locator("#pick-period[open]").count() == 1
    assert live.evaluate("document.activeElement.closest('details').id") == "pick-period"
    live.locator("#pick-period .choices a").nth(1).click()  # within the board, no document anew
    live.wait_for_url("**period=*")


def test_the_start_of_a_document_breaks_no_rule(slow: tuple[Page, list[Route]]) -> None:
    live, held = slow
    live.evaluate("document.querySelectorAll('#start details').forEach(fold => { fold.open = true; })")
    found = Axe().run(live).response["violations"]
    assert [(rule["id"], node["html"][:160]) for rule in found for node in rule["nodes"]] == []
    let_go(live, held)


def test_the_live_page_takes_over_the_link_in_focus(slow: tuple[Page, list[Route]]) -> None:
    live, held = slow
    live.focus("#start >> text=Weight")
    let_go(live, held)
    assert live.evaluate("document.activeElement.closest('#head') && document.activeElement.textContent") == "Weight"


def test_night_chosen_before_the_page_stands_is_the_night_it_is_drawn_for(slow: tuple[Page, list[Route]]) -> None:
    live, held = slow
    live.click("#start .theme")
    let_go(live, held)
    live.wait_for_selector(".main-svg text")
    assert live.inner_text("#theme") == "Day"
    drawn = "[getComputedStyle(document.querySelector('.main-svg text')).fill, getComputedStyle(document.body).color]"
    for _ in range(100):  # no text is evaluated within the page, so it is asked from here
        text, ink = live.evaluate(drawn)
        if text == ink:
            break
        live.wait_for_timeout(50)
    assert text == ink


def test_a_page_that_the_network_lost_is_asked_for_again(slow: tuple[Page, list[Route]]) -> None:
    live, held = slow
    held[0].abort()
    live.wait_for_selector("#start .under-way:has-text('The board cannot be reached.')")
    let_go(live, held[1:])
    assert live.inner_text("#under-way") == ""


def test_an_open_page_says_that_the_board_is_gone_until_it_is_back(slow: tuple[Page, list[Route]]) -> None:
    live, held = slow
    let_go(live, held)
    live.wait_for_selector("#under-way:empty", state="attached")
    live.route("**/_dash-update-component*", lambda route: route.abort())
    live.evaluate("window.dash_clientside.set_props('tick', {n_intervals: 1000})")
    live.wait_for_selector("#under-way:has-text('The board cannot be reached.')")
    live.unroute_all()
    live.wait_for_selector("#under-way:empty", state="attached")
    assert live.locator("#sentence .waiting").count() == 0
