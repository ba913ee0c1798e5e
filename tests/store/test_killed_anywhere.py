"""A process killed at any write: what it said is there, the rest whole or not, nothing twice, the doctor clean."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.store.killed import NEVER

ROOT = Path(__file__).parents[2]
PLANT = """
shop = "Invented Sweets"
[[lines]]
id = "1"
[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [{ id = "good", counts = "good pieces", modulus = 65536, fastest_per_min = 450 }]
"""
SCENARIOS = ("store", "layouts", "records", "migration")


def killed_at(folder: Path, scenario: str, most: int) -> tuple[int, int]:
    """Kill a scenario at so many of its writes: how many writes it has, and at how many it was killed."""
    folder.mkdir(exist_ok=True)
    (folder / "plant.toml").write_text(PLANT, encoding="utf-8")
    words = [sys.executable, "-m", "tests.store.killed", scenario, str(folder), str(most)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    total, points, wrong = map(int, done.stdout.split())
    assert wrong == 0, done.stderr
    return total, points


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_a_process_killed_at_some_writes_leaves_each_step_whole_or_not_at_all(tmp_path, scenario):
    total, points = killed_at(tmp_path, scenario, 4)
    assert total > 20
    assert points >= 3


@pytest.mark.long
def test_a_process_killed_at_any_write_leaves_each_step_whole_or_not_at_all(tmp_path):
    made = {scenario: killed_at(tmp_path / scenario, scenario, NEVER) for scenario in SCENARIOS}
    print("\nkilled at each write: " + ", ".join(f"{name} {points}" for name, (_, points) in made.items()))
    assert all(total == points for total, points in made.values())
