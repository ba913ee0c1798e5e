"""A works that is asked: each question once, none waiting for an intake, and an edited plant is noticed."""

import os
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from shutil import copy2
from threading import Barrier, Event

import polars as pl
import pytest

from lineview.app.inputs import Fetcher, Measured
from lineview.app.question import QuestionScope
from lineview.app.works import Works
from lineview.core.errors import AskError, PlantError
from lineview.core.figure import Period
from lineview.report.answer import Answer, Scope
from tests.main_job.invented_week import DEMO

SHIFT = QuestionScope("shift", machine="wrap1")


def first_exports(most: int) -> list[Path]:
    return sorted((DEMO / "exports").glob("wrap1_*.csv"))[:most]


@pytest.fixture
def works(tmp_path: Path):
    copy2(DEMO / "plant.toml", tmp_path / "plant.toml")
    with Works(tmp_path) as opened:
        opened.take(first_exports(2))
        yield opened


def edit(works: Works, old: str, new: str) -> None:
    """Change plant.toml as an editor does; the time is set on, as two saves may fall into one tick."""
    path = works.folder / "plant.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    before = path.stat().st_mtime_ns
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    os.utime(path, ns=(before + 1_000_000, before + 1_000_000))


def test_the_same_question_of_many_is_worked_out_once(works, monkeypatch):
    calls, all_there = [], Barrier(6)
    fetch = Fetcher.inputs

    def counted(*given):
        calls.append(given)
        return fetch(*given)

    monkeypatch.setattr(Fetcher, "inputs", counted)

    def ask(_: int) -> Answer:
        all_there.wait()
        return works.ask(SHIFT)

    with ThreadPoolExecutor(6) as threads:
        answers = list(threads.map(ask, range(6)))
    assert len(calls) == 1
    assert all(answer is answers[0] for answer in answers)


def test_an_error_reaches_all_who_ask_and_is_not_kept(works, monkeypatch):
    fails = [AskError(()), None]
    fetch = Fetcher.inputs

    def failing(*given):
        error = fails.pop(0)
        if error is not None:
            raise error
        return fetch(*given)

    monkeypatch.setattr(Fetcher, "inputs", failing)
    with pytest.raises(AskError):
        works.ask(SHIFT)
    assert works.ask(SHIFT).figure("good_pieces").value > 0


def test_different_questions_are_worked_out_at_the_same_time(works, monkeypatch):
    both = Barrier(2, timeout=20)  # broken where one question waits for the other
    fetch = Fetcher.inputs

    def together(*given):
        both.wait()
        return fetch(*given)

    monkeypatch.setattr(Fetcher, "inputs", together)
    with ThreadPoolExecutor(2) as threads:
        asked = [threads.submit(works.ask, q) for q in (SHIFT, QuestionScope("wrap", machine="wrap1"))]
        assert [one.result().question for one in asked] == ["shift", "wrap"]


def test_nobody_waits_for_an_intake_and_sees_the_state_before_it_until_it_is_whole(works):
    before = works.ask(SHIFT)
    midway, asked = Event(), Event()

    def progress(_path: Path, _rows: int) -> None:
        midway.set()
        assert asked.wait(20)  # the intake stands still until the question is answered

    with ThreadPoolExecutor(1) as threads:
        taken = threads.submit(works.take, first_exports(3)[2:], progress=progress)
        assert midway.wait(20)
        assert works.ask(SHIFT) is before
        asked.set()
        assert taken.result()[0].receipt.kept > 0
    assert works.ask(SHIFT).scope.now > before.scope.now


def test_a_question_under_way_stays_with_the_state_it_began_with(works, monkeypatch):
    before = works.ask(SHIFT)
    fetch, begun, go_on = Fetcher.inputs, Event(), Event()

    def held(*given):
        begun.set()
        assert go_on.wait(20)
        return fetch(*given)

    monkeypatch.setattr(Fetcher, "inputs", held)
    with ThreadPoolExecutor(1) as threads:
        asked = threads.submit(works.ask, QuestionScope("shift", line="line1", machine="wrap1"))
        assert begun.wait(20)
        for number in works.store.intakes()["id"]:
            works.undo(number)
        go_on.set()
        assert asked.result().figures == before.figures
    with pytest.raises(AskError, match="no readings yet"):
        works.ask(SHIFT)


def test_an_edited_plant_is_noticed_without_a_restart(works):
    version, shop = works.version(), works.plant.shop
    first = works.ask(SHIFT)
    edit(works, f'shop = "{shop}"', 'shop = "Another Invented Name"')
    assert works.plant.shop == "Another Invented Name"
    assert works.version() != version
    assert works.ask(SHIFT) is not first


def test_a_wrong_edit_is_said_with_its_line_until_it_is_put_right(works):
    shop = works.plant.shop
    line = (works.folder / "plant.toml").read_text().split("\n").index(f'shop = "{shop}"') + 1
    edit(works, f'shop = "{shop}"', "shop = ")
    for _ in range(2):
        with pytest.raises(PlantError, match=f"plant.toml line {line}"):
            works.ask(SHIFT)
    edit(works, "shop = ", f'shop = "{shop}"')
    assert works.ask(SHIFT).figure("good_pieces").value > 0


def test_layouts_edited_by_hand_are_noticed_too(works):
    layouts = works.folder / "layouts.toml"
    layouts.write_text("[[layouts]]\nid = 3\n")
    with pytest.raises(PlantError, match=r"layouts.toml line 2"):
        works.ask(SHIFT)
    layouts.unlink()
    assert works.ask(SHIFT).question == "shift"


def test_what_is_noted_half_a_day_before_and_after_a_shift_is_fetched_with_it(week: Works) -> None:
    """A reel mounted and a batch begun long before may still be on, and a log may be some hours off."""
    start, end, half = datetime(2026, 6, 10, 12, tzinfo=UTC), datetime(2026, 6, 10, 20, tzinfo=UTC), timedelta(hours=12)
    first, last = start - half, end + half
    with week.store.snapshot() as store:
        fetcher = Fetcher(store, week.records, week.plant, Measured())
        for question in ("wrap", "shift"):
            fetched = fetcher.inputs(question, Scope("line2", "wrap2", Period(start, end), end))
            assert fetched.reels.equals(store.reels("wrap2", first, last)), question
            assert fetched.batches.equals(store.batches("line2", first, last)), question
            of_line = [store.stop_log(machine, first, last) for machine in ("sizer2", "wrap2")]
            assert fetched.stop_log.sort("machine", "start").equals(pl.concat(of_line)), question
            assert min(fetched.reels.height, fetched.batches.height, fetched.stop_log.height) > 0
        assert fetched.past.start == store.span("wrap2").start  # nothing was read four weeks before
