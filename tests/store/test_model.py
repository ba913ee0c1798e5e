"""Whatever is taken in and taken back, the store gives what a plain list of rows gives."""

import tempfile
from collections import defaultdict
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from lineview.store.store import Store
from tests.store.made import at, export, readings

ROWS = st.lists(
    st.tuples(
        st.integers(0, 4),
        st.sampled_from(["good", "rejects"]),
        st.sampled_from([1.0, 2.0, None]),
        st.sampled_from(["good", "uncertain"]),
        st.sampled_from([None, "run"]),
    ),
    min_size=1,
    max_size=8,
)


def model(files):
    """What is to be given, and what is disputed, from the files that are in."""
    said = defaultdict(set)
    for rows in files.values():
        for second, channel, value, _, text in rows:
            said[channel, at(second)].add((value, text))
    agreed = {key: next(iter(versions)) for key, versions in said.items() if len(versions) == 1}
    return agreed, {key for key, versions in said.items() if len(versions) > 1}


def repeats(rows, files):
    """How many rows of a file say nothing new."""
    told = {(s, c, v, t) for one in files.values() for s, c, v, _, t in one}
    count = 0
    for second, channel, value, _, text in rows:
        key = (second, channel, value, text)
        count += key in told
        told.add(key)
    return count


@settings(max_examples=15, deadline=None)
@given(st.lists(st.one_of(ROWS, st.integers(0, 5)), min_size=1, max_size=6))
def test_the_store_gives_what_a_plain_list_gives(steps):
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "store") as store:
        files = {}
        for number, step in enumerate(steps):
            if isinstance(step, int):
                if files:
                    store.undo(sorted(files)[step % len(files)])
                    del files[sorted(files)[step % len(files)]]
            else:
                tidy = readings([(i + 2, s, c, v, q, t) for i, (s, c, v, q, t) in enumerate(step)])
                receipt = store.record(export(Path(folder), f"{number}.csv", ("readings", tidy)))
                assert receipt.kept + receipt.duplicate + receipt.refused == receipt.rows == len(step)
                assert receipt.duplicate == repeats(step, files)
                files[receipt.intake] = step
        agreed, disputed = model(files)
        found = store.readings("wrap1", at(-1), at(99))
        assert {(c, a): (v, t) for c, a, v, t in found.select("channel", "at", "value", "text").rows()} == agreed
        assert found.height == len(agreed)
        assert set(store.conflicts().select("channel", "at").rows()) == disputed
