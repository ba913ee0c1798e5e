"""A works folder may be called nearly anything; what tables cannot be kept under is said plainly."""

import os

import pytest

from lineview.core.errors import StoreError
from lineview.store.store import Store
from tests.store.made import at
from tests.store.test_crash import counts, whole


@pytest.mark.parametrize("name", ["a [2026]", "b*?", "sp ace #x&y", "ü €", "-dash", "q'uo\"te", "{x}", "50 %", "tr "])
def test_what_was_taken_in_is_read_back_under_any_name(tmp_path, name):
    (tmp_path / name).mkdir()
    with Store.open(tmp_path / name / "store") as store:
        intake = store.record(whole(tmp_path)).intake
        assert counts(store) == (2, 1, 1, 1, 1)
    with Store.open(tmp_path / name / "store") as store:
        assert {channel: rows.height for channel, rows in _by_channel(store).items()} == {"good": 2}
        store.undo(intake)
        assert counts(store) == (0, 0, 0, 0, 1)


def _by_channel(store):
    return store.channel_readings("wrap1", at(-1), at(1e8))


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("two\nlines", "a line break"),
        ("back\\slash", "a backslash"),
        ("a%20b", "a percent sign"),
        (os.fsdecode(b"l\xe4"), "not UTF-8"),
    ],
)
def test_a_name_that_tables_cannot_have_is_said_plainly(tmp_path, name, what):
    with pytest.raises(StoreError, match=what) as caught:
        Store.open(tmp_path / name / "store")
    str(caught.value).encode()  # it can be printed
    assert not (tmp_path / name).exists()
