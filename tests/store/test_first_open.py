"""Making the journal's tables is atomic: whatever cuts the first open short, the next one opens."""

import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from lineview.core.errors import StoreError
from lineview.store.journal import Journal
from lineview.store.store import Store
from lineview.store.tables import metadata
from tests.store.made import at, export, readings

ROOT = Path(__file__).parents[2]
#: The first open, dead before its nth statement that makes something in the journal.
KILLED = """
import os, sys
from pathlib import Path
from sqlalchemy import event
from sqlalchemy.engine import Engine
from lineview.store.store import Store
left = [int(sys.argv[2])]
@event.listens_for(Engine, "before_cursor_execute")
def count(connection, cursor, statement, *rest):
    if statement.lstrip().startswith(("CREATE", "INSERT", "DROP")):
        left[0] -= 1
        if left[0] < 0:
            os._exit(9)
Store.open(Path(sys.argv[1])).close()
"""
MAKING = len(metadata.tables) + sum(len(table.indexes) for table in metadata.tables.values()) + 3


def dies(folder: Path, before: int) -> bool:
    """Whether a first open of a store was killed before its nth statement."""
    command = [sys.executable, "-c", KILLED, str(folder), str(before)]
    code = subprocess.run(command, cwd=ROOT, check=False).returncode
    assert code in {0, 9}
    return code == 9


def takes_in(folder: Path) -> None:
    with Store.open(folder / "store") as store:
        assert store.record(export(folder, "a.csv", ("readings", readings([(2, 0, "good", 1.0)])))).kept == 1
        assert store.readings("wrap1", at(-1), at(9)).height == 1


@pytest.mark.parametrize("before", [0, 1, 2, MAKING // 2, MAKING - 3, MAKING - 2, MAKING - 1])
def test_a_first_open_killed_anywhere_leaves_a_store_that_opens(tmp_path, before):
    assert dies(tmp_path / "store", before) == (before < MAKING)
    takes_in(tmp_path)


def test_the_statements_counted_are_all_there_are(tmp_path):
    assert not dies(tmp_path / "store", MAKING)


@pytest.mark.parametrize("form_table", ["", "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL)"])
def test_a_journal_left_half_made_before_is_made_anew(tmp_path, form_table):
    (tmp_path / "store").mkdir()
    engine = create_engine(f"sqlite:///{tmp_path / 'store' / 'journal.sqlite'}")
    with engine.begin() as connection:
        metadata.create_all(connection, metadata.sorted_tables[:2])
        if form_table:
            connection.execute(text(form_table))
    engine.dispose()
    takes_in(tmp_path)


UNKNOWN = (
    "UPDATE alembic_version SET version_num = '0000'",
    "UPDATE alembic_version SET version_num = 'of old'",
    "DELETE FROM alembic_version",
)


@pytest.mark.parametrize("change", UNKNOWN)
def test_a_journal_of_an_unknown_form_is_said_plainly_and_kept(tmp_path, change):
    takes_in(tmp_path)
    engine = create_engine(f"sqlite:///{tmp_path / 'store' / 'journal.sqlite'}")
    with engine.begin() as connection:
        connection.execute(text(change))
    with pytest.raises(StoreError, match="form that this version does not know"):
        Store.open(tmp_path / "store")
    with engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM intakes")).scalar() == 1
    engine.dispose()


def test_a_journal_that_is_no_database_is_said_plainly(tmp_path):
    (tmp_path / "journal.sqlite").write_bytes(b"no database at all, " * 400)
    with pytest.raises(StoreError, match="cannot be opened"):
        Journal(tmp_path)
