"""Three-way chart: what it calls stable, and what it does not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lineview.weight.capability import ThreeWay, three_way
from lineview.weight.spread import batch_points


def chart(means: np.ndarray, within: np.ndarray | float = 0.25, seed: int = 1) -> ThreeWay:
    rng = np.random.default_rng(seed)
    spread = np.broadcast_to(within, means.shape)
    start = datetime(2026, 6, 9, 4, tzinfo=UTC)
    rows = [
        (start + timedelta(minutes=12 * b), f"B{b}", "mint", 1, float(m + rng.normal(0, s)), 6.6)
        for b, (m, s) in enumerate(zip(means, spread, strict=True))
        for _ in range(10)
    ]
    names = ["at", "batch", "product", "pieces", "net_g", "target_g"]
    frame = pl.DataFrame(rows, schema=names, orient="row").cast({"at": pl.Datetime("us", "UTC")})
    return three_way(batch_points(frame, 0.25, 9 * len(means)), frame)


def test_a_stable_line_whose_batches_differ_is_called_stable() -> None:
    """Limits from the pieces alone would cry at most of these batches."""
    calm = 0
    for seed in range(20):
        found = chart(6.6 + np.random.default_rng(100 + seed).normal(0, 0.3, 40), seed=seed)
        assert [c.chart for c in found.charts] == [
            "batch means", "moving range of batch means", "spread within batches",
        ]  # fmt: skip
        calm += found.stable
    assert calm >= 18


def test_a_drifting_line_is_not() -> None:
    found = chart(6.6 + np.linspace(0, 0.8, 40))
    assert found.drifting and not found.stable


def test_one_batch_far_off_is_named() -> None:
    means = np.random.default_rng(3).normal(6.6, 0.05, 40)
    means[17] += 1.5
    found = chart(means)
    assert [limits.outside for limits in found.charts] == [("B17",), ("B17", "B18"), ()]  # a range ends with its batch


def test_a_batch_with_loose_pieces_shows_in_the_third_chart() -> None:
    within = np.full(40, 0.25)
    within[9] = 1.0
    found = chart(np.full(40, 6.6), within)
    assert found.charts[2].outside == ("B9",)


def test_few_batches_give_no_limits() -> None:
    assert chart(np.full(7, 6.6)).charts == ()
