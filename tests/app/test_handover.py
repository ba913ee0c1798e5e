"""What a shift of the invented week hands over: its two tables say what the answers and the journal say."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from shutil import copytree

import polars as pl
import pytest

from lineview.app.handover import _looks_until, with_handover
from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.cli.answers import write_sheet
from lineview.core.errors import AskError
from lineview.report.answer import file_name
from tests.main_job.invented_week import DEMO
from tests.references.pdf_pages import pages


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory):
    """A week's works of its own, since notes are written into it."""
    folder = tmp_path_factory.mktemp("works")
    copytree(DEMO, folder, dirs_exist_ok=True)
    with Works(folder) as opened:
        opened.take([folder / "exports"])
        yield opened


def test_what_is_open_and_noted_is_handed_over(works: Works) -> None:
    """The last shift: a stop nobody explained, an adjustment no batch has followed, the reel of the next morning."""
    asked = read_question("shift")
    answer = works.ask(asked)
    period = answer.scope.period
    works.write("note", "wrap1", period.start + timedelta(hours=2), "knife 2 squeals")
    works.write("note", "wrap1", period.start - timedelta(hours=2), "of the shift before")
    works.write("note", "wrap2", period.start + timedelta(hours=2), "of another line")
    works.write("note", "wrap1", period.end, "at its very end")
    works.write("note", "sizer1", period.start + timedelta(hours=3), "withdrawn", entry="gone")
    works.withdraw("note", "gone")
    works.write("adjustment", "sizer1", period.end - timedelta(seconds=40), "pair 3 closed")
    given = with_handover(works, works.ask(asked), " Ada  Invented ")
    assert given.soft.startswith("Handed over by Ada Invented. ")
    points, notes = given.tables[-2:]
    timeline = answer.series["timeline"].filter((pl.col("state") == "stop") & pl.col("reason").is_null())
    assert timeline.height == 1
    assert points.rows[0] == {"what": "1 stop without a reason", "which": "21:43 (16.5 min)"}
    assert points.rows[1] == {"what": "adjustment not judged yet", "which": "Sizer 1, 21:59: pair 3 closed"}
    assert [row["what"] for row in points.rows[2:]] == ["reel about to end"]
    assert re.fullmatch(r"Wax paper reel ends .*07:\d\d.*", points.rows[2]["which"])
    assert [row["what"] for row in notes.rows] == ["knife 2 squeals", "at its very end"]


def test_a_shift_that_nobody_saw_is_not_handed_over_as_done(works: Works) -> None:
    points = with_handover(works, works.ask(read_question("shift", period="2026-05-04.early")), "").tables[-2]
    assert points.rows == [{"what": "stops", "which": "not known: no planned minute was seen"}]


def test_an_adjustment_that_was_judged_and_a_reel_of_long_ago_are_not_open(works: Works) -> None:
    """Sizer 1's adjustments of the week's exports stand in shifts that batches have followed."""
    answer = works.ask(read_question("shift", period="2026-06-09.late"))
    works.write("adjustment", "sizer1", answer.scope.period.start + timedelta(hours=3), "pair 3 closed")
    points = with_handover(works, works.ask(read_question("shift", period="2026-06-09.late")), "").tables[-2]
    assert [row["what"] for row in points.rows] == ["1 stop without a reason"]


def test_of_a_shift_that_ended_only_reels_that_end_soon_after_it_are_handed_over(works: Works) -> None:
    """Read an hour and three quarters into the next shift, and three hours ahead: the next shift's are not its own."""
    answer = works.ask(read_question("shift", period="2026-06-09.early"))
    end = answer.scope.period.end
    late = replace(answer, scope=replace(answer.scope, now=end + timedelta(minutes=105)))
    assert _looks_until(works, late.scope) == end + timedelta(hours=2)
    before = replace(answer.scope, now=end - timedelta(minutes=20))
    assert _looks_until(works, before) == end + timedelta(hours=2)  # the late shift begins then


def test_only_a_shift_is_handed_over_and_a_name_is_no_story(works: Works) -> None:
    week = works.ask(read_question("week"))
    assert with_handover(works, week, "") is week
    with pytest.raises(AskError, match="'week' is not handed over"):
        with_handover(works, week, "Ada")
    with pytest.raises(AskError, match="the name has 61 characters"):
        with_handover(works, works.ask(read_question("shift")), "A" * 61)


def test_a_sheet_is_named_by_line_and_shift_unless_it_is_named(works: Works, tmp_path: Path) -> None:
    asked = read_question("shift", machine="wrap2", period="2026-06-09.late")
    write_sheet(works, asked, tmp_path, "Ada Invented")
    write_sheet(works, asked, tmp_path / "tonight.xlsx", "")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shift-wrap2-2026-06-09-late.pdf", "tonight.xlsx"]
    assert pages((tmp_path / "shift-wrap2-2026-06-09-late.pdf").read_bytes()) == 1
    names = {
        period: file_name(works.ask(read_question("week", period=period)), works.plant)
        for period in ("2026-06-08..2026-06-12", "2026-06-09")
    }
    assert list(names.values()) == ["week-2026-06-08-to-2026-06-12", "week-2026-06-09"]


def test_a_shift_that_is_nearly_over_is_projected(works: Works) -> None:
    """Past shifts no longer than this one has gone on say nothing of what is to come."""
    scope = works.ask(read_question("shift")).scope
    ahead = scope.now + timedelta(days=3)
    later = works.ask(read_question("shift", start=f"{scope.period.start.isoformat()}", end=ahead.isoformat()))
    assert any("reel ends" in row["event"] for table in later.tables if table.name == "next" for row in table.rows)
