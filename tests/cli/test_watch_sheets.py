"""Sheets written while a folder is watched: when a shift, a day or a week is over, whole, named by date."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from shutil import copytree

import pytest

from lineview.app.due_sheets import due_sheets
from lineview.app.works import Works
from lineview.cli.watch import SheetWriter
from lineview.core.errors import AskError
from lineview.core.figure import Period
from tests.main_job.invented_week import DEMO

FRIDAY = datetime(2026, 6, 12, 20, tzinfo=UTC)  # 22:00 of the works' wall clock: no shift is left in the week


@pytest.fixture
def works(tmp_path: Path):
    copytree(DEMO, tmp_path / "works", dirs_exist_ok=True)
    exports = tmp_path / "works" / "exports"
    with Works(tmp_path / "works") as opened:
        opened.take([*sorted(exports.glob("wrap1_2026-06-08*")), *sorted(exports.glob("wrap1_2026-06-09*"))])
        yield opened


def names(works: Works, end: datetime, *questions: str) -> list[str]:
    span = Period(FRIDAY - timedelta(days=4), end)
    return [sheet.name for sheet in due_sheets(works.plant, span, questions)]


def test_the_week_is_due_when_no_shift_is_left_in_it(works: Works) -> None:
    assert names(works, FRIDAY, "week") == ["2026-W24-week"]
    assert names(works, FRIDAY - timedelta(hours=3), "week") == []  # the week before has no readings


def test_a_shift_is_due_at_its_end_and_a_day_after_its_last(works: Works) -> None:
    noon = FRIDAY - timedelta(hours=8)
    assert "2026-06-12.early-shift-wrap1" in names(works, noon, "shift")
    assert "2026-06-12.late-shift-wrap1" not in names(works, noon, "shift")
    assert names(works, noon, "wrap")[0].startswith("2026-06-11-")
    assert names(works, FRIDAY, "wrap")[0].startswith("2026-06-12-")


def test_sheets_are_written_once_and_again_when_they_say_something_else(works: Works, tmp_path: Path) -> None:
    into = tmp_path / "sheets"
    writer = SheetWriter(into, ["shift"], ["csv"])
    first = writer.write(works)
    assert first
    assert all(path.read_bytes().startswith(b"\xef\xbb\xbf") for path in first)
    assert writer.write(works) == []
    early = next(path for path in first if "2026-06-09.early" in path.name)
    before = early.read_bytes()
    start = datetime(2026, 6, 9, 4, tzinfo=UTC)
    works.set_stop_reason("wrap1", start, start + timedelta(hours=8), "no staff")
    assert early in writer.write(works)
    assert early.read_bytes() != before
    assert not list(into.glob(".*"))  # no part of a file is left


def test_an_unknown_sheet_or_form_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AskError, match="unknown question"):
        SheetWriter(tmp_path, ["yield"], ["pdf"])
    with pytest.raises(AskError, match="not a kind of sheet"):
        SheetWriter(tmp_path, ["week"], ["doc"])
