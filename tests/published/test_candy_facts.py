"""Mass balance of a batch, constructed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from lineview.measures.counted import Steps

from lineview.columns import BATCHES
from lineview.measures.yields import batch_yield

LB_G = 453.59237


def test_batch_mass_balance_constructed() -> None:
    """50 lb in, 3360 pieces of 6.5738 g and 0.45 kg of scrap: 22.538 kg accounted for, 0.142 kg not."""
    start = datetime(2026, 6, 9, 6, tzinfo=UTC)
    row = ("line1", "B1", "mint", start, start + timedelta(minutes=10), 50 * LB_G / 1000, 1, 2)
    begins, ends = np.array([start.timestamp()]), np.array([start.timestamp() + 600])
    known = np.ones(1, dtype=bool)
    steps = {
        "good pieces": Steps(begins, ends, np.array([3360.0]), known, 1.0),
        "rejects": Steps(begins, ends, np.array([450 / 6.5738]), known, 1.0),
    }
    found = batch_yield(pl.DataFrame([row], schema=BATCHES, orient="row"), steps, {"mint": 6.5738}, 0.0)
    assert found is not None and found.rejects_kg is not None
    assert found.mass_in_kg == pytest.approx(22.68, abs=0.001)
    assert found.good_kg + found.rejects_kg == pytest.approx(22.538, abs=0.001)
    assert found.unexplained_kg == pytest.approx(0.142, abs=0.001)
