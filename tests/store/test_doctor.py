"""Damage to any byte of a store is found, never answered from, and made good from the originals."""

from pathlib import Path
from random import Random
from shutil import copyfile, copytree, rmtree
from types import SimpleNamespace

import pytest

from lineview.app.doctor import repair
from lineview.app.works import Works
from lineview.cli.intake import look_over
from lineview.core.errors import LineviewError, StoreError
from lineview.store.doctor import examine
from tests.app.test_watch import PLANT
from tests.intake.small_works import SmallWorks, rows, stamps
from tests.store.killed import make_former
from tests.store.made import at

BATCHES = """
[[layouts]]
id = "sheet"
kind = "batches"
files = "batches-*"
line = "line1"
time = "start"
columns = { "start" = { to = "start" }, "batch" = { to = "batch" } }
"""


#: The intake of the export that is undone.
UNDONE = 4


def exports(folder: Path) -> list[Path]:
    """Two exports that dispute a moment, one with a refused row, and a batch sheet."""
    texts = {
        "log-1.csv": "time,count\n2026-05-31 23:59:00,5\n2026-06-01 06:00:00,58000\n2026-06-01 06:01:00,58349\n",
        "log-2.csv": "time,count\n2026-06-01 06:01:00,58350\nno time,3\n2026-06-01 06:02:00,58698\n",
        "batches-1.csv": "start,batch\n2026-06-01 06:00:00,b1\n2026-06-01 06:10:00,b2\n",
    }
    for name, text in texts.items():
        (folder / name).write_text(text)
    return [folder / name for name in texts]


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sound")
    (folder / "plant.toml").write_text(PLANT + BATCHES)
    with Works(folder) as works:
        taken = [works.take([path])[0] for path in exports(folder)]
        assert [one.error for one in taken] == [None] * 3
        works.undo(works.take([_undone(folder)])[0].receipt.intake)
        works.write("adjustment", "wrap1", at(0), "knife changed")
        works.records.update(works.store, works.plant)
    assert examine(folder / "store", None) == []
    return folder


def _undone(folder: Path) -> Path:
    path = folder / "log-3.csv"
    path.write_text("time,count\n2026-06-02 06:01:00,1\n2026-06-02 06:02:00,698\n")
    return path


def content(folder: Path) -> list:
    """All that a works answers from."""
    with Works(folder) as works:
        store = works.store
        works.records.update(store, works.plant)
        return [
            works.records.content(works.plant),
            store.readings("wrap1", at(-1e6), at(1e8)).rows(),
            store.batches("line1", at(-1e6), at(1e8)).rows(),
            store.refusals().rows(),
            store.conflicts().rows(),
            store.intakes().rows(),
            store.adjustments("wrap1", at(-1e6), at(1e8)).rows(),
        ]


def victims(folder: Path) -> list[Path]:
    """The files that count: not those that an undone intake left until they are cleared away."""
    store = folder / "store"
    there = (file for file in store.rglob("*") if file.is_file() and file.stat().st_size)
    return sorted(file for file in there if not file.name.startswith(f"intake-{UNDONE:09d}-"))


