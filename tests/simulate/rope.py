"""A sizer's gauge over ten-minute batches, and the rope's answer asked of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.figure import Period
from lineview.core.frames import ADJUSTMENTS, BATCHES
from lineview.plant import Gauge, Line, Machine, Plant
from lineview.report.answer import Answer, Scope
from tests import factories
from tests.from_frames import Frames, answered
from tests.simulate.rope_batches import ar1

START = datetime(2026, 6, 8, 4, tzinfo=UTC)
GAUGE = Gauge(id="dia", measures="rope diameter", unit="mm")


def works(*, diameter: float = 14.0, tolerance: float = 0.3, gauges: tuple[Gauge, ...] = (GAUGE,)) -> Plant:
    sizer = Machine(id="sizer2", name="sizer 2", kind="sizer", line="1", gauges=gauges)
    mint = factories.product(diameter_mm=diameter, diameter_tolerance_mm=tolerance)
    return Plant(shop="Invented", lines=(Line(id="1"),), machines=(sizer,), products=(mint,))


def readings(times: list[datetime], values: np.ndarray, channel: str = "dia") -> pl.DataFrame:
    return factories.readings("sizer2", channel, times, values)


def sheet(n: int, minutes: float) -> pl.DataFrame:
    starts = [START + timedelta(minutes=minutes * i) for i in range(n)]
    batches = [{"batch": f"B{i + 1}", "start": at} for i, at in enumerate(starts)]
    return factories.rows(BATCHES, batches, line="1", product="mint")


def rope(
    n: int = 120, *, wear: float = 0.0, step: tuple[int, float] = (0, 0.0), level: float = 0.05, seed: int = 1
) -> pl.DataFrame:
    """Ten-minute batches of thirty readings: wear, one step, batch shifts, taper, noise with memory."""
    rng = np.random.default_rng(seed)
    i = np.arange(n * 30)
    value = 14 + level + wear * i / 180 + step[1] * (i // 30 >= step[0]) - 0.05 * (i % 30 / 30 - 0.5)
    value = value + np.repeat(rng.normal(0, 0.03, n), 30) + 0.03 * ar1(n * 30, 0.7, rng)
    return factories.readings("sizer2", "dia", factories.moments(START.timestamp() + 20.0 * i), value)


def ask(
    frame: pl.DataFrame, batches: pl.DataFrame | None = None, done: pl.DataFrame | None = None,
    plant: Plant | None = None,
) -> Answer:  # fmt: skip
    end = frame["at"].max() + timedelta(seconds=1)
    known = {"batches": batches, "adjustments": done}
    frames = Frames({"sizer2": frame}, **{k: v for k, v in known.items() if v is not None})
    return answered("rope", plant or works(), Scope("1", "sizer2", Period(START, end), end), frames)


def adjusted(minutes: float) -> pl.DataFrame:
    done = {"machine": "sizer2", "at": START + timedelta(minutes=minutes), "what": "pair 3 adjusted"}
    return factories.rows(ADJUSTMENTS, [done], note="")
