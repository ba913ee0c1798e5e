"""Hostile inputs at the board's edges: no 500, no traceback, no page that breaks, nothing reflected as markup."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from shutil import copy2
from typing import Any

import pytest

from lineview.app.access import Tries
from lineview.app.works import Works
from tests.board.access_scene import Scene, scene
from tests.board.hostile_inputs import drawn, wrong_with
from tests.board.invented_works import InventedWorks
from tests.main_job.invented_week import DEMO

WHO = ("administer", "administer", "administer", "note", "screen", "nobody")


@pytest.fixture
def real(tmp_path: Path) -> Iterator[Works]:
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    with Works(tmp_path) as opened:
        opened.take([DEMO / "exports" / name for name in ("wrap1_2026-06-08.csv", "sizer2_2026-06-08.csv")])
        yield opened


def board_of(folder: Path, works: Any) -> Scene:
    folder.mkdir()
    return scene(folder, works)


def invented(folder: Path) -> InventedWorks:
    works = InventedWorks()
    works.folder = folder
    return works


def withstood(board: Scene, count: int, seed: int) -> None:
    draw, codes, wrong = random.Random(seed), Counter[int](), []
    for number in range(count):
        sent = drawn(draw, draw.choice(WHO), board)
        answer = sent.through(board)
        codes[answer.status_code] += 1
        if said := wrong_with(answer):
            wrong.append((number, said, sent.who, sent.method, sent.path[:120], str(sent.more)[:700]))
        if sent.path in ("/sign-out", "/sign-out-everywhere"):
            raise AssertionError("nobody is to be signed out meanwhile")
    print(f"{count} inputs: {dict(sorted(codes.items()))}")
    assert wrong == []


@pytest.fixture(autouse=True)
def no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many tries are refused in time; here each is to come through to the check of the password."""
    monkeypatch.setattr(Tries, "wait_s", lambda _self, _key: 0.0)


def test_some_hostile_inputs(tmp_path: Path, real: Works) -> None:
    withstood(board_of(tmp_path / "a", invented(tmp_path)), 250, 1)
    withstood(board_of(tmp_path / "b", real), 120, 2)


@pytest.mark.long
def test_five_thousand_hostile_inputs(tmp_path: Path, real: Works) -> None:
    withstood(board_of(tmp_path / "a", invented(tmp_path)), 3_000, 11)
    withstood(board_of(tmp_path / "b", real), 2_000, 12)