def damage(path: Path, chance: Random) -> None:
    data = bytearray(path.read_bytes())
    if chance.random() < 0.2:
        path.write_bytes(data[: chance.randrange(len(data))])
    else:
        place = chance.randrange(len(data) * 8)
        data[place // 8] ^= 1 << place % 8
        path.write_bytes(data)


def hurt(sound: Path, whole: list, into: Path, seed: int) -> tuple[str, str]:
    """Damage one file of a copy, ask it, mend it; give the file and what went wrong, if anything did."""
    chance = Random(seed)
    copytree(sound, into)
    path = chance.choice(victims(into))
    name, before = path.relative_to(into / "store").as_posix(), path.read_bytes()
    damage(path, chance)
    if not examine(into / "store", None):
        return name, "not found"
    try:
        if content(into) != whole:
            return name, "answered from"
    except LineviewError:
        pass
    if name.startswith("originals/") and path.suffix != ".json":
        path.write_bytes(before)  # an original is made anew from nothing: it has to be put back
    left = repair(into, None, lambda _line: None)
    if left:
        return name, f"not repaired: {left}"
    return name, "" if content(into) == whole else "repaired to something else"


def hurt_some(sound: Path, into: Path, seeds: range) -> None:
    whole = content(sound)
    for seed in seeds:
        name, wrong = hurt(sound, whole, into, seed)
        assert not wrong, (seed, name, wrong)
        rmtree(into)


def test_damage_is_found_never_answered_from_and_repaired(sound, tmp_path):
    hurt_some(sound, tmp_path / "works", range(30))


@pytest.mark.long
@pytest.mark.parametrize("part", range(40))
def test_damage_anywhere_is_found_never_answered_from_and_repaired(sound, tmp_path, part):
    hurt_some(sound, tmp_path / "works", range(50 * part, 50 * part + 50))


def test_a_journal_of_another_works_is_refused(sound, tmp_path):
    url = f"sqlite:///{tmp_path / 'journal.sqlite'}"
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        copyfile(sound / "plant.toml", tmp_path / name / "plant.toml")
    with Works(tmp_path / "one", url) as works:
        assert works.take([sound / "log-1.csv"])[0].receipt.kept == 3
    with pytest.raises(StoreError, match="another works"), Works(tmp_path / "other", url) as works:
        works.take([sound / "log-1.csv"])


def test_the_doctor_says_what_is_damaged_and_repairs_it(sound, tmp_path, capsys):
    copytree(sound, tmp_path / "works")
    assert look_over(tmp_path / "works", None, repair=False) == 0
    file = next((tmp_path / "works" / "store" / "readings").glob("machine=*/month=*/intake-000000001-*"))
    file.write_bytes(file.read_bytes()[:-9])
    assert look_over(tmp_path / "works", None, repair=False) == 1
    assert file.name in capsys.readouterr().out.replace("\n", "")
    assert look_over(tmp_path / "works", None, repair=True) == 0
    assert look_over(tmp_path / "works", None, repair=False) == 0


def former(sound, into):
    """A store as the version before left it: no id, no sums, nothing beside the exports."""
    copytree(sound, into)
    store = into / "store"
    for name in ("works.id", "journal.seal", "entries.json"):
        (store / name).unlink(missing_ok=True)
    for path in store.glob("originals/??/*.json"):
        path.unlink()
    rmtree(store / "plants")
    rmtree(store / "sums")
    make_former(store / "journal.sqlite", "0002")


@pytest.mark.parametrize("repairs", [False, True])
def test_a_store_of_the_version_before_is_brought_up_and_found_sound(sound, tmp_path, repairs):
    former(sound, tmp_path / "works")
    assert look_over(tmp_path / "works", None, repair=repairs) == 0
    assert content(tmp_path / "works") == content(sound)


def test_a_journal_that_nothing_can_be_made_from_is_left_as_it_is(sound, tmp_path):
    copytree(sound, tmp_path / "works")
    store = tmp_path / "works" / "store"
    for path in store.glob("originals/??/*.json"):
        path.unlink()
    (store / "journal.sqlite").write_bytes(b"damaged" * 1000)
    with pytest.raises(StoreError, match="Restore a backup"):
        repair(tmp_path / "works", None, lambda _line: None)
    assert (store / "journal.sqlite").read_bytes() == b"damaged" * 1000


def test_a_journal_made_anew_leaves_the_damaged_one_beside_it(sound, tmp_path):
    copytree(sound, tmp_path / "works")
    store = tmp_path / "works" / "store"
    (store / "journal.sqlite").write_bytes(b"damaged" * 1000)
    said: list[str] = []
    assert repair(tmp_path / "works", None, said.append) == []
    assert any("add each user again, lineview user add" in line for line in said)
    assert content(tmp_path / "works") == content(sound)
    assert [path.read_bytes() for path in store.glob("damaged-*.sqlite")] == [b"damaged" * 1000]


def test_a_machine_whose_band_nobody_wrote_is_held_to_none_when_it_is_made_anew(tmp_path):
    works = SmallWorks(tmp_path / "works")
    taken = works.take("time;pieces\n" + rows(stamps(481, 60), lambda minute: 5_000 + int(3 * minute)), answers={})
    assert taken.receipt is not None
    readings = [file for file in (works.folder / "store").rglob("*.parquet") if "readings" in str(file)]
    assert readings
    for file in readings:
        file.write_bytes(file.read_bytes()[:100])
    assert repair(works.folder, None, lambda _line: None) == []
    assert works.made() == (1_440, 1_440, 1_440)


def test_a_full_disk_is_said_and_no_repair_of_what_is_sound_advised(sound, tmp_path, monkeypatch):
    works = tmp_path / "works"
    copytree(sound, works)
    full = SimpleNamespace(total=10**9, used=10**9, free=0)
    monkeypatch.setattr("lineview.store.files.disk_usage", lambda _folder: full)
    with pytest.raises(StoreError, match=r"No space left on device.*Check the disk's space"):
        examine(works / "store", None)
    monkeypatch.undo()
    assert examine(works / "store", None) == []
