"""The sentence of a shift whose readings lie far apart, or whose rejects nobody read."""

from __future__ import annotations

from lineview.app.question import read_question
from lineview.app.works import Works
from tests.intake.small_works import MADE, SmallWorks, rows, stamps, total


def said(works: SmallWorks) -> str:
    with Works(works.folder) as opened:
        answer = opened.ask(read_question("shift", machine="wrap1", period="2026-06-08.early"))
    return f"{answer.text} {answer.soft}"


def test_hourly_readings_tell_what_was_made(tmp_path):
    works = SmallWorks(tmp_path / "works")
    works.take("time;pieces\n" + rows(stamps(9, 3600), total), answers={})
    text = said(works)
    assert f"made {MADE:,} pieces" in text
    assert "too far apart to say when it ran" in text
    assert "no readings" not in text


def test_where_no_planned_minute_was_seen_nothing_of_them_is_0(tmp_path):
    works = SmallWorks(tmp_path / "works")
    works.take("time;pieces\n" + rows(stamps(9, 3600), total), answers={})
    with Works(works.folder) as opened:
        answer = opened.ask(read_question("shift", machine="wrap1", period="2026-06-08.early"))
    planned = answer.figure("planned_min").value
    assert answer.figure("unseen_min").value == planned > 0
    for name in ("stops", "changeovers", "stop_min", "running_min", "own_stop_min", "pieces_lost_stop"):
        assert answer.figure(name).value is None, name
        assert answer.figure(name).why_none == "not known: no planned minute was seen"
    assert (answer.figure("stop_min").low, answer.figure("stop_min").high) == (0, planned)
    ladder = {row["cause"]: row for row in next(t for t in answer.tables if t.name == "ladder").rows}
    assert ladder["stops"] == {"cause": "stops", "minutes": None, "pieces": None}
    assert ladder["not seen"]["minutes"] == planned


def test_a_reject_counter_that_nobody_read_is_named(tmp_path):
    works = SmallWorks(tmp_path / "works")
    plant = works.folder / "plant.toml"
    film = '{ id = "film", counts = "film", fastest_per_min = 60 },'
    rejects = '{ id = "rejects", counts = "rejects", fastest_per_min = 450 },'
    plant.write_text(plant.read_text(encoding="utf-8").replace(film, film + "\n  " + rejects), encoding="utf-8")
    works.take("time;pieces\n" + rows(stamps(2881, 10), total), answers={})
    assert f"made {MADE:,} pieces" in said(works)
    assert "at least 0" not in said(works)
