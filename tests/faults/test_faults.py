"""Deliberate faults in the package, each run against the quick tests that call what is faulty.

`pytest -m long tests/faults -s` prints the survivors; those below are looked at, with why they say nothing.
"""

from __future__ import annotations

import ast
from multiprocessing import get_context

import numpy  # noqa: F401 - loaded once, before processes are forked
import polars  # noqa: F401
import pydantic  # noqa: F401
import pytest
import scipy.special  # noqa: F401

from tests.faults.by_hand import BY_HAND, SAY_NOTHING
from tests.faults.made import FOLDERS, Fault, drawn, faults_of, listed, modules
from tests.faults.runner import called_by_tests, caught

#: Faults drawn, the seeds they are drawn with, and the share of them that may survive without being listed.
COUNT, SEEDS, MOST_SHARE = 150, (1, 2), 0.05


def of_one_module(folder: str) -> list[Fault]:
    """The faults of a folder's first module of some length, each told of the code as it stands."""
    path = next(path for path in modules(folder) if path.stat().st_size > 2000)
    text, faults = ast.unparse(ast.parse(path.read_text(encoding="utf-8"))), faults_of(path)
    assert all(fault.before.strip("()") in text for fault in faults)  # a slice of two is shown in brackets of its own
    return faults


def test_faults_can_be_made_of_every_folder() -> None:
    # In a process of its own: Python 3.11 counts the depth of a syntax tree once for all threads, and a thread of
    # another test's board that logs an error meanwhile parses the lines it quotes.
    with get_context("spawn").Pool(1) as process:
        made = process.map(of_one_module, FOLDERS)
    assert len(made) == len(FOLDERS)
    for faults in made:
        assert faults
        assert all(fault.before != fault.after for fault in faults)


def test_faults_written_by_hand_stand_in_the_code() -> None:
    assert all(listed(f"lineview/{path}", before, after) for path, before, after in BY_HAND)


@pytest.fixture(scope="module")
def calls(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, list[str]], dict[str, float]]:
    """Which tests call what, and their seconds."""
    return called_by_tests(tmp_path_factory.mktemp("faults") / "calls.json")


def survivors_of(faults: list[Fault], calls: tuple[dict[str, list[str]], dict[str, float]]) -> list[str]:
    """Print the faults that no test notices, and give those of them that are not listed."""
    survivors = []
    for fault in faults:
        if not caught(fault, *calls):
            why = SAY_NOTHING.get(fault.key)
            print(f"survived: {fault.key} (line {fault.line}): {why or 'not looked at'}", flush=True)
            survivors += [] if why else [fault.key]
    print(f"of {len(faults)} faults {len(survivors)} survive and are not listed")
    return survivors


@pytest.mark.long
@pytest.mark.parametrize("path", ["order/policy.py", "week/compare.py", "intake/tidy/events.py", "wrap/use.py"])
def test_what_changes_nothing_survives(path: str, calls) -> None:
    """Else a test fails where it is tried, whatever the fault, and every fault there counts as caught."""
    assert caught(Fault(f"lineview/{path}", "", 1, "import", "import"), *calls) is False


@pytest.mark.long
def test_no_fault_written_by_hand_survives(calls) -> None:
    assert not survivors_of([listed(f"lineview/{path}", before, after) for path, before, after in BY_HAND], calls)


@pytest.mark.long
@pytest.mark.parametrize("seed", SEEDS)
def test_hardly_any_drawn_fault_survives(seed: int, calls) -> None:
    assert len(survivors_of(drawn(seed, COUNT), calls)) <= MOST_SHARE * COUNT
