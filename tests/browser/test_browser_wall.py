"""The wall, several shifts as strips, and the head of each page, in a real browser."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import polars as pl
import pytest

from lineview.app.question import QuestionScope
from lineview.board.address import NAMES
from lineview.charts.shift import HATCHING, UNEXPLAINED
from lineview.core.figure import Period
from lineview.report.answer import Answer, Table, columns_of
from tests.board import invented_answers as invented
from tests.board.invented_works import InventedWorks
from tests.browser.served_board import Served

pytestmark = pytest.mark.browser

#: Of a screen's height the head takes at most this share: three rows to press of 44 px on the week's page of a phone.
MOST_OF_HEAD = 0.16
TOP = "document.querySelector('.top').getBoundingClientRect().height"


@pytest.mark.parametrize("size", ["phone", "tablet", "desk", "wall"])
def test_every_page_opens_with_its_sentence_under_a_low_head_and_fits(serve_board: Served, size: str) -> None:
    board = serve_board(InventedWorks(), size)
    page = board.page
    shares, tops = {}, {}
    for name in (*invented.ANSWERS, "intake", "bags", "works"):
        page.goto(f"{board.base}/{name}")
        page.wait_for_selector("body.plain, #sentence:not(:empty):not(:has(.waiting))")
        shares[name] = round(page.evaluate(f"{TOP} / innerHeight"), 3)
        wide, inner = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide <= inner, f"{name} scrolls sideways"
        if name in invented.ANSWERS:
            board.drawn()
            tops[name] = page.evaluate("document.querySelector('.picture').getBoundingClientRect().top / innerHeight")
            assert board.sentence == invented.ANSWERS[name]().text
            assert page.title() == f"{NAMES[name]} · Gorse Lane Sweets"
            boxes = [link.bounding_box() for link in page.locator(".pages a:visible, .pickers .picker").all()]
            rows = [round(box["y"], -1) for box in boxes if box is not None]
            assert size == "phone" or (name == "week" and size == "desk") or len(set(rows)) == 1, f"{name}: {rows}"
            for box in boxes:
                assert box is not None and 0 <= box["x"] <= inner - box["width"], f"{name}: a tab or picker is cut"
    print(size, "share of the head", shares, "first picture at", {n: round(t, 2) for n, t in tops.items()})
    assert max(shares.values()) <= MOST_OF_HEAD
    assert max(tops.values()) < 0.9  # its first part is seen without scrolling


@pytest.mark.parametrize("way", ["touch", "keyboard"])
def test_a_phone_goes_to_another_page_in_two_actions(serve_board: Served, way: str) -> None:
    board = serve_board(InventedWorks(), "phone").open("/rope?line=2")
    page = board.page
    summary, link = page.locator("#pick-page > summary"), page.locator("#pick-page .choices a:text-is('Shift')")
    assert summary.inner_text() == "Rope"
    for action in (summary, link):
        if way == "keyboard":
            action.focus()
            page.keyboard.press("Enter")
        else:
            action.tap()
        box = action.bounding_box()
        assert box is None or box["height"] >= 44  # gone once it was followed
    page.wait_for_selector("#pick-page > summary:has-text('Shift')")
    assert board.path == "/shift?line=2"
    assert page.locator("#pick-page[open]").count() == 0
    page.goto(f"{board.base}/works")
    page.tap("#pick-page > summary")
    page.tap("#pick-page .choices a:text-is('Rope')")
    board.settled()
    assert board.path == "/rope"


def test_the_wall_reads_from_five_metres_and_fits_its_screen(serve_board: Served) -> None:
    board = serve_board(InventedWorks(), "wall").open("/wall?line=1").drawn()
    board.until("document.querySelector('.js-plotly-plot .main-svg').getBoundingClientRect().height > 300")
    size = board.page.evaluate("parseFloat(getComputedStyle(document.getElementById('sentence')).fontSize)")
    assert size >= 55  # px on a screen of 1920
    tall, inner = board.page.evaluate("[document.documentElement.scrollHeight, innerHeight]")
    assert tall <= inner
    ticks = board.page.evaluate("parseFloat(document.querySelector('.xtick text').style.fontSize)")
    assert ticks >= 40
    for part in (".legend", ".ahead dd"):
        assert board.page.evaluate(f"parseFloat(getComputedStyle(document.querySelector('{part}')).fontSize)") >= 40
    assert board.page.locator(".legend li").all_inner_texts() == sorted(
        board.page.locator(".legend li").all_inner_texts(), key=[*HATCHING, UNEXPLAINED].index
    )
    ahead = board.page.inner_text(".ahead")
    assert "film reel ends 13:52" in ahead
    assert board.page.locator("#theme:visible, nav:visible, input:visible").count() == 0


#: Of each axis the places of its labels, in order.
LABELS = """Array.from(document.querySelectorAll('.main-svg .%s text')).map(text => text.getBoundingClientRect())
  .filter(box => box.width).map(box => [box.left, box.right, box.top, box.bottom])"""


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (1366, 768), (3840, 2160)])
def test_no_labels_of_the_wall_lie_on_each_other_on_any_screen(serve_board: Served, width: int, height: int) -> None:
    board = serve_board(InventedWorks(), "wall")
    board.page.set_viewport_size({"width": width, "height": height})
    board.open("/wall?line=1").drawn().page.wait_for_timeout(300)
    rows, columns = (board.page.evaluate(LABELS % axis) for axis in ("ytick", "xtick"))
    assert len(rows) > 2
    # of a label's box digits fill the middle half
    assert all(upper[3] <= lower[2] + 0.4 * (lower[3] - lower[2]) for lower, upper in pairwise(rows)), rows
    assert all(left[1] <= right[0] for left, right in pairwise(columns)), columns
    assert rows[0][3] - rows[0][2] > 0.02 * width  # as large beside the rest as on the usual screen
    said = board.page.evaluate("parseFloat(getComputedStyle(document.getElementById('under-way')).fontSize)")
    assert said > 0.017 * width  # that the board is gone is read from afar too


def test_the_wall_of_all_lines_has_a_row_a_machine(serve_board: Served) -> None:
    works = InventedWorks()
    board = serve_board(works, "wall").open("/wall?line=all")
    rows = board.page.locator(".wall tbody tr").all_inner_texts()
    assert [row.split("\t")[0] for row in rows] == [
        f"{line}, {machine.label}"
        for machine in works.plant.machines
        if machine.kind != "sizer"
        for line in [next(one.name or one.id for one in works.plant.lines if one.id == machine.line)]
    ]
    assert all("117,940" in row and "film reel ends 13:52" in row for row in rows)
    assert board.page.evaluate("parseFloat(getComputedStyle(document.querySelector('.wall td')).fontSize)") >= 40
    board.until("document.documentElement.dataset.stale === 'yes'")
    tall, inner = board.page.evaluate("[document.documentElement.scrollHeight, innerHeight]")
    assert tall <= inner


class Fortnight(InventedWorks):
    """A works whose week is ten early shifts, each of which ran but for an hour."""

    def ask(self, asked: QuestionScope) -> Answer:
        answer = super().ask(asked)
        if asked.named_period != "this-week":
            return answer
        first = datetime(2026, 6, 8, 4, tzinfo=UTC)
        starts = [first + timedelta(days=day) for day in range(12) if day % 7 < 5]
        parts = ((0, 3, "running", 340.0), (3, 4, "stop", 0.0), (4, 8, "running", 330.0))
        rows = [
            {"start": at + timedelta(hours=a), "end": at + timedelta(hours=b), "state": state, "rate_per_min": rate}
            for at in starts
            for a, b, state, rate in parts
        ]
        timeline = pl.DataFrame(rows).with_columns(reason=pl.lit(None, pl.String))
        table = Table(
            "shifts",
            "Shift by shift",
            columns_of("date: day; shift; rate"),
            [{"date": at.date(), "shift": "early", "rate": 292.5} for at in starts],
        )
        scope = replace(answer.scope, period=Period(first, first + timedelta(days=14)))
        return replace(answer, scope=scope, tables=(table,), series={**answer.series, "timeline": timeline})


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_fortnight_is_a_strip_a_shift_and_a_tap_opens_it(serve_board: Served, size: str) -> None:
    board = serve_board(Fortnight(), size).open("/shift?period=this-week").drawn()
    page = board.page
    links = page.locator(".table[aria-label='Shift by shift'] td:first-child a")  # for the keyboard
    assert links.nth(2).get_attribute("href") == "/shift?period=2026-06-10.early"
    label = page.locator(".ytick text:has-text('10')").first
    label.scroll_into_view_if_needed()
    board.until("[...document.querySelectorAll('.js-plotly-plot')].some(graph => graph.takesTaps)")
    third, plot = label.bounding_box(), page.locator(".nsewdrag").bounding_box()
    assert third is not None
    assert plot is not None
    across, down = plot["x"] + plot["width"] / 3, third["y"] + third["height"] / 2
    (page.touchscreen.tap if size == "phone" else page.mouse.click)(across, down)  # 1
    board.until("location.search === '?period=2026-06-10.early'")


def test_the_wall_shows_a_clock_and_calls_nobody_over_old_readings(serve_board: Served) -> None:
    board = serve_board(InventedWorks(), "wall").open("/wall?line=1").drawn()
    board.until("/^\\d{1,2}:\\d\\d/.test(document.getElementById('wall-clock').textContent)")
    board.until("document.documentElement.dataset.stale === 'yes'")
    called = "getComputedStyle(document.querySelector('.wall mark.call')).color"
    plain = "getComputedStyle(document.getElementById('sentence')).color"
    assert board.page.evaluate(called) == board.page.evaluate(plain)
    fresh = "document.querySelector('.read-at time').dateTime = new Date().toISOString()"
    board.page.evaluate(fresh)
    board.until("document.documentElement.dataset.stale === ''")
    assert board.page.evaluate(called) != board.page.evaluate(plain)


def test_the_wall_is_read_from_the_hand_on_a_phone(serve_board: Served) -> None:
    page = serve_board(InventedWorks(), "phone").open("/wall?line=1").drawn().page
    size = page.evaluate("parseFloat(getComputedStyle(document.getElementById('sentence')).fontSize)")
    assert 18 <= size <= 30
    ticks = page.evaluate("parseFloat(document.querySelector('.xtick text').style.fontSize)")
    assert 9 <= ticks <= 16
    wide, inner = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= inner
    legend = page.evaluate("document.querySelector('.main-svg').getBoundingClientRect().right")
    assert legend <= inner
