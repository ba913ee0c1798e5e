"""The board's process returns memory: its setting is there before the library that reads it."""

import subprocess
import sys

import pytest

CODE = """
import os, sys, time
import lineview.cli
from lineview import allocator
assert not any(name.partition(".")[0] == "polars" for name in sys.modules), "polars is loaded too early"
allocator.give_memory_back()
assert os.environ[allocator.SETTING] == allocator.GIVEN_BACK
import polars as pl

def resident_mb():
    with open("/proc/self/statm") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGESIZE") / 1e6

before = resident_mb()
rows = pl.int_range(2_000_000, eager=True).to_frame("a")
frames = [rows.with_columns(a=pl.col("a") + i, b=pl.lit("x") + "y") for i in range(6)]
full = resident_mb()
frames.clear()
for _ in range(40):
    time.sleep(0.1)
    pl.int_range(1000, eager=True).shuffle(seed=1).sort()  # the allocator looks at its clock when it is used
    after = resident_mb()
    if after - before < 0.5 * (full - before):
        break
print(round(before), round(full), round(after))
assert full - before > 50
assert after - before < 0.5 * (full - before), (before, full, after)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="resident memory is read from /proc")
def test_memory_goes_back_to_the_system() -> None:
    subprocess.run([sys.executable, "-c", CODE], check=True)
