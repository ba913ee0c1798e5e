"""What a line's week came to is kept while other data change, and never beyond a change of what it comes from."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from shutil import copytree, rmtree

import pytest

import lineview.app.week_inputs as week_inputs
from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import Answer
from tests.main_job.invented_week import DEMO

MONDAY = datetime(2026, 6, 8, 4, tzinfo=UTC)


@pytest.fixture
def works(tmp_path: Path) -> Iterator[Works]:
    copytree(DEMO, tmp_path / "works", dirs_exist_ok=True)
    exports = tmp_path / "works" / "exports"
    with Works(tmp_path / "works") as opened:
        days = [path for day in ("08", "09", "10") for path in sorted(exports.glob(f"wrap1_2026-06-{day}*"))]
        opened.take([*days, *exports.glob("batch*"), *exports.glob("weights*"), *exports.glob("reels*")])
        yield opened


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The lines of which something was worked out."""
    lines: list[str] = []

    def counting(name: str) -> Callable[..., object]:
        real = getattr(week_inputs, name)

        def counted(*given: object) -> object:
            lines.append(name)
            return real(*given)

        return counted

    for name in ("line_week", "machine_past"):
        monkeypatch.setattr(week_inputs, name, counting(name))
    return lines


def said(answer: Answer) -> tuple[object, ...]:
    return answer.sentence, answer.figures, answer.tables, answer.notes


def asked(works: Works) -> Answer:
    return works.ask(read_question("week", period="2026-06-08"))


def anew(works: Works) -> Answer:
    with Works(works.folder) as fresh:
        return asked(fresh)


def test_other_days_change_and_it_is_kept(works: Works, worked_out: list[str]) -> None:
    before = asked(works)
    works.set_stop_reason("wrap1", MONDAY + timedelta(days=2), MONDAY + timedelta(days=2, minutes=1), "no staff")
    late = next(row for row in works.store.intakes().iter_rows(named=True) if "wrap1_2026-06-10" in row["file"])
    works.store.undo(late["id"])
    worked_out.clear()
    after = asked(works)
    assert worked_out == []
    assert said(after) == said(before) == said(anew(works))


def test_its_own_day_changes_and_it_is_worked_out_again(works: Works, worked_out: list[str]) -> None:
    answers = [asked(works)]
    works.set_stop_reason("wrap1", MONDAY, MONDAY + timedelta(hours=8), "no staff")
    answers.append(asked(works))
    intakes = {row["file"]: row["id"] for row in works.store.intakes().iter_rows(named=True)}
    for part in ("weights", "reels", "batch", "wrap1_2026-06-09", "wrap1_2026-06-08"):
        for file in [name for name in intakes if part in name]:
            worked_out.clear()
            works.store.undo(intakes[file])
            answers.append(asked(works))
            assert said(answers[-1]) == said(anew(works)), file
            assert part == "batch" or worked_out, file
    assert len({repr(said(answer)) for answer in answers}) > 4


def week(folder: Path) -> Answer:
    """The calendar week, asked in a works opened anew."""
    with Works(folder) as opened:
        return opened.ask(read_question("week", period="2026-W24"))


def without_files(folder: Path) -> Answer:
    rmtree(folder / "store" / "weeks")
    return week(folder)


def files(folder: Path) -> list[Path]:
    return sorted((folder / "store" / "weeks").iterdir())


def test_a_calendar_week_is_kept_for_other_processes(works: Works, worked_out: list[str]) -> None:
    works.keep_weeks()
    assert len(files(works.folder)) == 4  # of each line its week and those before
    worked_out.clear()
    read_back = week(works.folder)
    assert worked_out == []
    assert repr(read_back) == repr(without_files(works.folder))
    assert worked_out != []


def test_what_changed_or_broke_is_not_read_back(works: Works, worked_out: list[str]) -> None:
    folder = works.folder
    before = week(folder)

    def again() -> Answer:
        worked_out.clear()
        after = week(folder)
        assert worked_out, "it was read back"
        assert repr(after) == repr(without_files(folder))
        return after

    for path in files(folder):
        body = bytearray(path.read_bytes())
        body[len(body) // 2] ^= 1
        path.write_bytes(body)
    assert repr(again()) == repr(before)
    works.set_stop_reason("wrap1", MONDAY, MONDAY + timedelta(hours=8), "no staff")
    told = again()
    assert said(told) != said(before)
    plant = folder / "plant.toml"
    plant.write_text(plant.read_text(encoding="utf-8").replace("sold = 2.80", "sold = 2.90"), encoding="utf-8")
    assert said(again()) != said(told)


def test_while_somebody_writes_a_week_is_answered_and_not_kept(works: Works) -> None:
    with works.store.writing_alone() as may_write:
        assert may_write
        assert week(works.folder).sentence
    assert not (works.folder / "store" / "weeks").exists()
