"""The spread within batches, simulated: coverage over memories and lengths; the figures are printed."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest
from scipy.signal import lfilter

from lineview.rope.batches import within_batch

MEMORIES = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9)
#: Batches and readings in each.
SHAPES = ((60, 30), (120, 30), (40, 60))
SD_MM = 0.03


def batches(count: int, readings: int, phi: float, rng: np.random.Generator) -> pl.DataFrame:
    """Batches with shifts, a taper and readings that remember the one before."""
    fresh = rng.standard_normal((count, readings))
    fresh[:, 1:] *= np.sqrt(1 - phi**2)
    noise = lfilter([1], [1, -phi], fresh, axis=1).ravel()
    nr = np.repeat(np.arange(count), readings)
    value = 14 + SD_MM * noise + rng.normal(0, 0.03, count)[nr]
    value -= 0.05 * np.tile(np.arange(readings) / readings, count)
    first = int(datetime(2026, 6, 8, 4, tzinfo=UTC).timestamp() * 1e6)
    at = pl.Series(first + np.arange(value.size) * 20_000_000).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"at": at, "value": value, "nr": nr})


def coverage(phi: float, shape: tuple[int, int], lines: int, seed: int) -> tuple[float, float]:
    """Share of lines whose interval holds the truth, and the estimate over the truth on average."""
    rng = np.random.default_rng(seed)
    no_taper = pl.DataFrame({"taper_mm": pl.Series([], dtype=pl.Float64)})
    found = [within_batch(batches(*shape, phi, rng), no_taper).sd for _ in range(lines)]
    held = float(np.mean([one.low < SD_MM < one.high for one in found]))
    ratio = float(np.mean([one.value for one in found])) / SD_MM
    print(f"{shape[0]} batches of {shape[1]}, memory {phi}: covered {held:.3f}, over truth {ratio:.3f}")
    return held, ratio


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.8, 0.9])
def test_spread_few(phi):
    held, ratio = coverage(phi, (60, 30), 60, 401)
    assert held >= 0.86  # 0.95 less three standard errors of 60 lines
    assert 0.95 < ratio < 1.12


@pytest.mark.long
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("phi", MEMORIES)
def test_spread_over_memories(phi, shape):
    held, ratio = coverage(phi, shape, 1000, 41)
    assert 0.93 <= held <= 0.97
    assert 0.98 < ratio < 1.08
