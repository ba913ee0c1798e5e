"""Two million counter rows through intake in one command, beside a bare typed scan of the same file."""

import os
import subprocess
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

ROWS = 2_000_000
PLANT = """
shop = "Invented Sweets"
zone = "UTC"
lines = [{ id = "1" }]

[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [
  { id = "pieces", counts = "pieces", modulus = 65536, fastest_per_min = 450 },
  { id = "rejects", counts = "rejects", modulus = 65536, fastest_per_min = 450 },
]

[[layouts]]
id = "log"
files = "log*.csv"
machine = "wrap1"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = { "pieces" = { to = "pieces" }, "rejects" = { to = "rejects" } }
"""
BARE = """
import sys
import polars as pl
schema = {"time": pl.String, "pieces": pl.Int64, "rejects": pl.Int64}
frame = pl.scan_csv(sys.argv[1], schema=schema)
frame = frame.with_columns(pl.col("time").str.to_datetime("%Y-%m-%d %H:%M:%S"))
print(frame.collect().height)
"""
INTAKE = """
import sys
from lineview.cli.main import main
sys.argv = ["lineview", "intake", sys.argv[1], "--works", sys.argv[2]]
try:
    main()
except SystemExit:
    pass
# Of this process alone: ru_maxrss would begin with what the parent held when it forked.
print("peak", next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


def write_log(path: Path) -> None:
    start = datetime(2026, 1, 1)  # noqa: DTZ001 - wall time, as a machine writes it
    frame = pl.select(
        pl.datetime_range(start, start + timedelta(seconds=ROWS - 1), "1s").dt.strftime("%F %T").alias("time"),
        pieces=pl.Series((np.arange(ROWS) * 35 // 6) % 65536),
        rejects=pl.Series((np.arange(ROWS) // 13) % 65536),
    )
    frame.write_csv(path)


def took_s(code: str, *words: str | Path) -> tuple[float, str]:
    """Time a whole process, start of Python and imports included."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("LINEVIEW_")}
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, words)], env=environment, capture_output=True, text=True, check=True
    )
    return time.perf_counter() - start, done.stdout


@pytest.mark.bench
def test_two_million_rows_go_in_at_an_eighth_of_a_bare_scan(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    write_log(log)
    best_ratio, peak_mb = 0.0, 0.0
    for attempt in range(3):  # other work on the machine hits the two unevenly; the best pair is the fair one
        works = tmp_path / f"works{attempt}"
        works.mkdir()
        (works / "plant.toml").write_text(PLANT, encoding="utf-8")
        bare_s, printed = took_s(BARE, log)
        assert printed.strip() == str(ROWS)
        ours_s, printed = took_s(INTAKE, log, works)
        peak_mb = max(peak_mb, int(printed.split()[-1]) / 1024)
        best_ratio = max(best_ratio, bare_s / ours_s)
        print(
            f"{ROWS:,} rows in one command: {ours_s:.2f} s ({ROWS / ours_s:,.0f} rows/s); "
            f"bare typed scan {bare_s:.2f} s; ratio 1/{ours_s / bare_s:.1f}; peak {peak_mb:.0f} MB"
        )
        if best_ratio >= 1 / 8:
            break
    assert best_ratio >= 1 / 8
    assert peak_mb < 1000
