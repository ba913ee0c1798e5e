"""Ten thousand batches answered in a second, once the libraries are loaded.

Processor seconds of all threads are counted, so that other work on the machine does not decide.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from time import perf_counter, process_time

import numpy as np
import polars as pl
import pytest

from lineview.core.figure import Period
from lineview.core.frames import BATCHES
from lineview.plant import Gauge, Line, Machine, Plant
from lineview.report.answer import Scope
from lineview.rope.answer import RopeInputs as Inputs
from lineview.rope.answer import answer_rope
from tests import factories
from tests.from_frames import Frames, inputs

START = datetime(2026, 1, 5, 5, tzinfo=UTC)


def rope_of(batches: int, readings_a_batch: int) -> tuple[Plant, Scope, Inputs]:
    rng = np.random.default_rng(9)
    n = batches * readings_a_batch
    every = 600 / readings_a_batch
    hours = np.arange(n) * every / 3600
    value = 14 + 1e-4 * hours + np.repeat(rng.normal(0, 0.035, batches), readings_a_batch) + rng.normal(0, 0.03, n)
    at = pl.Series([START]).cast(pl.Datetime("us", "UTC"))[0]
    times = pl.datetime_range(at, at + timedelta(seconds=every * (n - 1)), timedelta(seconds=every), eager=True)
    readings = factories.readings("sizer1", "gauge", times, value)
    starts = pl.datetime_range(at, at + timedelta(minutes=10 * (batches - 1)), timedelta(minutes=10), eager=True)
    sheet = pl.DataFrame({"start": starts}).select(
        line=pl.lit("1"), batch=pl.int_range(pl.len()).cast(pl.String), product=pl.lit("mint"), start="start",
        end=pl.lit(None), mass_in_kg=pl.lit(None), intake=pl.lit(1), row=pl.int_range(pl.len()),
    ).cast(BATCHES)  # fmt: skip
    gauge = Gauge(id="gauge", measures="rope diameter", unit="mm")
    sizer = Machine(id="sizer1", kind="sizer", line="1", gauges=(gauge,))
    plant = Plant(shop="Invented", lines=(Line(id="1"),), machines=(sizer,), products=(factories.product(),))
    end = START + timedelta(minutes=10 * batches)
    scope = Scope("1", "sizer1", Period(START, end), end)
    return plant, scope, inputs("rope", plant, scope, Frames({"sizer1": readings}, batches=sheet))


@pytest.mark.bench
def test_ten_thousand_batches_in_a_second():
    answer_rope(*rope_of(60, 8))  # loads the libraries
    asked = rope_of(10_000, 8)
    spent = [_seconds(asked) for _ in range(4)]
    wall, processor = min(w for w, _ in spent), min(p for _, p in spent)
    print(f"10 000 batches of 8 readings: {processor:.2f} processor seconds, {wall:.2f} s by the clock")
    assert processor < 1.0


def _seconds(asked: tuple[Plant, Scope, Inputs]) -> tuple[float, float]:
    wall, processor = perf_counter(), process_time()
    answer = answer_rope(*asked)
    spent = perf_counter() - wall, process_time() - processor
    assert answer.figure("drift_mm_per_h").n == 10_000
    return spent
