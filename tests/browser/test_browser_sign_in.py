"""Signing in, pairing and the account in a browser: by day and night, on a desk and a phone."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from lineview.app.access import Access
from lineview.board.app import create_app
from lineview.board.guard import Doors
from lineview.board.serve import open_server
from tests.board.access_scene import accounts_of
from tests.board.invented_works import InventedWorks
from tests.browser.served_board import SIZES
from tests.browser.test_browser_access import SMALL, UNNAMED

pytestmark = pytest.mark.browser
NAME, PASSWORD = "Ada Invented", "seven sweet wrappers"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    works = InventedWorks()
    folder = tmp_path_factory.mktemp("sign in")
    works.folder = folder
    access = Access(accounts_of(works, folder), folder / "signing.key")
    access.add_user(NAME, ["administer"], PASSWORD)
    access.add_user("Sam Invented", [], PASSWORD)
    doors = Doors(("localhost",), access=access)
    server = open_server(create_app(works, doors=doors, poll_s=1.0), port=0, doors=doors)
    threading.Thread(target=server.run, daemon=True).start()
    yield f"http://localhost:{server.effective_port}"
    server.close()


def fits(page: Page, least: int) -> None:
    """Everything has a name, is large enough to press, and nothing is wider than the screen."""
    assert page.evaluate(UNNAMED) == []
    assert page.evaluate(SMALL, least) == []
    wide, inner = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= inner
    assert page.evaluate("document.querySelectorAll('h1').length") == 1


def sign_in(page: Page, name: str) -> None:
    page.fill("#name", name)
    page.fill("#password", PASSWORD)
    page.click("main button.main")


def test_signing_in_pairing_a_screen_and_out_on_a_phone_by_night(browser_here: Browser, address: str) -> None:
    width, height = SIZES["phone"]
    complaints: list[str] = []
    context = browser_here.new_context(viewport={"width": width, "height": height}, color_scheme="dark")
    page = context.new_page()
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" and "403" not in m.text else None)
    page.goto(f"{address}/rope?line=1")
    assert page.inner_text("h1") == "Sign in to the board."
    assert page.evaluate("document.documentElement.dataset.theme") == "night"
    fits(page, 44)
    page.fill("#name", NAME)
    page.fill("#password", "seven sour wrappers")
    page.click("main button.main")
    assert "do not belong together" in page.inner_text("[role=alert]")
    sign_in(page, NAME)
    page.wait_for_url("**/rope?line=1")
    page.wait_for_selector("#adjustment")

    page.goto(f"{address}/account")
    fits(page, 44)
    page.fill("#screen", "hall")
    page.click("text=Show a code")
    code = page.inner_text(".code")
    wall = browser_here.new_context(viewport={"width": 1920, "height": 1080}).new_page()
    wall.goto(f"{address}/pair")
    fits(wall, 24)
    wall.fill("#code", code)
    wall.click("main button.main")
    wall.wait_for_selector(".wall .main-svg")
    wall.goto(f"{address}/shift")
    wall.wait_for_selector(".main-svg")
    assert wall.locator("#reasons").count() == 0
    page.goto(f"{address}/account")
    page.click("text=Revoke hall")
    wall.wait_for_url("**/sign-in?next=/shift")  # by itself, with the next look for new readings
    assert wall.inner_text("h1") == "Sign in to the board."
    wall.context.close()

    for path in ("works", "large", "setup"):
        page.goto(f"{address}/{path}")
        fits(page, 44)
    page.goto(f"{address}/account")
    page.click("text=Sign out everywhere")
    assert page.inner_text("h1") == "Sign in to the board."
    assert complaints == []
    context.close()


def test_who_may_only_see_has_no_forms(browser_here: Browser, address: str) -> None:
    page = browser_here.new_page()
    page.goto(f"{address}/shift")
    assert page.evaluate("document.documentElement.dataset.theme") == "day"
    fits(page, 24)
    sign_in(page, "Sam Invented")
    page.wait_for_selector(".wall-link")
    assert page.locator("#reasons, #lacking").count() == 0
    page.goto(f"{address}/works")
    fits(page, 24)
    assert page.locator("main form").count() == 0
    page.click("main summary >> nth=0")
    assert page.locator("main li").first.is_visible()
    page.goto(f"{address}/intake")
    page.wait_for_selector(".intakes")
    assert page.locator("#export, .undo").count() == 0
    page.goto(f"{address}/account")
    fits(page, 24)
    page.close()
