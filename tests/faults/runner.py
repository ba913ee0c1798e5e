"""Runs the tests that concern a fault, in a process of its own that sees the faulty module instead."""

from __future__ import annotations

import doctest
import importlib.util
import json
import os
import resource
import sys
import time
from collections import defaultdict
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import pytest

from tests.faults.made import ROOT, Fault

#: Folders of tests that are tried; a test over SLOWEST_S is not, but for those of KEPT, whole answers as they were.
#: The others of a fault are given QUICK_S, all of them MOST_S of processor time [s].
TRIED = (
    "core",
    "machine",
    "stats",
    "rope",
    "weight",
    "shift",
    "wrap",
    "order",
    "intake",
    "report",
    "published",
    "records",
    "week",
    "truth",
    "main_job",
    "app",
)
SLOWEST_S, QUICK_S, MOST_S = 6.0, 30, 120
KEPT = "tests/main_job/test_kept_answers.py"
QUIET = ("-q", "-p", "no:cacheprovider", "--no-header", "--durations=0", "-x", "--tb=no")


class Calls:
    """A plugin that notes which functions of the package each test calls, and how long it takes."""

    def __init__(self) -> None:
        self.tests: dict[str, set[str]] = defaultdict(set)
        self.seconds: dict[str, float] = {}

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        """Trace one test, its fixtures too."""
        seen: set[CodeType] = set()

        def note(frame: FrameType, event: str, _: Any) -> None:
            seen.add(frame.f_code)  # at each call; no line of it is traced

        start = time.process_time()
        sys.settrace(note)
        yield
        sys.settrace(None)
        self.seconds[item.nodeid] = time.process_time() - start
        inside = str(ROOT / "lineview")
        for code in seen:
            if code.co_filename.startswith(inside):
                place = Path(code.co_filename).relative_to(ROOT).as_posix()
                self.tests[f"{place}:{_outer(code)}"].add(item.nodeid)
                self.tests[place].add(item.nodeid)


def _outer(code: CodeType) -> str:
    parts = code.co_qualname.split(".<locals>")[0]
    return parts.rpartition(".")[2]


def name_of(fault: Fault) -> str:
    """The faulty module's name."""
    return fault.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


class _Faulty(SourceFileLoader):
    """Loads one module from a tree that is not its file's."""

    fault: Fault

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.fault.tree(), str(ROOT / self.fault.path), "exec")


class _Finder:
    def __init__(self, fault: Fault) -> None:
        self.fault = fault
        self.name = name_of(fault)

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> Any:
        if name != self.name:
            return None
        loader = _Faulty(name, str(ROOT / self.fault.path))
        loader.fault = self.fault
        is_package = self.fault.path.endswith("__init__.py")
        places = [str((ROOT / self.fault.path).parent)] if is_package else None
        return importlib.util.spec_from_file_location(
            name, ROOT / self.fault.path, loader=loader, submodule_search_locations=places
        )


def forked(work: Any, seconds: int) -> int:
    """Do something in a process of its own with so much processor time; give its exit status, 99 if killed."""
    child = os.fork()
    if child == 0:
        status = 98
        try:
            # The soft limit alone: workbooks are read by a process that may not raise a hard one.
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, resource.getrlimit(resource.RLIMIT_CPU)[1]))
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            status = int(work())
        finally:
            os._exit(status)
    _, how = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(how) if not os.WIFSIGNALED(how) else 99


def called_by_tests(into: Path) -> tuple[dict[str, list[str]], dict[str, float]]:
    """Which tests call each function, by "path:function" and by path; and each test's seconds."""

    def work() -> int:
        calls = Calls()
        pytest.main([*QUIET[:-2], *(f"tests/{folder}" for folder in TRIED)], plugins=[calls])
        into.write_text(json.dumps([{k: sorted(v) for k, v in calls.tests.items()}, calls.seconds]))
        return 0

    if not into.exists():
        forked(work, 6000)
    tests, seconds = json.loads(into.read_text())
    return tests, seconds


def chosen(fault: Fault, tests: dict[str, list[str]], seconds: dict[str, float]) -> list[str]:
    """The quick tests of the files that call what is faulty, its own folder's first, then kept answers that call it.

    The cheapest first. Whole files, for what a module's fixture calls is noted with the first test that asks for it.
    """
    by_function = tests.get(f"{fault.path}:{fault.function}") if fault.function else None
    calling = by_function or tests.get(fault.path, [])
    files = {test.split("::")[0] for test in calling} - {KEPT}
    quick: dict[str, list[str]] = defaultdict(list)
    for test, taken in seconds.items():
        if test.split("::")[0] in files and taken <= SLOWEST_S:
            quick[test.split("::")[0]].append(test)
    cost = {file: sum(seconds[test] for test in of_file) for file, of_file in quick.items()}
    folder = f"tests/{fault.path.split('/')[1]}/"
    out, spent = [], 0.0
    for file in sorted(quick, key=lambda f: (not f.startswith(folder), cost[f])):
        if spent + cost[file] <= QUICK_S or not out:
            out += quick[file]
            spent += cost[file]
    return out + sorted((test for test in calling if test.split("::")[0] == KEPT), key=lambda test: seconds[test])


def caught(fault: Fault, tests: dict[str, list[str]], seconds: dict[str, float]) -> bool | None:
    """Whether a test that calls what is faulty, or an example in its module, fails; None where none calls it."""
    quick = chosen(fault, tests, seconds)
    if not quick:
        return None

    def work() -> int:
        # What the parent has loaded holds tables made of the sound module.
        for name in [*sys.modules]:
            if name.split(".")[0] in ("lineview", "tests") and not name.startswith("tests.faults"):
                del sys.modules[name]
        sys.meta_path.insert(0, _Finder(fault))
        # As tests/structure runs them.
        failed, _ = doctest.testmod(importlib.import_module(name_of(fault)), optionflags=doctest.ELLIPSIS)
        return failed or int(pytest.main([*QUIET, *quick]))

    return forked(work, MOST_S) != 0
