"""Sealing the journal leaves SQLite's locks as they are, so that no other process takes its log away."""

import sqlite3
import subprocess
import sys
from pathlib import Path

from lineview.cli.intake import look_over
from lineview.store.doctor import examine
from lineview.store.store import Store
from tests.store.made import at, export, readings

ROOT = Path(__file__).parents[2]
#: Another process that connects to the journal and leaves it again, as the command line does beside a board.
OTHER = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1])
connection.execute("SELECT count(*) FROM intakes").fetchone()
connection.close()
"""


def test_a_process_that_leaves_the_journal_leaves_its_log_to_those_who_write_it(tmp_path):
    with Store.open(tmp_path / "store") as store:
        journal = tmp_path / "store" / "journal.sqlite"
        for number in range(3):
            one = export(tmp_path, f"{number}.csv", ("readings", readings([(2, number, "good", 1.0)])))
            store.record(one)  # which seals the journal
            log = journal.with_name("journal.sqlite-shm").stat().st_ino
            subprocess.run([sys.executable, "-c", OTHER, str(journal)], cwd=ROOT, check=True)
            assert journal.with_name("journal.sqlite-shm").stat().st_ino == log
        assert store.intakes().height == 3


def test_a_journal_written_under_a_reader_s_eyes_is_sealed_when_the_store_is_closed(tmp_path):
    journal = tmp_path / "store" / "journal.sqlite"
    with Store.open(tmp_path / "store") as store:
        store.record(export(tmp_path, "1.csv", ("readings", readings([(2, 1, "good", 1.0)]))))
        reader = sqlite3.connect(journal, isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM intakes").fetchone()
        store.record(export(tmp_path, "2.csv", ("readings", readings([(2, 2, "good", 1.0)]))))
        assert [finding.part for finding in examine(tmp_path / "store", None)] == ["in use"]
        reader.close()
    assert not examine(tmp_path / "store", None)


def test_damage_is_found_in_a_journal_that_is_in_use(tmp_path, capsys):
    journal = tmp_path / "store" / "journal.sqlite"
    with Store.open(tmp_path / "store") as store:
        store.record(export(tmp_path, "1.csv", ("readings", readings([(2, 1, "good", 1.0)]))))
        reader = sqlite3.connect(journal, isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM intakes").fetchone()
        assert look_over(tmp_path, None, repair=False) == 0
        store.record(export(tmp_path, "2.csv", ("readings", readings([(2, 2, "good", 1.0)]))))
        assert look_over(tmp_path, None, repair=False) == 0
        assert "journal.sqlite: is in use now" in capsys.readouterr().out
        other = sqlite3.connect(journal)
        other.execute("UPDATE intakes SET kept = kept + 1")
        other.commit()
        assert [finding.part for finding in examine(tmp_path / "store", None)] == ["journal"]
        assert look_over(tmp_path, None, repair=False) == 1
        other.close()
        reader.close()


def test_a_write_beside_another_s_seal_is_sealed_when_the_store_is_closed(tmp_path):
    with Store.open(tmp_path / "store") as store:
        store.record(export(tmp_path, "1.csv", ("readings", readings([(2, 1, "good", 1.0)]))))
        with store.writing_alone() as is_free:  # somebody who has sealed the journal and not yet let go of the store
            assert is_free
            store.set_stop_reason("wrap1", at(1), at(2), "film")
    assert not examine(tmp_path / "store", None)
