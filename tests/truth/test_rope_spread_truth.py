"""The spread within batches, simulated: coverage over memories and lengths; the figures are printed."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest
from scipy.signal import lfilter

from lineview.rope.batches import within_batch
from tests.truth.stated import Coverage

MEMORIES = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9)
#: Batches and readings in each.
SHAPES = ((60, 30), (120, 30), (40, 60))
SD_MM = 0.03


def batches(count: int, readings: int, phi: float, rng: np.random.Generator, white: float = 0.0) -> pl.DataFrame:
    """Batches with shifts, a taper and readings that remember the one before, so many SD_MM of gauge noise on them."""
    fresh = rng.standard_normal((count, readings))
    fresh[:, 1:] *= np.sqrt(1 - phi**2)
    noise = lfilter([1], [1, -phi], fresh, axis=1).ravel()
    nr = np.repeat(np.arange(count), readings)
    noise = noise + white * rng.laplace(0, np.sqrt(0.5), noise.size)
    value = 14 + SD_MM * noise + rng.normal(0, 0.03, count)[nr]
    value -= 0.05 * np.tile(np.arange(readings) / readings, count)
    first = int(datetime(2026, 6, 8, 4, tzinfo=UTC).timestamp() * 1e6)
    at = pl.Series(first + np.arange(value.size) * 20_000_000).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"at": at, "value": value, "nr": nr})


def coverage(phi: float, shape: tuple[int, int], lines: int, seed: int, white: float = 0.0) -> tuple[Coverage, float]:
    """Lines whose interval holds the truth, and the estimate over the truth on average."""
    rng, truth, count = np.random.default_rng(seed), SD_MM * float(np.hypot(1, white)), Coverage()
    no_taper = pl.DataFrame({"taper_mm": pl.Series([], dtype=pl.Float64)})
    found = [within_batch(batches(*shape, phi, rng, white), no_taper).sd for _ in range(lines)]
    for one in found:
        count.add_interval("spread", one.low, one.high, truth)
    ratio = float(np.mean([one.value for one in found])) / truth
    count.assert_holds(f"{shape[0]} batches of {shape[1]}, memory {phi}, gauge noise {white}")
    print(f"over truth {ratio:.3f}")
    return count, ratio


@pytest.mark.parametrize(("phi", "white"), [(0.0, 0.0), (0.5, 0.0), (0.8, 0.0), (0.9, 0.0), (0.8, 0.3), (0.8, 0.5)])
def test_spread_few(phi, white):
    _, ratio = coverage(phi, (60, 30), 60, 401, white)
    assert 0.95 < ratio < 1.12


@pytest.mark.long
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("phi", MEMORIES)
def test_spread_over_memories(phi, shape):
    _, ratio = coverage(phi, shape, 300, 41)
    assert 0.98 < ratio < 1.13


@pytest.mark.long
@pytest.mark.parametrize("shape", [(60, 20), *SHAPES])
@pytest.mark.parametrize("white", [0.3, 1.0])
@pytest.mark.parametrize("phi", [0.6, 0.8, 0.9])
def test_spread_under_a_gauges_white_noise(phi, white, shape):
    coverage(phi, shape, 300, 42, white)
