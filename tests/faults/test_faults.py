"""Deliberate faults in the package, each run against the quick tests that call what is faulty.

`pytest -m long tests/faults -s` prints the survivors; those below are looked at, with why they say nothing.
"""

from __future__ import annotations

import numpy  # noqa: F401 - loaded once, before processes are forked
import polars  # noqa: F401
import pydantic  # noqa: F401
import pytest
import scipy.special  # noqa: F401

from tests.faults.by_hand import BY_HAND, SAY_NOTHING
from tests.faults.made import FOLDERS, Fault, faults_of, listed, modules
from tests.faults.runner import called_by_tests, caught

#: Faults made of each folder, and the share of them that may survive without being listed.
EACH, MOST_SHARE = 15, 0.05


def made() -> list[Fault]:
    """As many faults of each folder, drawn by a name's digest so that changes elsewhere leave them."""
    out = []
    for folder in FOLDERS:
        all_of = [fault for path in modules(folder) for fault in faults_of(path)]
        out += sorted(all_of, key=lambda fault: fault.rank)[:EACH]
    return out


def test_faults_can_be_made_of_every_folder() -> None:
    for folder in FOLDERS:
        faults = faults_of(next(path for path in modules(folder) if path.stat().st_size > 2000))
        assert faults
        assert all(fault.before != fault.after for fault in faults)


def test_faults_written_by_hand_stand_in_the_code() -> None:
    assert all(listed(f"lineview/{path}", before, after) for path, before, after in BY_HAND)


@pytest.mark.long
def test_hardly_any_fault_survives(tmp_path) -> None:
    tests, seconds = called_by_tests(tmp_path / "calls.json")
    by_hand = [listed(f"lineview/{path}", before, after) for path, before, after in BY_HAND]
    drawn = made()
    survivors = [fault for fault in (*by_hand, *drawn) if not caught(fault, tests, seconds)]
    unlisted = [fault for fault in survivors if fault.key not in SAY_NOTHING]
    for fault in survivors:
        print(f"survived: {fault.key} (line {fault.line}): {SAY_NOTHING.get(fault.key, 'not looked at')}")
    print(f"{len(by_hand) + len(drawn)} faults, {len(survivors)} survived, {len(unlisted)} of them not listed")
    assert not [fault.key for fault in unlisted if fault in by_hand]
    assert len(unlisted) <= MOST_SHARE * len(drawn)
