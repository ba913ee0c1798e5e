"""The buyer's page: what is supposed is followed by sentence and picture, by touch and by keyboard alone."""

import json
from pathlib import Path

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from tests.browser.served_board import Served

FAN = "() => JSON.stringify(document.querySelector('.picture .js-plotly-plot').data.map(trace => trace.y))"


@pytest.mark.parametrize("size", ["phone", "desk", "wall"])
def test_a_buyer_supposes_a_lead_time_in_three_actions(serve_board: Served, week: Works, size: str) -> None:
    described = Path(week.folder, "plant.toml").read_bytes()
    board = serve_board(week, size)
    board.open("/order").drawn()
    page = board.page
    before, fan = page.inner_text("#sentence"), page.evaluate(FAN)
    press = page.tap if size == "phone" else page.click
    press("#what-if > summary")  # first
    page.fill("#if-lead_days", "60")  # second
    press("#if-show")  # third
    board.until(f"document.querySelector('#sentence').innerText !== {json.dumps(before)}")
    board.until(f"({FAN})() !== {json.dumps(fan)}")
    assert "a lead time of all webs of 60 days" in page.inner_text("#page")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert Path(week.folder, "plant.toml").read_bytes() == described
    page.get_by_role("link", name="Back to what is known").click()
    board.until(f"document.querySelector('#sentence').innerText === {json.dumps(before)}")


@pytest.mark.parametrize(("size", "way"), [("phone", "touch"), ("desk", "keyboard")])
def test_a_count_is_saved_on_request_the_fan_follows_and_it_is_undone(
    serve_board: Served, week: Works, size: str, way: str
) -> None:
    week.ask(read_question("order"))  # not within a page's patience on a busy machine
    board = serve_board(week, size)
    page = board.open("/order").drawn().page
    web = week.plant.webs[0]
    known, shown, before = page.inner_text("#sentence"), page.inner_text("#page"), week.store.stock()

    def press(what: str) -> None:
        target = page.locator(what)
        if way == "keyboard":
            target.focus()
            page.keyboard.press("Space" if "radio" in what else "Enter")
        else:
            target.tap() if way == "touch" else target.click()

    for action in (lambda: press("#what-if > summary"), lambda: press(f"#if-web input[type=radio] >> nth={1}"),
                   lambda: page.fill("#if-counted_reels", "3"), lambda: press("#if-show")):  # fmt: skip
        action()  # 1 to 4
    page.wait_for_selector("#count")
    assert week.store.stock().equals(before)  # supposed, not saved
    asked_for, at = (page.input_value(f"#count-{name}") for name in ("coming", "at"))
    page.fill("#count-whole", "3 reels")
    press("#count button")
    page.wait_for_selector("h1:has-text('The count was not saved.')")
    assert [page.input_value(f"#{name}") for name in ("at", "whole", "coming")] == [at, "3 reels", asked_for]
    page.fill("#whole", "3")  # what was typed beside it is still there
    press("main form button")  # 5
    page.wait_for_selector("h1:has-text('The count was saved as intake')")
    added = week.store.stock().join(before, on=before.columns, how="anti", nulls_equal=True)
    assert added["web"].unique().to_list() == [web.id]
    assert added["whole_reels"].sum() == 3
    assert asked_for == "none" or added["on_order_reels"].sum() > 0
    order = next(table for table in week.ask(read_question("order")).tables if table.name == "order")
    assert next(row for row in order.rows if row["web"] == (web.name or web.id))["on_hand"] == pytest.approx(
        3, abs=0.05
    )
    assert board.open("/order").drawn().page.inner_text("#page") != shown
    page.go_back()
    press("form button:text-is('Undo this count')")
    page.wait_for_selector("h1:has-text('The count was undone')")
    assert week.store.stock().equals(before)
    board.open("/order").drawn()
    assert page.inner_text("#sentence") == known
    print(size, way, "5 actions save a count, 1 undoes it")


def test_by_keyboard_alone_and_every_web_has_its_picture(serve_board: Served, week: Works) -> None:
    board = serve_board(week)
    board.open("/order").drawn()
    page = board.page
    before = page.inner_text("#sentence")
    page.focus("#what-if > summary")
    for key in ("Enter", "Tab", "Tab", "4", "5"):
        page.keyboard.press(key)
    assert page.input_value("#if-lead_days") == "45"
    page.keyboard.press("Tab")
    page.focus("#if-show")
    page.keyboard.press("Space")
    board.until(f"document.querySelector('#sentence').innerText !== {json.dumps(before)}")
    page.focus("#further-pictures > summary")
    page.keyboard.press("Enter")
    page.wait_for_selector("#further-pictures .main-svg")
    drawn = page.locator(".picture figcaption").all_inner_texts()
    webs = [web.name or web.id for web in week.plant.webs if f"{web.name or web.id}, reels on hand" in drawn]
    assert len(webs) == len(week.plant.webs)


WITHIN = """() => {
    document.body.style.width = '500px';  // as narrow as paper; measured before anything is drawn anew
    const wide = one => one.getBoundingClientRect();
    return [...document.querySelectorAll('.picture .main-svg')].filter(one => wide(one).width).map(
        one => wide(one).right <= wide(one.closest('.picture')).right + 1 && wide(one).height > 50);
}"""


def test_a_page_at_night_prints_as_day_with_whole_pictures(serve_board: Served, week: Works) -> None:
    board = serve_board(week, dark=True)
    board.open("/order").drawn()
    page = board.page
    assert page.evaluate("document.documentElement.dataset.theme") == "night"
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")  # while it is still a screen, as a browser does
    page.emulate_media(media="print")
    assert all(page.evaluate(WITHIN))
    ink = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--ink').trim()")
    assert ink == "#1C2B33"
    assert page.locator("#pick-period .choice").is_visible()  # paper says of when it is, and has no choices
    assert not page.locator("nav.pages, #pick-period .choices").first.is_visible()
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    page.emulate_media(media="screen")
    assert page.evaluate("document.documentElement.dataset.theme") == "night"
    assert page.locator(".main-svg[viewBox]").count() == 0
