"""Which tests a person runs while working, and what kind the others are: by folder, unless a test says."""

from __future__ import annotations

from pathlib import Path

import pytest

TESTS = Path(__file__).parent
#: Folders and files whose tests take seconds all together.
QUICK = {
    "structure", "core", "plant", "stats", "statistics", "machine", "measures", "published", "stock", "order",
    "report", "test_plant_file.py", "test_plant_written.py", "test_periods.py",
}  # fmt: skip
#: Folders that are kept apart by a marker of their name.
APART = {"bench", "browser", "truth"}
#: A test with one of these is not quick, wherever it stands.
SLOW = {"long", "bench", "browser", "truth", "slow"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test by the folder it stands in."""
    for item in items:
        folder = item.path.relative_to(TESTS).parts[0]
        if folder in APART:
            item.add_marker(folder)
        elif folder in QUICK and not any(item.get_closest_marker(name) for name in SLOW):
            item.add_marker("quick")
