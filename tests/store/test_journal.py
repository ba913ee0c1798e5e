"""The journal's tables are what the migrations make, on SQLite and on PostgreSQL."""

from datetime import timedelta
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, text

from lineview.core.errors import AskError, StoreError
from lineview.store import journal as journals
from lineview.store import migrations
from lineview.store.journal import Journal
from lineview.store.store import Store
from lineview.store.tables import metadata
from tests.store.made import at, export, kind, readings, weights


def differences(engine):
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        return compare_metadata(context, metadata)


def test_migrations_make_the_tables_that_the_code_knows(tmp_path):
    journal = Journal(tmp_path)
    assert differences(journal.engine) == []
    journal.close()
    scripts = ScriptDirectory(str(Path(migrations.__file__).parent))
    assert scripts.get_current_head() == journals.NEWEST


def test_a_new_journal_is_made_as_the_migrations_make_it(tmp_path):
    made, migrated = Journal(tmp_path), create_engine(f"sqlite:///{tmp_path / 'migrated.sqlite'}")
    with migrated.begin() as connection:
        journals.upgrade(connection)
    assert differences(migrated) == []
    assert described(made.engine) == described(migrated)
    with made.engine.begin() as connection:
        journals.upgrade(connection)  # finds nothing to do
    made.close()
    migrated.dispose()


def described(engine):
    """Tables with their columns and keys, and indexes with their conditions, as SQLite holds them."""
    with engine.connect() as connection:
        rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")).all()
        pragmas = {
            name: [
                connection.execute(text(f"PRAGMA {what}({name})")).all()
                for what in ("table_info", "foreign_key_list", "index_list")
            ]
            for name, sql in rows
            if sql.startswith("CREATE TABLE")
        }
        tables = {name: ([sorted(row[1:] for row in r) for r in p]) for name, p in pragmas.items()}
        counted = {name for name, sql in rows if "AUTOINCREMENT" in sql}
        return tables, {sql for _, sql in rows if not sql.startswith("CREATE TABLE")}, counted


def test_sqlite_keeps_a_write_ahead_log_and_foreign_keys(tmp_path):
    journal = Journal(tmp_path)
    with journal.reading() as connection:
        assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1
        assert connection.execute(text("PRAGMA synchronous")).scalar() == 2
    journal.close()


def test_a_journal_of_a_newer_version_is_refused(tmp_path):
    Journal(tmp_path).close()
    engine = create_engine(f"sqlite:///{tmp_path / 'journal.sqlite'}")
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    with pytest.raises(StoreError, match="newer version"):
        Journal(tmp_path)


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("nonsense", "cannot be opened"),
        ("nonsense+driver://host/name", "cannot be opened"),
        ("sqlite:////no/such/folder/journal.sqlite", "cannot be opened"),
    ],
)
def test_an_address_that_leads_nowhere_is_said_plainly(tmp_path, url, words):
    with pytest.raises(StoreError, match=words):
        Store.open(tmp_path / "store", url)


def test_a_folder_that_is_a_file_is_said_plainly(tmp_path):
    (tmp_path / "store").write_text("")
    with pytest.raises(StoreError, match="could not open the store"):
        Store.open(tmp_path / "store")


def test_the_journal_of_another_store_is_refused(tmp_path):
    url = f"sqlite:///{tmp_path / 'journal.sqlite'}"
    one = export(tmp_path, "x.csv", ("readings", readings([(2, 0, "good", 1.0)])))
    with Store.open(tmp_path / "mine", url) as store:
        store.record(one)
    with pytest.raises(StoreError, match="give the journal of this store"):
        Store.open(tmp_path / "other", url)
    with Store.open(tmp_path / "mine", url) as store:
        assert store.readings("wrap1", at(-1), at(99)).height == 1


