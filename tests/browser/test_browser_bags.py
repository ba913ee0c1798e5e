"""The page of weighed bags in the browser: by keyboard; faults leave what was typed; a file fills it."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.board.invented_works import InventedWorks
from tests.browser.served_board import Served

pytestmark = pytest.mark.browser


def test_a_lot_is_checked_by_keyboard_and_faults_lose_nothing(serve_board: Served) -> None:
    page = serve_board(InventedWorks(), "phone").open("/bags").page
    page.focus("#bags-masses")
    page.keyboard.type("250\nheavy\n251")
    for name, text in (("label", "250"), ("lot", "3")):
        page.focus(f"#bags-{name}")
        page.keyboard.type(text)
    page.focus("#bags-check")
    page.keyboard.press("Enter")
    page.wait_for_selector("#bags-told [role=alert]")
    assert "line 2: 'heavy' is not a mass" in page.inner_text("#bags-told")
    assert page.input_value("#bags-masses") == "250\nheavy\n251"
    page.fill("#bags-masses", "250\n251\n249,5")
    page.focus("#bags-check")
    page.keyboard.press("Enter")
    page.wait_for_selector("#bags-told h2")
    assert page.inner_text("#bags-told h2") == "The lot passes."
    wide, inner = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= inner


def test_a_file_fills_the_field_and_a_bad_one_leaves_it(serve_board: Served, tmp_path: Path) -> None:
    page = serve_board(InventedWorks()).open("/bags").page
    good, bad = tmp_path / "bags.csv", tmp_path / "picture.png"
    good.write_text("454\n455\n", encoding="utf-8")
    bad.write_bytes(bytes(range(256)))
    page.wait_for_selector("#bags-masses")
    page.set_input_files("#bags-file input[type=file]", good)
    expect(page.locator("#bags-masses")).to_have_value("454\n455\n", timeout=20_000)
    page.set_input_files("#bags-file input[type=file]", bad)
    page.wait_for_selector("#bags-told [role=alert]")
    assert page.input_value("#bags-masses") == "454\n455\n"
