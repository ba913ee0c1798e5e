"""From a figure's working to how it is worked out: every source that a figure cites has its page."""

from __future__ import annotations

import re
import tomllib
from html import unescape

import pytest

from lineview.board.app import create_app
from lineview.core.resources import shipped
from lineview.report.figure_table import FIGURES
from tests.board.invented_works import InventedWorks

SOURCES = tomllib.loads((shipped("data") / "sources.toml").read_text(encoding="utf-8"))
CITED = sorted({name for row in FIGURES.values() for name in row.sources.split()})


@pytest.fixture(scope="module")
def client():
    return create_app(InventedWorks()).server.test_client()


@pytest.mark.parametrize("name", CITED)
def test_the_page_of_a_source_says_method_formula_source_and_figures(client, name: str) -> None:
    source = SOURCES[name]
    assert len(source["method"].split()) >= 6, "the method in plain words"
    page = unescape(client.get(f"/methods/{name}").text)
    for said in (source["method"], source["title"], source["obtained"], source.get("formula"), source.get("caution")):
        assert not said or said in page
    labels = [
        row.label.replace("{of}", "").replace("{on}", "") for row in FIGURES.values() if name in row.sources.split()
    ]
    assert all(re.sub(r"\{.*?\}", "…", label) in page for label in labels)


def test_all_methods_are_listed_and_another_name_is_none(client) -> None:
    page = client.get("/methods").text
    assert all(f'href="/methods/{name}"' in page for name in CITED)
    assert client.get("/methods/no-such-source").status_code == 404


def test_a_formula_says_what_the_package_works_out() -> None:
    """Where the formula is short enough to be tried: by hand against the code's own."""
    from lineview.wrap.reels import reel_length_m

    assert reel_length_m(300.0, 76.0, 40.0) == pytest.approx(3.14159265 * (300**2 - 76**2) / (4 * 40.0))
    assert SOURCES["reel-formula"]["formula"] == "length = π × (outer² − core²) ÷ (4 × thickness)"
