"""Kept records that were damaged are noticed and made again: the answers stay what they were."""

import shutil
from collections.abc import Callable
from pathlib import Path
from time import time

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.core.errors import StoreError
from lineview.store import record_table
from lineview.store.record_table import RecordTable
from tests.records.kept_works import DAYS, SHIFTS, counts_file, sheet_file, write_plant

Damage = Callable[[Path], None]


def files(table: Path) -> list[Path]:
    """The files of records that the newest state of the table has, by age."""
    listed = RecordTable(table).files()["path"]
    return sorted((table / path for path in listed), key=lambda file: file.stat().st_mtime_ns)


def cut(table: Path) -> None:
    file = files(table)[0]
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])


def flip(table: Path) -> None:
    """Change one bit in each eighth of a file, among them where no reader would trip over it."""
    file = files(table)[0]
    body = bytearray(file.read_bytes())
    for place in range(len(body) // 16, len(body), len(body) // 8):
        body[place] ^= 4
    file.write_bytes(body)


def entry(place: int, *, empty: bool) -> Damage:
    def damage(table: Path) -> None:
        one = sorted((table / "_delta_log").glob("*.json"))[place]
        one.write_bytes(b"") if empty else one.unlink()

    return damage


def nonsense(table: Path) -> None:
    (table / "_delta_log" / f"{99:020d}.json").write_text("nonsense")


DAMAGES: dict[str, Damage] = {
    "file cut": cut,
    "bits flipped": flip,
    "file gone": lambda table: files(table)[0].unlink(),
    "all files gone": lambda table: [file.unlink() for file in files(table)] and None,
    "first entry gone": entry(0, empty=False),
    "second entry gone": entry(1, empty=False),
    "newest entry gone": entry(-1, empty=False),
    "second entry empty": entry(1, empty=True),
    "third entry empty": entry(2, empty=True),
    "newest entry empty": entry(-1, empty=True),
    "entry of nonsense": nonsense,
    "log gone": lambda table: shutil.rmtree(table / "_delta_log"),
    "table gone": shutil.rmtree,
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A works whose records were made and replaced several times."""
    folder = tmp_path_factory.mktemp("made")
    write_plant(folder)
    exports = folder / "exports"
    with Works(folder) as works:
        for line in "AB":
            exports.mkdir()
            for day in range(DAYS):
                for shift in SHIFTS:
                    counts_file(exports, line, day, shift)
            assert all(one.receipt is not None for one in works.take([exports], accept=True))
            works.records.update(works.store, works.plant)
            sheet = sheet_file(exports, line, 2, "early")
            assert works.take([sheet], accept=True)[0].receipt is not None
            works.records.update(works.store, works.plant)
            shutil.rmtree(exports)
    return folder


def answers(works: Works) -> list[object]:
    questions = [read_question("shift", machine=f"wrap{line}", period="all") for line in "AB"]
    return [works.ask(question).figures for question in questions]


def content(works: Works) -> dict[str, str]:
    works.records.update(works.store, works.plant)
    return works.records.content(works.plant)


@pytest.mark.parametrize("while_open", [False, True])
@pytest.mark.parametrize("damage", DAMAGES)
def test_damaged_records_are_made_again(made: Path, tmp_path: Path, damage: str, while_open: bool) -> None:
    folder = tmp_path / "works"
    shutil.copytree(made, folder)
    table = folder / "store" / "records"
    with Works(folder) as works:
        there, kept = answers(works), content(works)
        assert len(kept) == 2
    with Works(folder) as works:
        if while_open:  # all of it was read and found whole
            assert content(works) == kept
        DAMAGES[damage](table)
        assert answers(works) == there
    with Works(folder) as works:
        assert answers(works) == there
        assert content(works) == kept
        assert len(files(table)) == 2
    with Works(folder) as works:
        assert answers(works) == there
        assert works.records.made == 0, "made again though nothing was broken any more"
    hidden = {file.name for file in (folder / "store").glob(".*")}
    assert hidden <= {".cleared"}  # the mark of the last look for leftovers


def test_a_disk_that_keeps_nothing_whole_is_said_plainly(made: Path, tmp_path: Path, monkeypatch) -> None:
    folder = tmp_path / "works"
    shutil.copytree(made, folder)
    monkeypatch.setattr(RecordTable, "_rows", lambda *_: None)
    with Works(folder) as works, pytest.raises(StoreError, match="cannot be read back"):
        answers(works)


def test_files_of_replaced_records_are_deleted_after_a_week(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "works"
    shutil.copytree(made, copy)
    old = files(copy / "store" / "records")
    with Works(copy) as works:
        before = answers(works)
        with monkeypatch.context() as patch:
            patch.setattr(record_table, "time", lambda: time() - 8 * 86_400)
            works.records.update(works.store, works.plant, rebuild=True)
        works.records.update(works.store, works.plant)
    assert not [path for path in old if path.exists()]
    with Works(copy) as works:
        assert answers(works) == before
