"""A year of ten-second readings summed up by shift, machine by machine and month by month."""

import resource
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lineview.core.estimate import Estimate
from lineview.core.frames import BATCHES, READINGS, STOP_LOG, empty
from lineview.machine.calendar import calendar, shift_windows
from lineview.machine.timeline import timeline_of
from lineview.plant import Break, Counter, Machine, Shift
from lineview.shift.account import accounts, add_up
from tests.one_count import count_machine

EVERY_DAY = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SHIFTS = (
    Shift(id="early", start="06:00", end="14:00", days=EVERY_DAY, breaks=(Break(start="09:00", end="09:25"),)),
    Shift(id="late", start="14:00", end="22:00", days=EVERY_DAY),
    Shift(id="night", start="22:00", end="06:00", days=EVERY_DAY),
)
MONTHS = [datetime(2026, m, 1, tzinfo=UTC) for m in range(1, 13)] + [datetime(2027, 1, 1, tzinfo=UTC)]
WRAPPER = Machine(
    id="w",
    kind="cut-and-wrap machine",
    line="1",
    counters=(Counter(id="p", counts="pieces", modulus=65536, fastest_per_min=450),),
)


def write_year(folder: Path, seed: int) -> int:
    """Write a year of readings, a file a month; give the pieces made between the first and last reading."""
    rng = np.random.default_rng(seed)
    n = 365 * 8640 + 1
    steps = rng.integers(55, 62, n)
    for at, length in zip(rng.integers(0, n, 26_000), rng.lognormal(2, 1, 26_000).astype(int), strict=True):
        steps[at : at + length] = 0
    value = np.cumsum(steps) % 65536
    stamp = np.datetime64("2026-01-01", "us") + np.arange(n) * np.timedelta64(10_000_000, "us")
    frame = pl.DataFrame({"at": pl.Series(stamp).dt.replace_time_zone("UTC"), "value": value.astype(float)})
    for k in range(12):
        inside = pl.col("at").is_between(MONTHS[k], MONTHS[k + 1])  # with the reading on the edge
        frame.filter(inside).write_parquet(folder / f"{seed}-{k:02}.parquet")
    return int(steps[1:].sum())


def calendars() -> list[pl.DataFrame]:
    """Give the works' calendar of each month; it is the same for every machine."""
    return [calendar(SHIFTS, "UTC", MONTHS[k], MONTHS[k + 1]) for k in range(12)]


def sum_year(folder: Path, seed: int, months: list[pl.DataFrame]) -> tuple[Estimate, int, float]:
    """Give pieces, shifts and running minutes of a machine's year."""
    made, shifts, run_min = Estimate(0.0, 0.0, 0.0, 0), 0, 0.0
    for k, cal in enumerate(months):
        readings = pl.read_parquet(folder / f"{seed}-{k:02}.parquet").with_columns(
            machine=pl.lit("w"),
            channel=pl.lit("p"),
            text=pl.lit(None, pl.String),
            quality=pl.lit("good"),
            intake=pl.lit(1, pl.Int64),
            row=pl.lit(1, pl.Int64),
        ).select(list(READINGS))  # fmt: skip
        counts = count_machine(WRAPPER, readings, gap_s=120)
        timeline = timeline_of(counts, empty(BATCHES), empty(STOP_LOG), cal, short_stop_min=5)
        windows = shift_windows(cal).select("start", "end")
        begins, ends = (windows[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
        pieces = counts.pieces(begins, ends)
        by_shift = [pieces.at(k) for k in range(windows.height)]
        month = add_up(accounts(timeline, windows, by_shift, nominal_per_min=350), 350)
        assert month.pieces.total is not None
        made += month.pieces.total
        run_min += month.run_min
        shifts += windows.height
    return made, shifts, run_min


def measure(folder: Path, machines: int, threads: int = 1) -> float:
    truth = [write_year(folder, seed) for seed in range(machines)]
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    wall, cpu = time.perf_counter(), time.process_time()
    months = calendars()
    with ThreadPoolExecutor(threads) as pool:
        found = list(pool.map(lambda seed: sum_year(folder, seed, months), range(machines)))
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    scan = time.process_time()
    for seed in range(machines):
        pl.scan_parquet(folder / f"{seed}-*.parquet").select(pl.col("value").diff().sum()).collect()
    scan = time.process_time() - scan
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{machines} machine-years by shift, {threads} at a time: {wall:.1f} s, {cpu:.1f} s of processor, "
        f"{cpu / max(scan, 1e-9):.0f} times a bare scan; peak {peak:.0f} MB ({before / 1024:.0f} before)"
    )
    for (made, _, _), true in zip(found, truth, strict=True):
        # of some 2,500 turns one or two end at 0 between two stops, where a reset is as likely: these are left open
        low, high = made.ends
        print(f"{made.number:.0f} pieces ({low:.0f} to {high:.0f}), truly {true}")
        assert low <= true <= high <= low + 4 * 450 / 6
        assert made.number == pytest.approx(true, abs=61)
    return cpu / machines


@pytest.mark.bench
def test_one_machine_year(tmp_path: Path) -> None:
    assert measure(tmp_path, 1) < 4.0  # seconds of processor, on a busy machine too; ten take 8 s on a free one


@pytest.mark.bench
@pytest.mark.long
@pytest.mark.parametrize("threads", [1, 2])
def test_ten_machine_years(tmp_path: Path, threads: int) -> None:
    assert measure(tmp_path, 10, threads) < 2.0
