"""The whole way in a real browser: an export given to the board, a shift picked, the sentences read."""

from __future__ import annotations

import threading
from pathlib import Path
from shutil import copy2

import pytest
from playwright.sync_api import Browser, Route

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


def test_the_sentence_stands_before_any_script_has_run_and_the_live_page_takes_its_place(
    browser_here: Browser, works
) -> None:
    workers = Workers(open_answers, works.folder, None, 1)
    server = open_server(create_app(works, workers=workers), port=0)
    threading.Thread(target=server.run, daemon=True).start()
    try:
        address, expected = address_of(server, "127.0.0.1") + "shift", works.ask(read_question("shift")).text
        live = browser_here.new_page()
        live.goto(address)
        live.wait_for_selector("#sentence:not(:has(.waiting))")
        plain = browser_here.new_context(java_script_enabled=False).new_page()
        plain.goto(address)
        assert plain.inner_text("#start .sentence").replace("\n", " ") == expected
        assert plain.locator("#react-entry-point").is_hidden()
        assert plain.locator("#start .picker:visible").count() == live.locator("#head .picker:visible").count()

        held: list[Route] = []

        def hold(route: Route) -> None:
            held.append(route)

        live.route("**/_dash-update-component*", hold)
        live.goto(address)
        live.click("#start .pick-period > summary")
        for route in held:
            route.continue_()
        live.unroute_all()
        live.wait_for_selector("#pick-period[open]")
        assert live.locator("#start").count() == 0
        assert live.evaluate("document.activeElement.closest('details').id") == "pick-period"
        live.locator("#pick-period .choices a").nth(1).click()  # within the board, no document anew
        live.wait_for_function("location.search.includes('period=')")
        plain.context.close()
        live.close()
    finally:
        server.close()
        workers.close()
