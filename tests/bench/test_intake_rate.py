"""Reading two million counter rows against a bare polars scan of the same file, within one run."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

ROWS = 2_000_000

_READ = """
import json, resource, sys, time
from pathlib import Path
from lineview.intake.read import read_export
from lineview.plant import ColumnTarget, Counter, Layout, Line, Machine, Plant

counters = tuple(Counter(id=i, counts=c, fastest_per_min=500) for i, c in
                 (("pieces", "pieces"), ("rejects", "rejects"), ("film", "film")))
plant = Plant(shop="an invented works", zone="Europe/Berlin", lines=(Line(id="line1"),), machines=(
    Machine(id="wrap1", kind="cut-and-wrap machine", line="line1", counters=counters),))
layout = Layout(id="wide", machine="wrap1", columns={c.id: ColumnTarget(to=c.id) for c in counters})
began = time.perf_counter()
export = read_export(Path(sys.argv[1]), plant, layout=layout)
seconds = time.perf_counter() - began
# Of this process alone: ru_maxrss would begin with what the parent held when it forked.
held = next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM"))
peak = int(held) / 1024
print(json.dumps({"seconds": seconds, "peak_mb": peak, "rows": export.rows, "refused": export.rows_refused,
                  "tidy": export.parts[0].tidy.height}))
"""

_BARE = """
import json, sys, time
import polars as pl

schema = {"time": pl.String, "pieces": pl.Int64, "rejects": pl.Int64, "film": pl.Int64}
began = time.perf_counter()
scan = pl.scan_csv(sys.argv[1], schema=schema)
scan.with_columns(pl.col("time").str.to_datetime("%Y-%m-%d %H:%M:%S")).collect()
print(json.dumps({"seconds": time.perf_counter() - began}))
"""


def long_export(path: Path, rows: int) -> None:
    """Write a counter export of an invented machine, 10 s apart, in the plant's wall clock without gaps."""
    start = datetime(2026, 1, 1)  # noqa: DTZ001 - wall clock
    at = pl.datetime_range(start, start + timedelta(seconds=10 * (rows - 1)), "10s", eager=True)
    i = pl.int_range(rows, eager=True)
    pl.DataFrame(
        {
            "time": at.dt.strftime("%Y-%m-%d %H:%M:%S"),
            "pieces": i * 58 % 1_000_000,
            "rejects": i * 7 % 65536,
            "film": i // 10 + 400_000,
        }
    ).write_csv(path)


def measured(program: str, path: Path) -> dict[str, float]:
    done = subprocess.run([sys.executable, "-c", program, str(path)], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


@pytest.mark.bench
def test_two_million_rows_are_read_at_a_fifth_of_a_bare_scan_in_little_memory(tmp_path):
    path = tmp_path / "wrap1.csv"
    long_export(path, ROWS)
    ratio, peak, bare, read = 0.0, 0.0, 0.0, {}
    for _ in range(3):  # again where other work took the machine's time from one of the two
        bare, read = measured(_BARE, path)["seconds"], measured(_READ, path)
        ratio, peak = bare / read["seconds"], max(peak, read["peak_mb"])
        if ratio >= 1 / 5:
            break
    print(
        f"\n{ROWS:,} rows: read and tidied in {read['seconds']:.2f} s "
        f"({ROWS / read['seconds']:,.0f} rows/s), "
        f"bare scan {bare:.2f} s, ratio 1/{1 / ratio:.1f}, peak {peak:.0f} MB"
    )
    assert read["rows"] == ROWS
    assert read["tidy"] == 3 * (ROWS - read["refused"])
    assert peak < 900
    assert ratio >= 1 / 5
