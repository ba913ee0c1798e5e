"""Works folders that several benches ask, each built and taken in once a session."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bench import works_at_scale
from tests.bench.measured import BEFORE, ROOT, Spent, command, taken_in

#: A works folder of each checkout measured: this one, and the earlier one that LINEVIEW_BENCH_BEFORE names.
Folders = dict[str, tuple[Path, str]]


def of_each_code(folder: Path, write: Callable[[Path], object], took: dict[str, Spent] | None = None) -> Folders:
    """Write a works once and take it in by each checkout, in a folder of its own; note what that took."""
    first = folder / "now"
    write(first)
    found = {"now": (first, str(ROOT))}
    if BEFORE:
        shutil.copytree(first, folder / "before")
        found["before"] = (folder / "before", BEFORE)
    for name, (works, code) in found.items():
        spent = taken_in(works, code)
        if took is not None:
            took[name] = spent
        print(f"\n{works}: taken in {spent.cpu_s:.1f} s of processor, {spent.peak_mb:.0f} MB")
    return found


@pytest.fixture(scope="session")
def spent_on_60() -> dict[str, Spent]:
    """What taking in the demo of 60 days took, by checkout; `demo_60` fills it."""
    return {}


@pytest.fixture(scope="session")
def demo_60(tmp_path_factory: pytest.TempPathFactory, spent_on_60: dict[str, Spent]) -> Folders:
    """The demo of 60 days, seed 3."""
    folder = tmp_path_factory.mktemp("demo_60")
    return of_each_code(
        folder, lambda into: command("demo", "--days", "60", "--seed", "3", "--into", into), spent_on_60
    )


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Folders:
    """Ten machines over 90 days."""
    return of_each_code(tmp_path_factory.mktemp("season"), lambda into: works_at_scale.write_works(into, 90))


@pytest.fixture(scope="session")
def year(tmp_path_factory: pytest.TempPathFactory) -> Folders:
    """Ten machines over a year."""
    return of_each_code(tmp_path_factory.mktemp("year"), lambda into: works_at_scale.write_works(into, 365))
