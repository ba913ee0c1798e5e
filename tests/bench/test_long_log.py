"""One machine with five million rows of three counters: the shift question over all of it."""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.bench.conftest import Folders, of_each_code
from tests.bench.measured import PEAK, command, interleaved, python

pytestmark = [pytest.mark.bench, pytest.mark.long]

ROWS, EVERY_S = 5_000_000, 5
BAR_S, BAR_MB = 1.5, 400
START = datetime(2026, 1, 1)  # noqa: DTZ001 - wall time, as a machine writes it
PLANT = """
shop = "Invented Sweets"
zone = "UTC"
lines = [{ id = "1" }]

[[shifts]]
id = "early"
start = 06:00:00
end = 14:00:00
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

[[shifts]]
id = "late"
start = 14:00:00
end = 22:00:00
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [
  { id = "pieces", counts = "pieces", modulus = 65536, fastest_per_min = 450 },
  { id = "rejects", counts = "rejects", modulus = 65536, fastest_per_min = 450 },
  { id = "film", counts = "film", modulus = 65536, fastest_per_min = 500, unit_value = 0.1 },
]

[[layouts]]
id = "log"
files = "log*.csv"
machine = "wrap1"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = { "pieces" = { to = "pieces" }, "rejects" = { to = "rejects" }, "film" = { to = "film" } }
"""
#: The least any answer must do without records: read the store's files once and sum.
BARE = f"""
import sys
import polars as pl
files = pl.scan_parquet(sys.argv[1] + "/store/readings/**/*.parquet", hive_partitioning=False)
print(files.group_by("channel").agg(pl.col("value").diff().clip(0).sum(), pl.len()).collect())
{PEAK}
"""


def write_log(folder: Path) -> None:
    """Write plant.toml and one export: ten minutes' standstill every two hours."""
    (folder / "exports").mkdir(parents=True)
    (folder / "plant.toml").write_text(PLANT, encoding="utf-8")
    seconds = np.arange(ROWS) * EVERY_S
    made = (seconds // 7200 * 6600 + np.minimum(seconds % 7200, 6600)) * 352 // 60
    end = START + timedelta(seconds=(ROWS - 1) * EVERY_S)
    moments = pl.datetime_range(START, end, f"{EVERY_S}s", eager=True).dt.strftime("%F %T")
    counts = {"pieces": made % 65536, "rejects": made // 83 % 65536, "film": made * 577 // 1000 % 65536}
    pl.DataFrame({"time": moments, **counts}).write_csv(folder / "exports" / "log.csv")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Folders:
    return of_each_code(tmp_path_factory.mktemp("long_log"), write_log)


def test_nine_months_of_one_machine_are_answered_in_flat_memory(log, capsys) -> None:
    words = ("--from", "2026-01-01", "--to", "2026-10-15")
    bare = str(log["now"][0])
    runs = {"bare": lambda: python(["-c", BARE, bare])}
    first = {}
    for name, (works, code) in log.items():
        first[name] = command("answer", "shift", *words, "--works", works, code=code)
        runs[name] = lambda works=works, code=code: command("answer", "shift", *words, "--works", works, code=code)
    took = interleaved(runs, rounds=1 if first["now"].cpu_s > 20 else 3)
    with capsys.disabled():
        for name, spent in first.items():
            print(f"\n5 M rows, {name}: first {spent.cpu_s:.1f} s of processor, {spent.peak_mb:.0f} MB")
        told = ", ".join(f"{n} {m.cpu_s:.2f} s ({m.peak_mb:.0f} MB)" for n, m in took.items())
        print(f"5 M rows, answer shift --from --to, processor: {told}; bar {BAR_S} s, {BAR_MB} MB")
    assert first["now"].peak_mb < BAR_MB
    assert took["now"].peak_mb < BAR_MB
    assert took["now"].cpu_s < BAR_S
