"""Sealing the journal leaves SQLite's locks as they are, so that no other process takes its log away."""

import subprocess
import sys
from pathlib import Path

from lineview.store.store import Store
from tests.store.made import export, readings

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
