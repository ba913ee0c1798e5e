"""The rope's variance within batches, without the gauge's noise."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from lineview.weight.sources import rope_before, rope_variance


def rope(slow: float, noise: float, fade: float = 0.6, batches: int = 60, n: int = 60) -> pl.DataFrame:
    rng = np.random.default_rng(1)
    start = datetime(2026, 6, 9, 4, tzinfo=UTC)
    rows = []
    for b in range(batches):
        d = np.empty(n)
        d[0] = rng.normal(0, slow)
        for i in range(1, n):
            d[i] = fade * d[i - 1] + rng.normal(0, slow * np.sqrt(1 - fade**2))
        shown = 14 * np.exp(d + rng.normal(0, noise, n))
        rows += [
            (start + timedelta(minutes=12 * b, seconds=10 * i), float(v), b, f"B{b}", "mint")
            for i, v in enumerate(shown)
        ]
    frame = pl.DataFrame(rows, schema=["at", "value", "nr", "batch", "product"], orient="row")
    return frame.cast({"at": pl.Datetime("us", "UTC")})


def test_noise_of_the_gauge_is_taken_off() -> None:
    found = rope_variance(rope(slow=0.006, noise=0.004), {"mint": 14.0})
    assert found.noise**0.5 == pytest.approx(0.004, rel=0.15)
    assert found.within is not None
    assert (found.within + found.of_mean) ** 0.5 == pytest.approx(0.006, rel=0.08)


def test_a_gauge_without_noise_loses_nothing() -> None:
    found = rope_variance(rope(slow=0.006, noise=0.0), {"mint": 14.0})
    assert found.noise**0.5 < 0.0015


def test_mean_of_correlated_readings_keeps_its_share() -> None:
    """60 readings that fade by 0.6: 1 / 60 × (1 + 0.6) / (1 - 0.6), less what the ends take off."""
    found = rope_variance(rope(slow=0.006, noise=0.0), {"mint": 14.0})
    assert found.within is not None
    assert found.of_mean / (found.within + found.of_mean) == pytest.approx(4 / 60, abs=0.02)


def test_too_few_readings_tell_nothing() -> None:
    assert rope_variance(rope(0.006, 0.0, batches=2), {"mint": 14.0}).within is None
    assert rope_variance(rope(0.006, 0.0), {}).within is None
    alone = rope_variance(rope(0.006, 0.0, n=1), {"mint": 14.0}).mean["B7"]
    assert alone == pytest.approx(np.log(rope(0.006, 0.0, n=1)["value"][7] / 14.0))


@pytest.mark.parametrize(("batches", "each"), [(1, 49), (60, 1), (60, 3)])
def test_too_few_readings_a_step_apart_tell_no_noise(batches: int, each: int) -> None:
    """Too few at all; each of another batch; or three of a batch, so that none lie three steps apart."""
    assert rope_variance(rope(0.0, 0.004, batches=batches, n=each), {"mint": 14.0}).noise == 0


def test_rope_before_averages_near_and_knows_its_gaps() -> None:
    at, mm = np.arange(0.0, 300.0, 5.0), np.arange(0.0, 300.0, 5.0) / 100
    found = rope_before(at, mm, np.array([100.0, 100.0, 900.0]), 20.0)
    assert found[:2] == pytest.approx(0.8)
    assert np.isnan(found[2])
    assert np.isnan(rope_before(np.array([]), np.array([]), np.array([1.0]), 0.0)).all()
