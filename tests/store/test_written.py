"""Adjustments and notes: kept once by their name, changed, withdrawn and brought back, with who and when."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lineview.core.errors import AskError
from lineview.store.audit import acting
from lineview.store.doctor import examine
from lineview.store.store import Store

AT = datetime(2026, 6, 9, 12, 5, tzinfo=UTC)


def standing(store: Store) -> list[str]:
    return store.adjustments("sizer1", AT - timedelta(days=1), AT + timedelta(days=1))["what"].to_list()


def test_an_entry_is_kept_once_however_often_it_is_sent(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        assert store.write("adjustment", "sizer1", AT, "pair 3 closed", "", "phone-1")
        before = store.version()
        assert not store.write("adjustment", "sizer1", AT, "pair 3 closed", "", "phone-1")
        assert store.version() == before
        assert standing(store) == ["pair 3 closed"]
        with pytest.raises(AskError, match="no name of an entry"):
            store.write("adjustment", "sizer1", AT, "x", "", "a b")


def test_one_that_is_pressed_several_times_is_kept_once(tmp_path: Path) -> None:
    """Each press has a name of its own; another moment, machine or word, or one that was removed, is another entry."""
    with Store.open(tmp_path) as store:
        new = [store.write("adjustment", "sizer1", AT, "pair 3 closed", "", f"press{i}") for i in range(4)]
        assert new == [True, False, False, False]
        assert standing(store) == ["pair 3 closed"]
        assert store.write("adjustment", "sizer2", AT, "pair 3 closed")
        assert store.write("adjustment", "sizer1", AT + timedelta(minutes=1), "pair 3 closed")
        assert store.write("adjustment", "sizer1", AT, "pair 3 closed", "by hand")
        assert store.write("note", "sizer1", AT, "pair 3 closed")
        store.withdraw("adjustment", "press0")
        assert store.write("adjustment", "sizer1", AT, "pair 3 closed")


def test_changes_are_undone_one_at_a_time_and_the_past_stays(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        with acting("Ann"):
            store.write("adjustment", "sizer1", AT, "pair 3 closed", "", "e1")
        with acting("Bea"):
            store.change("adjustment", "e1", AT + timedelta(minutes=5), "pair 3 opened", "by hand")
        (row,) = store.manual_entries(["sizer1"], "adjustment").to_dicts()
        assert (row["what"], row["who"], row["revisions"]) == ("pair 3 opened", "Bea", 2)
        assert row["at"] == AT + timedelta(minutes=5)
        assert datetime.now(UTC) - row["set_at"] < timedelta(minutes=1)
        store.undo_change("adjustment", "e1")
        assert standing(store) == ["pair 3 closed"]
        store.withdraw("adjustment", "e1")
        assert standing(store) == []
        assert store.manual_entries(["sizer1"], "adjustment")["withdrawn"].to_list() == [True]
        with pytest.raises(AskError, match="removed already"):
            store.withdraw("adjustment", "e1")
        store.undo_change("adjustment", "e1")
        assert standing(store) == ["pair 3 closed"]
        with pytest.raises(AskError, match="no such entry"):
            store.undo_change("note", "e1")
        actions = store.accounts.entries(20)["action"].to_list()
        changes = ["adjustment changed back", "adjustment removed", "adjustment changed back", "adjustment changed"]
        assert actions == [*changes, "adjustment"]
    assert examine(tmp_path, None) == []


def test_notes_stand_beside_adjustments(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        store.write("note", "sizer1", AT, "rolls cleaned")
        assert standing(store) == []
        assert store.manual_entries(["sizer1", "sizer2"], "note")["what"].to_list() == ["rolls cleaned"]
        assert store.manual_entries(["sizer2"], "note").is_empty()
