# ruff: noqa: E501 - scripts of the page read better unbroken
"""Keyboard, names and sizes: what WCAG 2.2 AA asks of the pages, checked in the browser."""

from __future__ import annotations

import pytest

from tests.board import invented_answers as invented
from tests.board.invented_works import InventedWorks
from tests.browser.served_board import Served

pytestmark = pytest.mark.browser
PAGES = [*invented.ANSWERS, "intake", "bags"]
CHARTLESS = ("intake", "bags")

UNNAMED = """() => {
  const bad = [];
  for (const e of document.querySelectorAll('a, button, input, summary, [role=button], select, textarea')) {
    if (!e.checkVisibility() || e.type === 'file') continue;
    const name = (e.getAttribute('aria-label') || e.innerText || '').trim()
      || [...(e.labels || [])].map(l => l.innerText).join('').trim();
    if (!name) bad.push(e.outerHTML.slice(0, 120));
  }
  return bad;
}"""

SMALL = """(least) => {
  const bad = [];
  for (const e of document.querySelectorAll('a, button, input, summary, [role=button]')) {
    if (!e.checkVisibility() || e.type === 'file' || e.closest('p, .skip, .tables')) continue;
    const box = (e.closest('label') || e).getBoundingClientRect();
    if (box.width && (box.height < least - 0.5 || box.width < Math.min(least, 24) - 0.5))
      bad.push(e.outerHTML.slice(0, 90) + ' ' + Math.round(box.width) + 'x' + Math.round(box.height));
  }
  return bad;
}"""

OUTLINE = """() => {
  const ids = [...document.querySelectorAll('[id]')].map(e => e.id);
  return {
    repeated: ids.filter((id, i) => ids.indexOf(id) !== i && !id.startsWith('topdef') && !/^[a-z]?[0-9a-f]{6}/.test(id)),
    h1: document.querySelectorAll('h1').length,
    mains: document.querySelectorAll('main').length,
    unnamedTables: [...document.querySelectorAll('table')].filter(t => !t.caption || !t.caption.innerText.trim()).length,
    headless: [...document.querySelectorAll('table')].filter(t => !t.querySelector('th[scope]')).length,
    unnamedCharts: [...document.querySelectorAll('[role=img]')].filter(e => (e.getAttribute('aria-label') || '').length < 30).length,
    charts: document.querySelectorAll('.js-plotly-plot').length,
    live: document.getElementById('sentence').getAttribute('aria-live'),
    lang: document.documentElement.lang,
  };
}"""


@pytest.mark.parametrize("page", PAGES)
def test_everything_has_a_name_and_a_place(serve_board: Served, page: str) -> None:
    board = serve_board(InventedWorks()).open(f"/{page}")
    if page not in CHARTLESS:
        board.drawn()
    for summary in board.page.locator("#above summary, #page summary, #below summary").all():
        summary.click()
    assert board.page.evaluate(UNNAMED) == []
    found = board.page.evaluate(OUTLINE)
    assert found["repeated"] == []
    assert (found["h1"], found["mains"], found["live"], found["lang"]) == (1, 1, "polite", "en")
    assert (found["unnamedTables"], found["headless"], found["unnamedCharts"]) == (0, 0, 0)
    if page not in CHARTLESS:
        assert found["charts"] >= 1
        assert board.page.locator("#chart-table table").count() >= 1  # every chart has its table


@pytest.mark.parametrize(("size", "least"), [("desk", 24), ("phone", 44)])
def test_targets_are_large_enough(serve_board: Served, size: str, least: int) -> None:
    board = serve_board(InventedWorks(), size)
    for page in ("shift", "intake", "rope", "bags"):
        board.open(f"/{page}")
        label = board.page.inner_text("#theme")
        board.page.click("#reasons > summary" if page == "shift" else "#theme")
        if page != "shift":  # it is kept for later pages, so let it happen before they are opened
            board.until(f"document.getElementById('theme').innerText !== '{label}'")
        assert board.page.evaluate(SMALL, least) == [], page
        if page not in CHARTLESS:
            board.page.click("#pick-period summary")
            assert board.page.evaluate(SMALL, least) == [], f"{page}, picker open"
            wide, inner = board.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
            assert wide <= inner


def test_all_by_keyboard(serve_board: Served) -> None:
    board = serve_board(InventedWorks()).open("/shift").drawn()
    page = board.page
    here = "document.activeElement.innerText.trim() || document.activeElement.id"
    page.keyboard.press("Tab")
    assert page.evaluate(here) == "Skip to the answer"
    assert page.evaluate("document.activeElement.getBoundingClientRect().top >= 0")
    seen = []
    for _ in range(30):
        page.keyboard.press("Tab")
        seen.append(page.evaluate(here).replace("\n", " "))
        if "How this was worked out" in seen:
            break
    for name in ("Rope", "Intake", "line 1", "machine cut-and-wrap 1", "period Tue 9 June, early", "Night"):
        assert name in seen
    assert "The picture as a table" in seen


def test_a_picker_by_keyboard(serve_board: Served) -> None:
    board = serve_board(InventedWorks()).open("/shift")
    page = board.page
    page.focus("#pick-period summary")

    page.keyboard.press("Enter")
    page.wait_for_selector("#pick-period[open]")
    page.keyboard.press("Escape")
    assert page.locator("#pick-period[open]").count() == 0
    assert page.evaluate("document.activeElement.closest('details').id") == "pick-period"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#pick-period .choice:has-text('Mon 8 June, late')")
    assert board.path == "/shift?period=2026-06-08.late"

    page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"  # focus is seen


def test_skip_link_leads_to_the_answer(serve_board: Served) -> None:
    board = serve_board(InventedWorks()).open("/rope")
    board.page.keyboard.press("Tab")
    board.page.keyboard.press("Enter")
    assert board.page.evaluate("document.activeElement.id") == "answer"
    assert board.path == "/rope"


def test_the_call_is_told_without_colour(serve_board: Served) -> None:
    board = serve_board(InventedWorks()).open("/rope")
    style = board.page.evaluate(
        "(() => { const s = getComputedStyle(document.querySelector('mark.call'));"
        " return [s.fontWeight, s.textDecorationLine]; })()"
    )
    assert style == ["600", "underline"]
