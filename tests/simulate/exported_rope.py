"""A sizer's gauges, its adjustments and the line's piece counter as exports hold them, and what is true of the rope.

Written apart from the estimators: offsets of batches are sums of two uniforms with a memory, readings within a batch
remember Laplace shocks and carry the gauge's own uniform noise. Constructed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import norm

from lineview.core.figure import Period
from lineview.core.frames import ADJUSTMENTS, BATCHES
from lineview.plant import Counter, Gauge, Line, Machine, Plant
from lineview.report.answer import Answer, Scope
from tests import factories
from tests.from_frames import Frames, answered

Floats = NDArray[np.float64]

START = datetime(2026, 6, 8, 4, tzinfo=UTC)
BATCHES_READ, READINGS, EVERY_S = 90, 30, 20.0
BATCH_S = READINGS * EVERY_S
AHEAD = 1200
TARGET_MM, TOLERANCE_MM, MASS_G, PRICE, RATE_PER_MIN = 14.0, 0.3, 6.8, 5.0, 330.0
TAPER_MM, PER_C, SHOCK_MM, GAUGE_MM, FADE = -0.05, -0.004, 0.02, 0.01, 0.6


@dataclass(frozen=True)
class ExportedRope:
    """Frames of one rope; truths of figures stated at 95 % and at 90 %, and when its mean leaves tolerance."""

    frames: Frames
    at_95: dict[str, float]
    at_90: dict[str, float]
    leaves_at: datetime | None

    def answer(self) -> Answer:
        """What the rope's page says of it."""
        end = START + timedelta(seconds=BATCHES_READ * BATCH_S)
        return answered("rope", works(), Scope("1", "sizer1", Period(START, end), end), self.frames)


def works() -> Plant:
    """One sizer with a gauge of diameter and one of temperature, one machine that counts pieces; no shifts."""
    gauges = (
        Gauge(id="dia", measures="rope diameter", unit="mm"),
        Gauge(id="warm", measures="rope temperature", unit="°C"),
    )
    pieces = Counter(id="pieces", counts="pieces", modulus=100_000_000, fastest_per_min=450)
    mint = factories.product(
        mass_g=MASS_G, diameter_mm=TARGET_MM, diameter_tolerance_mm=TOLERANCE_MM, price_per_kg=PRICE
    )
    return Plant(
        shop="Invented Sweets",
        lines=(Line(id="1"),),
        machines=(
            Machine(id="sizer1", kind="sizer", line="1", gauges=gauges),
            Machine(id="wrap1", kind="cut-and-wrap machine", line="1", counters=(pieces,)),
        ),
        products=(mint,),
    )


def _offsets(rng: np.random.Generator, n: int, memory: float) -> Floats:
    fresh = (rng.uniform(-1, 1, n + 50) + rng.uniform(-1, 1, n + 50)) * np.sqrt(1.5 * (1 - memory**2))
    out, last = np.empty(n + 50), 0.0
    for i in range(n + 50):
        last = memory * last + fresh[i]
        out[i] = last
    return out[50:]


def _within(rng: np.random.Generator) -> Floats:
    """Readings about each batch's level: remembered shocks, the gauge's noise, and the batch's taper."""
    shocks = SHOCK_MM * np.sqrt(1 - FADE**2) * rng.laplace(0, np.sqrt(0.5), (BATCHES_READ, READINGS + 20))
    off = np.zeros_like(shocks)
    for j in range(1, off.shape[1]):
        off[:, j] = FADE * off[:, j - 1] + shocks[:, j]
    own = GAUGE_MM * np.sqrt(3) * rng.uniform(-1, 1, (BATCHES_READ, READINGS))
    return off[:, 20:] + own + TAPER_MM * ((np.arange(READINGS) + 0.5) / READINGS - 0.5)


