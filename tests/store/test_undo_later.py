"""An undo tells what happened, however long ago the first was."""

from time import time

from lineview.store import readings as tables
from lineview.store.store import Store
from tests.store.made import at, export, readings


def test_an_undo_succeeds_long_after_the_first(tmp_path, monkeypatch):
    with Store.open(tmp_path / "store") as store:
        for place, days_ago in enumerate((9, 9, 0, 0)):
            monkeypatch.setattr(tables, "time", lambda days=days_ago: time() - days * 86_400)
            one = export(tmp_path, f"{place}.csv", ("readings", readings([(2, place, "good", 1.0)])))
            intake = store.record(one).intake
            assert store.undo(intake).kept == 1
            assert store.readings("wrap1", at(-1), at(99)).is_empty()
