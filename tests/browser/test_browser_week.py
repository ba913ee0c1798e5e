"""The week's page: what recurs is given its reason for all stops at once, and that is undone; a second scope."""

from __future__ import annotations

import re
from pathlib import Path
from shutil import copytree

import pytest

from lineview.app.question import read_question
from lineview.app.trials import TrialText, note_trial
from lineview.app.week_inputs import trials_of
from lineview.app.works import Works
from tests.browser.served_board import Served
from tests.main_job.invented_week import DEMO


@pytest.fixture
def works(tmp_path: Path):
    copytree(DEMO, tmp_path, dirs_exist_ok=True)
    exports = tmp_path / "exports"
    with Works(tmp_path) as opened:
        opened.take([*sorted(exports.glob("wrap1*")), *exports.glob("batches*"), *exports.glob("stops1*")])
        yield opened


def patterns(works: Works) -> list[dict[str, object]]:
    answer = works.ask(read_question("week"))
    return [dict(row) for table in answer.tables if table.name == "patterns" for row in table.rows]


def test_all_stops_of_a_pattern_get_their_reason_and_lose_it_again(works: Works, serve_board: Served) -> None:
    before = patterns(works)[0]
    board = serve_board(works).open("/week").drawn()
    board.page.get_by_role("button", name="Set this reason for all").first.click()
    board.page.get_by_text("is set for").wait_for()
    assert before["words"] not in [row["words"] for row in patterns(works)]
    ledger = next(t for t in works.ask(read_question("week")).tables if t.name == "ledger of losses")
    assert f"stops: {before['reason']}" in [row["cause"] for row in ledger.rows]
    board.page.get_by_role("button", name="Undo").click()
    board.page.get_by_text("Undone for").wait_for()
    assert patterns(works)[0] == before


def test_a_second_scope_stands_in_the_address(works: Works, serve_board: Served) -> None:
    board = serve_board(works).open("/week?only=shift%3Dearly&against=shift%3Dlate").drawn()
    assert "Early shifts" in board.sentence
    assert board.page.locator("#pick-against .choice").inner_text() == "early shifts: late"


def test_a_trial_is_noted_shown_closed_and_taken_back(works: Works, serve_board: Served) -> None:
    board = serve_board(works, "phone").open("/week").drawn()
    page = board.page
    page.get_by_text("Note a trial").click()
    page.get_by_role("button", name="Note the trial").click()
    page.get_by_text("nothing says what was changed").wait_for()
    page.locator("#trial-what").fill("new knife")
    page.locator("#trial-begins").fill("2026-06-11")
    page.locator("#trial-shifts").fill("8")
    page.get_by_role("button", name="Note the trial").click()
    page.get_by_text("judged by effective rate over 8 shifts").wait_for()
    page.get_by_role("link", name="Show it").click()
    page.get_by_text("New knife, Line 1:").first.wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_text("Close this trial").click()
    page.locator("#trial-decision").fill("it stays")
    page.get_by_role("button", name="Close the trial").click()
    page.get_by_text("Closed: it stays.").wait_for()
    page.get_by_role("button", name="Take back the last change").click()
    page.get_by_text("Taken back.").wait_for()
    assert [trial.decision for trial in trials_of(works.store)] == [""]


def test_a_long_name_of_a_trial_stays_on_a_phones_page(works: Works, serve_board: Served) -> None:
    number = note_trial(works, TrialText('Über <b>"' + "x" * 300, "2026-06-11", line="line1", shifts="8")).number
    for path in ("/week", f"/week?trial={number}"):
        page = serve_board(works, "phone").open(path).drawn().page
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert page.locator("#sentence b").count() == 0


def test_a_shift_in_a_table_is_opened_without_loading_the_board_anew(works: Works, serve_board: Served) -> None:
    page = serve_board(works).open("/shift?period=2026-06-08..2026-06-12").drawn().page
    page.evaluate("window.same = true")
    link = page.locator("#page td a[data-go]").first
    shift = link.inner_text()
    for fold in page.locator("#page details:has(td a[data-go]) > summary").all():
        fold.click()
    link.click()
    page.wait_for_url(re.compile(r"period=2026-06-\d\d\.\w"))
    page.locator("#pick-period .choice").wait_for()
    assert page.evaluate("window.same"), shift
    page.go_back()
    page.wait_for_url("**/shift?period=2026-06-08..2026-06-12")