def exported_rope(seed: int) -> ExportedRope:
    """Draw one rope: wear either way, one recorded adjustment, a temperature that moves the diameter."""
    rng = np.random.default_rng([seed, 2718])
    n, i = BATCHES_READ, np.arange(BATCHES_READ + AHEAD)
    hours = (i + 0.5) * BATCH_S / 3600
    wear = float(rng.choice([-1, 1]) * rng.uniform(0.006, 0.02))
    between, memory = float(rng.uniform(0.015, 0.03)), float(rng.uniform(0, 0.5))
    step, place = float(rng.choice([-1, 1]) * rng.uniform(0.06, 0.15)), int(rng.integers(30, 60))
    mean = rng.uniform(-0.05, 0.05) + wear * (hours - hours[n - 1]) - step * (i < place)
    batch = mean + between * _offsets(rng, n + AHEAD, memory)
    warm = 35 + np.cumsum(rng.uniform(-0.6, 0.6, n))
    seen = batch[:n] + PER_C * (warm - warm.mean())
    value = TARGET_MM + seen[:, None] + _within(rng)
    return ExportedRope(
        _frames(value.ravel(), warm, place),
        *_truth(wear, float(mean[n - 1]), float(mean[:n].mean()), between, step),
        *_leaving(mean, batch, wear, between),
    )


def _frames(value: Floats, warm: Floats, place: int) -> Frames:
    at = factories.moments(START.timestamp() + EVERY_S * np.arange(value.size))
    count = np.floor(RATE_PER_MIN / 60 * EVERY_S * np.arange(value.size))
    gauges = [
        factories.readings("sizer1", "dia", at, value),
        factories.readings("sizer1", "warm", at, np.repeat(warm, READINGS)),
    ]
    starts = [START + timedelta(seconds=BATCH_S * b) for b in range(BATCHES_READ)]
    sheet = [{"batch": f"B{b}", "start": moment} for b, moment in enumerate(starts)]
    done = {"machine": "sizer1", "at": starts[place], "what": "pair 3 adjusted"}
    return Frames(
        {"sizer1": pl.concat(gauges), "wrap1": factories.readings("wrap1", "pieces", at, count)},
        batches=factories.rows(BATCHES, sheet, line="1", product="mint"),
        adjustments=factories.rows(ADJUSTMENTS, [done], note=""),
    )


def _grams(off_mm: float) -> float:
    return MASS_G * ((TARGET_MM + off_mm) ** 2 - TARGET_MM**2) / TARGET_MM**2


def _truth(wear: float, now: float, average: float, between: float, step: float) -> tuple[dict[str, float]]:
    a_week = RATE_PER_MIN * 60 * 24 * 7 / 1000
    return (
        {
            "drift_mm_per_h": wear, "level_mm": TARGET_MM + now, "deviation_mm": now,
            "weight_effect_g_per_piece": _grams(now), "weight_effect_kg_per_week": _grams(now) * a_week,
            "weight_effect_money_per_week": _grams(now) * a_week * PRICE,
            "average_effect_kg_per_week": _grams(average) * a_week,
            "average_effect_money_per_week": _grams(average) * a_week * PRICE,
            "adjustment_1_mm": step, "temperature_mm_per_c": PER_C, "batch_to_batch_sd_mm": between,
            "within_batch_sd_mm": float(np.hypot(SHOCK_MM, GAUGE_MM)), "taper_mm": TAPER_MM,
        },
    )  # fmt: skip


def _leaving(mean: Floats, batch: Floats, wear: float, between: float) -> tuple[dict[str, float], datetime | None]:
    """Running hours from the last batch read until its mean, a batch, and a share of pieces are out."""
    now = float(mean[BATCHES_READ - 1])
    hours = float(np.copysign(TOLERANCE_MM, wear) - now) / wear
    out = np.flatnonzero(np.abs(batch[BATCHES_READ:]) > TOLERANCE_MM)
    first = (out[0] + 1) * BATCH_S / 3600
    spread = float(np.sqrt(between**2 + SHOCK_MM**2 + GAUGE_MM**2))
    edge = brentq(lambda d: norm.cdf((-TOLERANCE_MM - d) / spread) + norm.sf((TOLERANCE_MM - d) / spread) - 0.05, 0, 1)
    share = float(np.copysign(edge, wear) - now) / wear
    last = START + timedelta(seconds=(BATCHES_READ - 0.5) * BATCH_S)
    moment = last + timedelta(hours=hours)
    return {"hours_to_tolerance": hours, "hours_to_first_out": first, "hours_to_share_out": share}, moment
