"""The whole way in a real browser: an export given to the board, a shift picked, the sentences read."""

from __future__ import annotations

from pathlib import Path
from shutil import copy2

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
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
