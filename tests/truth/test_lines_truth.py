"""Simulated works of several lines with a known truth: limits of the spread between them, and of differences.

Constructed: lines differ, batches on a line differ, pieces in a batch differ; unbalanced.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from lineview.weight.lines import compare_lines


def coverage(works: int, seed: int) -> dict[str, float]:
    """Give the share of works whose limits hold the true spread between lines, and differences."""
    rng = np.random.default_rng(seed)
    hits = {"spread between lines": 0, "difference from the line asked": 0}
    for _ in range(works):
        lines = int(rng.integers(2, 6))
        between, batch, piece = rng.uniform(0.03, 0.2), rng.uniform(0.02, 0.12), rng.uniform(0.1, 0.3)
        off = rng.normal(0, between, lines)
        rows = [
            (f"L{i}", "mint", f"L{i}B{b}", f"L{i}B{b}", 6.6 + mean + rng.normal(0, piece), 6.6, 1)
            for i in range(lines)
            for b in range(int(rng.integers(4, 16)))
            for mean in [off[i] + rng.normal(0, batch)]
            for _ in range(int(rng.integers(2, 8)))
        ]
        names = ["line", "product", "batch", "sample", "net_g", "target_g", "pieces"]
        found = compare_lines(pl.DataFrame(rows, schema=names, orient="row"), "L0")
        spread, apart = found.between, found.lines[1].apart
        assert spread.low is not None and spread.high is not None and apart is not None
        assert apart.low is not None and apart.high is not None
        hits["spread between lines"] += spread.low <= between <= spread.high
        hits["difference from the line asked"] += apart.low <= off[1] - off[0] <= apart.high
    shares = {name: hit / works for name, hit in hits.items()}
    print(f"\n{works} works:", ", ".join(f"{n} {100 * s:.1f} %" for n, s in shares.items()))
    return shares


def test_limits_between_lines_hold_in_a_few_works() -> None:
    """At 95 % fewer than 33 of 40 come once in 1000."""
    assert all(share >= 33 / 40 for share in coverage(40, seed=6).values())


@pytest.mark.long
def test_limits_between_lines_cover_93_to_97_percent_of_500_works() -> None:
    assert all(0.93 <= share <= 0.97 for share in coverage(500, seed=61).values())