def test_the_journal_on_postgresql_answers_as_on_sqlite(tmp_path, postgresql):
    found = []
    for name, url in (("lite", None), ("post", postgresql)):
        with Store.open(tmp_path / name, url) as store:
            assert differences(store._journal.engine) == []
            parts = (
                ("readings", readings([(2, 0, "good", 1.0), (3, 9, "good", 2.0)])),
                ("weights", weights([(2, 0, 6.8, "1")])),
                ("batches", kind("batches", [{"line": "line1", "batch": "b", "start": at(0), "end": at(9)}])),
                ("stock", kind("stock", [{"web": "film", "at": at(0), "whole_reels": 3.0}])),
            )
            first = store.record(export(tmp_path, "a.xlsx", *parts))
            again = store.record(export(tmp_path, "a.xlsx", *parts))
            second = store.record(export(tmp_path, "b.csv", ("readings", readings([(2, 0, "good", 5.0)]))))
            store.write("adjustment", "sizer1", at(5), "pair 3 closed", "by hand")
            store.set_stop_reason("wrap1", at(0), at(60), "film torn")
            disputed = store.conflicts().drop("file").rows()
            store.undo(second.intake)
            found.append(
                [
                    (first, again, second, disputed),
                    store.readings("wrap1", at(-1), at(99)).rows(),
                    store.batches("line1", at(3), at(4)).rows(),
                    store.stock().rows(),
                    store.adjustments("sizer1", at(0), at(9)).rows(),
                    store.stop_reasons("wrap1", at(30), at(31)).drop("set_at").rows(),
                    store.intakes().drop("taken_at").rows(),
                ]
            )
    assert found[0] == found[1]
    assert found[0][0][1].already


def test_accounts_on_postgresql_are_as_on_sqlite(tmp_path, postgresql):
    hour, found = timedelta(hours=1), []
    for name, url in (("lite", None), ("post", postgresql)):
        with Store.open(tmp_path / name, url) as store:
            accounts = store.accounts
            accounts.add_user("Ann Invented", ("see", "note"), "hash")
            with pytest.raises(AskError):
                accounts.add_user("ann invented", ("see",), "hash")
            user = accounts.user("ANN invented")
            accounts.begin_session("a", user, hour)
            accounts.begin_session("b", user, -hour)
            accounts.offer_pairing("code", "wall", hour)
            paired = [accounts.pair("code", mark, hour) for mark in ("c", "d")]
            seated = [accounts.session(mark) for mark in ("a", "b", "c", "d")]
            seen = [(one.user and one.user.name, one.screen) if one else None for one in seated]
            accounts.set_rights(user, ("see", "order"))
            screens = accounts.screens().drop("begun_at", "ends_at").rows()
            accounts.remove_user(user)
            told = accounts.entries(20).select("action", "about", "before", "after").rows()
            found.append([user.rights, paired, seen, screens, accounts.session("a"), accounts.users(), told])
    assert found[0] == found[1]
    assert found[0][1] == [True, False]
    assert found[0][2] == [("Ann Invented", ""), None, (None, "wall"), None]
    assert found[0][-2] == []


def test_a_snapshot_on_postgresql_stays_as_it_was(tmp_path, postgresql):
    with Store.open(tmp_path / "store", postgresql) as store:
        there = store.record(export(tmp_path, "x.csv", ("readings", readings([(2, 0, "good", 1.0)]))))
        with store.snapshot() as still:
            before = still.readings("wrap1", at(-1), at(99)).rows()
            store.undo(there.intake)
            assert still.readings("wrap1", at(-1), at(99)).rows() == before != []
        assert store.readings("wrap1", at(-1), at(99)).is_empty()


def test_what_is_written_twice_by_two_presses_stands_once(tmp_path):
    with Store.open(tmp_path / "store") as store:
        moment = at(0)
        assert store.write("adjustment", "wrap1", moment, "pair 3 closed")
        assert not store.write("adjustment", "wrap1", moment, "pair 3 closed", entry="another-press")
        assert store.write("adjustment", "wrap1", moment, "pair 3 closed", "by half a turn")
        assert store.write("note", "wrap1", moment, "pair 3 closed")
        assert not store.write("note", "wrap1", moment, "pair 3 closed")
        (first, _) = store.manual_entries(["wrap1"], "adjustment").sort("note")["entry"]
        store.withdraw("adjustment", first)
        assert store.write("adjustment", "wrap1", moment, "pair 3 closed")  # what was removed may be noted again
