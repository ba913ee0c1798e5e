"""plant.toml edited under a running board: the page says what is wrong, and goes on once it is right."""

import os
from pathlib import Path
from shutil import copy2

import pytest

from lineview.app.works import Works
from lineview.board.address import Address
from lineview.board.app import create_app
from lineview.board.layout import forms_of, page_of
from tests.board.test_board_pages import words_in
from tests.main_job.invented_week import DEMO

DAY = {"theme": "day", "narrow": False}


@pytest.fixture
def works(tmp_path: Path):
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    with Works(tmp_path) as opened:
        opened.take([DEMO / "exports" / "wrap1_2026-06-08.csv"])
        yield opened


def write(path: Path, text: str) -> None:
    """Save a text as an editor does; the time is set on, as two saves may fall into one tick."""
    before = path.stat().st_mtime_ns
    path.write_text(text, encoding="utf-8")
    os.utime(path, ns=(before + 1_000_000, before + 1_000_000))


def test_a_wrong_edit_is_a_page_with_the_fault_and_its_line(works: Works) -> None:
    path = works.folder / "plant.toml"
    right = path.read_text(encoding="utf-8")
    client = create_app(works).server.test_client()
    shift = Address("shift", machine="wrap1")
    assert "cannot" not in words_in(page_of(works, shift, DAY).sentence)

    write(path, right + "\nthis is not a description\n")
    line = len(right.splitlines()) + 2
    for page in ("shift", "intake", "bags"):
        shown = page_of(works, Address(page), DAY)
        assert words_in(shown.sentence).startswith("The plant description cannot be used: ")
        assert f"plant.toml line {line}" in words_in(shown.below)
        assert "Intake" in words_in(shown.head)
        assert forms_of(works, Address(page)) == ([], [])

    for place in ("/shift.pdf", "/shift/timeline.csv"):
        sent = client.get(place, headers={"Host": "localhost"})
        assert (sent.status_code, "plant.toml line" in sent.text) == (404, True)
    assert client.get("/_dash-layout", headers={"Host": "localhost"}).status_code == 200

    write(path, right)
    assert "cannot" not in words_in(page_of(works, shift, DAY).sentence)
