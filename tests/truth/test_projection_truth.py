"""The projection of a shift's pieces against simulated lines: how often its 90 % interval holds the truth."""

from datetime import timedelta

import polars as pl
import pytest

from lineview.core.frames import BATCHES, STOP_LOG, empty
from lineview.machine.calendar import calendar
from lineview.machine.timeline import timeline_of
from lineview.shift.projection import project, run_stop_cycles
from tests.one_count import count_machine
from tests.simulate.wrapper import EARLY, START, machine, readings, simulate


def coverage(seeds: range) -> float:
    held = told = 0
    for seed in seeds:
        run = simulate(seed, mean_run_min=9.0)
        frame = readings(run, 10, seed=seed)
        cal = calendar([EARLY], "UTC", START, START + timedelta(hours=8))
        tape = timeline_of(
            count_machine(machine(), frame, gap_s=120), empty(BATCHES), empty(STOP_LOG), cal, short_stop_min=5
        )
        for hours in (4, 6):
            now = START + timedelta(hours=hours)
            before = tape.filter(pl.col("end") <= now)
            after = tape.filter((pl.col("start") >= before["end"].max()) & (pl.col("state") != "break"))
            left = float((after["end"] - after["start"]).dt.total_microseconds().sum()) / 6e7
            rest = project(run_stop_cycles(before), left)
            if rest is None:
                continue
            told += 1
            held += rest.low <= float(after["pieces"].sum()) <= rest.high
    print(f"90 % projection held the truth in {held} of {told} cases ({held / told:.1%})")
    return held / told


def test_projection_holds_about_as_often_as_it_says() -> None:
    assert 0.8 <= coverage(range(24)) <= 0.98


@pytest.mark.long
def test_projection_at_full_count() -> None:
    assert 0.87 <= coverage(range(1000, 1400)) <= 0.94
