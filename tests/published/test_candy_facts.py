"""Mass balance of a batch, constructed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from lineview.core.frames import BATCHES, READINGS
from lineview.plant import Counter, Machine
from lineview.weight.giveaway import batch_yield
from tests.one_count import count_machine

LB_G = 453.59237


def test_batch_mass_balance_constructed() -> None:
    """50 lb in, 3360 pieces of 6.5738 g and 0.45 kg of scrap: 22.538 kg accounted for, 0.142 kg not."""
    start = datetime(2026, 6, 9, 6, tzinfo=UTC)
    row = ("line1", "B1", "mint", start, start + timedelta(minutes=10), 50 * LB_G / 1000, 1, 2)
    count_of = {"good pieces": 3360.0, "rejects": 450 / 6.5738}
    counters = tuple(Counter(id=name, counts=name, fastest_per_min=450) for name in count_of)
    machine = Machine(id="wrap1", kind="cut-and-wrap machine", line="line1", counters=counters)
    readings = [
        ("wrap1", name, start + timedelta(minutes=minute), share * count, None, "good", 1, minute)
        for name, count in count_of.items()
        for minute, share in ((0, 0.0), (10, 1.0))
    ]
    counts = count_machine(machine, pl.DataFrame(readings, schema=READINGS, orient="row"), gap_s=600)
    balance = batch_yield(pl.DataFrame([row], schema=BATCHES, orient="row"), counts, {"mint": 6.5738}, 0.0)
    assert balance is not None and balance.rejects_kg is not None
    assert balance.mass_in_kg == pytest.approx(22.68, abs=0.001)
    assert balance.good_kg + balance.rejects_kg == pytest.approx(22.538, abs=0.001)
    assert balance.unexplained_kg == pytest.approx(0.142, abs=0.001)
