"""Simulated weeks of several products with a known truth: limits of the kilograms and money given away.

Constructed: products differ in offset, number of batches, pieces and price; batches in pieces weighed.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from lineview.weight.account import DEVIATION
from lineview.weight.giveaway import off_targets, week_giveaway
from lineview.weight.spread import spread_of


def coverage(weeks: int, seed: int) -> dict[str, float]:
    """Give the share of weeks whose limits hold the true kilograms and money."""
    rng = np.random.default_rng(seed)
    hits = {"kg": 0, "money": 0}
    for _ in range(weeks):
        products = [f"P{i}" for i in range(int(rng.integers(2, 6)))]
        between, within = rng.uniform(0.02, 0.15), rng.uniform(0.1, 0.3)
        off = dict(zip(products, rng.normal(0.05, 0.1, len(products)), strict=True))
        made = {p: float(rng.uniform(20_000, 300_000)) for p in products}
        prices = {p: float(rng.uniform(2, 9)) for p in products}
        rows = []
        for p in products:
            for b in range(int(rng.integers(1 + (p == products[0]), 12))):
                mean = 6.6 + off[p] + rng.normal(0, between)
                rows += [
                    (p, f"{p}{b}", f"{p}{b}", mean + rng.normal(0, within), 6.6, 1)
                    for _ in range(int(rng.integers(2, 9)))
                ]
        names = ["product", "batch", "sample", "net_g", "target_g", "pieces"]
        kept = pl.DataFrame(rows, schema=names, orient="row")
        found = week_giveaway(off_targets(kept, spread_of(kept, DEVIATION, draws=100)), made, 1.0, prices)
        for name, spread, truth in (
            ("kg", found.kg, sum(off[p] * made[p] / 1000 for p in products)),
            ("money", found.money, sum(off[p] * made[p] * prices[p] / 1000 for p in products)),
        ):
            assert spread.low is not None and spread.high is not None
            hits[name] += spread.low <= truth <= spread.high
    shares = {name: hit / weeks for name, hit in hits.items()}
    print(f"\n{weeks} weeks:", ", ".join(f"{n} {100 * s:.1f} %" for n, s in shares.items()))
    return shares


def test_limits_of_giveaway_hold_on_a_few_weeks() -> None:
    """At 95 % fewer than 50 of 60 come once in 1000."""
    assert all(share >= 50 / 60 for share in coverage(60, seed=4).values())


@pytest.mark.long
def test_limits_of_giveaway_cover_93_to_97_percent_of_1500_weeks() -> None:
    assert all(0.93 <= share <= 0.97 for share in coverage(1500, seed=41).values())
