"""Simulated lines for the rope's truth tests: batch points with all that moves them, and the truth beside."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from scipy.signal import lfilter

from lineview.core.frames import ROPE_BATCHES

START = datetime(2026, 6, 8, 4, tzinfo=UTC)


@dataclass(frozen=True)
class Truth:
    wear: float
    level_now: float
    phi: float
    sd: float
    steps: tuple[tuple[int, float], ...]
    recorded: tuple[tuple[datetime, float, str], ...]


def ar1(n: int, phi: float, rng: np.random.Generator) -> np.ndarray:
    e = rng.standard_normal(n) * np.sqrt(1 - phi**2)
    e[0] = rng.standard_normal()
    return lfilter([1], [1, -phi], e)


def line(
    rng: np.random.Generator,
    *,
    wear: float | None = None,
    phi: float | None = None,
    unrecorded: int = 0,
    recorded: int | None = None,
    batches: int | None = None,
) -> tuple[pl.DataFrame, Truth]:
    """One line: φ 0 to 0.9 from batch to batch, part of the spread without memory, gaps, adjustments."""
    n = int(rng.integers(60, 300)) if batches is None else batches
    phi = float(rng.uniform(0, 0.9)) if phi is None else phi
    sd = float(rng.uniform(0.015, 0.06))
    white = float(rng.choice([0.0, 0.0, 0.3]))  # what the readings within a batch leave on its mean
    gone = float(rng.uniform(0, 0.15))
    wear = float(rng.choice([-1, 1]) * rng.uniform(0.002, 0.012)) if wear is None else wear
    whole = int(n / (1 - gone)) + 1
    noise = np.sqrt(1 - white) * ar1(whole, phi, rng) + np.sqrt(white) * rng.standard_normal(whole)
    kept = np.sort(rng.choice(whole, n, replace=False))
    hours = (kept + 0.5) / 6
    temperature = rng.normal(35, 1, n)
    level = float(rng.uniform(-0.05, 0.05))
    y = level + wear * hours + sd * noise[kept] - 0.004 * (temperature - 35)
    at = [START + timedelta(hours=float(h) * 1.3) for h in hours]
    done, steps = [], []
    places = rng.permutation(np.arange(12, n - 12, 12))
    many = int(rng.integers(0, 3)) if recorded is None else recorded
    for k in places[:many]:
        size = float(rng.choice([-1, 1]) * rng.uniform(1, 5) * sd)
        y[k:] += size
        level += size
        moment = at[k - 1] + (at[k] - at[k - 1]) / 2
        done.append((moment, float(hours[k - 1] + hours[k]) / 2, "pair 3 adjusted"))
    for k in places[many : many + unrecorded]:
        size = float(rng.choice([-1, 1])) * 3 * sd
        y[k:] += size
        level += size
        steps.append((int(k), size))
    points = pl.DataFrame(
        {
            "batch": [f"B{i}" for i in range(n)], "product": ["mint"] * n, "at": at, "running_h": hours,
            "diameter_mm": 14 + y, "deviation_mm": y, "sd_mm": np.full(n, 0.03), "temperature_c": temperature,
            "n": np.full(n, 60),
        },
        schema=ROPE_BATCHES,
    )  # fmt: skip
    return points, Truth(wear, level + wear * float(hours[-1]), phi, sd, tuple(steps), tuple(done))
