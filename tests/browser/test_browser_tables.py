"""Long tables in a browser: sorted, filtered, copied and saved, by mouse, touch and keyboard alone."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Download, Locator

from lineview.app.question import QuestionScope
from lineview.report.answer import Answer, Table, columns_of
from tests.board.invented_works import InventedWorks
from tests.browser.served_board import Board, Served

pytestmark = pytest.mark.browser
COLUMNS = columns_of("at: when; pieces; what; low: from [mm]")
#: Moments whose text sorts otherwise than their time, numbers likewise, one that is not known, one like a formula.
STARTS = datetime(2026, 6, 8, 4, tzinfo=UTC)
PIECES = [9, 1200, 10, None, 88, 7, 1100, 100, 6, 5, 4, 3]


def rows(n: int) -> list[dict[str, object]]:
    what = ["jam at knife", "=1+1", "film tore"]
    return [
        {"at": STARTS + timedelta(hours=7 * i), "pieces": PIECES[i % 12], "what": what[i % 3], "low": -0.5 + i}
        for i in range(n)
    ]


class LongTables(InventedWorks):
    """A works whose shift has a table of thirteen rows, and of one more with each change, and one of 160."""

    def ask(self, asked: QuestionScope) -> Answer:
        answer = super().ask(asked)
        some = Table("some", "Some", COLUMNS, rows(12 + self.state))
        return replace(answer, tables=(some, Table("many", "Many", COLUMNS, rows(160))))


def table(board: Board, title: str) -> Locator:
    board.page.click(f"summary:has-text('{title} (')")
    found = board.page.locator(f".table[aria-label='{title}']")
    found.locator(".tools").wait_for()
    return found


def column(found: Locator, at: int) -> list[str]:
    shown = found.locator(f"tbody:not([hidden]) tr:not([hidden]) td:nth-child({at})")
    return shown.all_inner_texts()


def until(board: Board, title: str, says: str) -> None:
    board.page.wait_for_selector(f".table[aria-label='{title}'] [role=status]:has-text('{says}')")


def read(saved: Download) -> list[list[str]]:
    return list(csv.reader(io.StringIO(Path(saved.path()).read_text(encoding="utf-8-sig"))))


def test_a_heading_sorts_by_what_a_cell_is_and_back(serve_board: Served) -> None:
    board = serve_board(LongTables()).open("/shift")
    found = table(board, "Some")
    given = column(found, 2)
    pieces = found.get_by_role("button", name="pieces")
    pieces.click()
    until(board, "Some", "13 rows of 13")
    assert found.locator("th[aria-sort=descending]").inner_text().startswith("pieces")
    assert column(found, 2) == ["1,200", "1,100", "100", "88", "10", "9", "9", "7", "6", "5", "4", "3", "–"]
    pieces.click()
    assert column(found, 2) == ["3", "4", "5", "6", "7", "9", "9", "10", "88", "100", "1,100", "1,200", "–"]
    pieces.click()
    assert column(found, 2) == given
    assert found.locator("th[aria-sort]").count() == 0
    found.get_by_role("button", name="when").click()
    assert column(found, 2) == given  # by time, where their text would begin with Mon, Thu, Tue, Wed


@pytest.mark.parametrize("way", ["keyboard", "touch"])
def test_what_is_filtered_is_saved_and_copied_and_stays_with_new_data(serve_board: Served, way: str) -> None:
    works = LongTables()
    board = serve_board(works, "phone" if way == "touch" else "desk").open("/shift")
    page, found = board.page, table(board, "Some")
    if way == "touch":
        found.locator("select").select_option(label="pieces, down")  # 1
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    else:
        found.get_by_role("button", name="pieces").focus()
        page.keyboard.press("Enter")  # 1
    found.locator("input").fill("1+1")  # 2
    until(board, "Some", "4 rows of 13")
    assert column(found, 2) == ["1,200", "100", "88", "4"]
    save = found.get_by_role("button", name="Save as CSV")
    with page.expect_download() as saved:
        save.tap() if way == "touch" else save.press("Enter")  # 3
    assert saved.value.suggested_filename == "shift-wrap1-2026-06-09-early-some.csv"
    head, first, *_ = read(saved.value)
    assert head == ["when", "pieces", "what", "from, mm"]
    assert first == ["2026-06-08T13:00:00+02:00", "1200", "'=1+1", "0.5"]
    copy = found.get_by_role("button", name="Copy")
    copy.tap() if way == "touch" else copy.press("Space")
    until(board, "Some", "4 rows copied")
    works.state += 3  # new data: three further rows, one of which is filtered in
    until(board, "Some", "5 rows of 16")
    assert found.locator("input").input_value() == "1+1"
    assert column(found, 2) == ["1,200", "1,200", "100", "88", "4"]


def test_of_a_table_that_shows_its_first_rows_all_are_sorted(serve_board: Served) -> None:
    board = serve_board(LongTables()).open("/shift")
    found = table(board, "Many")
    assert len(column(found, 1)) == 150
    found.get_by_role("button", name="from").click()
    until(board, "Many", "160 rows of 160")
    assert column(found, 4)[0] == "158.5"
    with board.page.expect_download() as saved:
        found.get_by_role("button", name="Save as CSV").click()
    assert [row[3] for row in read(saved.value)[1:4]] == ["158.5", "157.5", "156.5"]
    board.open("/intake")
    assert "tables.later.js" not in board.page.content()  # no weight where there is no long table
