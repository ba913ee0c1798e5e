"""Products drawn to other diameters, each off its target by its own: neither drift nor spread; printed."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from lineview.plant import Plant
from lineview.rope.drift_model import fit_rope
from lineview.rope.products import group_products, identifiable, kinds_by_name
from tests.factories import product
from tests.simulate.rope_batches import line

KINDS = {"mint": "14 mm", "pear": "15 mm"}
OFFSET_MM = 0.1


def changing(lines: int, seed: int, wear: float | None) -> dict[str, float]:
    """Lines whose mix goes over from one product to the other: what would pass for drift."""
    rng = np.random.default_rng(seed)
    wears = offsets = drifting = 0
    spread = []
    for _ in range(lines):
        points, truth = line(rng, wear=wear, batches=200)
        pear = rng.uniform(size=200) < np.linspace(0.1, 0.9, 200)
        points = points.with_columns(
            product=pl.Series(np.where(pear, "pear", "mint")),
            deviation_mm=pl.col("deviation_mm") + OFFSET_MM * pl.Series(pear),
        )
        model = fit_rope(points, truth.recorded, KINDS)
        low, high = model.fit.interval(model.contrast(wear=1.0))
        wears += low < truth.wear < high
        drifting += not low <= 0 <= high
        low, high = model.fit.interval(model.contrast(product0=1.0))
        offsets += low < (OFFSET_MM if model.kinds.reference == "14 mm" else -OFFSET_MM) < high
        spread.append(model.fit.sd() / truth.sd)
    found = {"wear covered": wears, "offset covered": offsets, "called drifting": drifting}
    return {k: v / lines for k, v in found.items()} | {"spread over truth": float(np.mean(spread))}


def test_a_changing_mix_of_products_is_neither_drift_nor_spread():
    found = changing(40, 301, wear=0.0)
    print(found)
    assert found["called drifting"] <= 0.15
    assert found["offset covered"] >= 0.85
    assert found["spread over truth"] == pytest.approx(1, abs=0.06)


@pytest.mark.long
def test_a_changing_mix_500_lines():
    found = changing(500, 31, wear=None)
    print(found)
    assert 0.93 <= found["wear covered"] <= 0.975
    assert 0.93 <= found["offset covered"] <= 0.975


def test_a_rare_kind_is_set_aside_and_said():
    names = pl.Series(["mint"] * 30 + ["pear"] * 3 + ["mint"] * 30)
    found = group_products(names, KINDS)
    assert found.aside == ("15 mm",)
    assert found.usable.sum() == 60
    assert found.names == ()


def test_an_offset_that_coincides_with_an_adjustment_is_not_told():
    names = pl.Series(["mint"] * 30 + ["pear"] * 30)
    after = (np.arange(60) >= 30).astype(float)
    base = np.column_stack([np.ones(60), np.arange(60.0)])
    assert group_products(names, KINDS).in_one_stretch == ("14 mm",)
    assert identifiable(group_products(names, KINDS), base).names == ("14 mm",)
    lost = identifiable(group_products(names, KINDS), np.column_stack([base, after]))
    assert lost.names == ()
    assert lost.mixed == ("14 mm",)


def test_kinds_are_named_by_base_or_else_by_flavours():
    kinds = (("mint", "", 14), ("pear", "fruit", 15), ("plum", "fruit", 15))
    products = tuple(product(n, flavour=n.title(), base=base, diameter_mm=mm) for n, base, mm in kinds)
    plant = Plant(shop="Invented", products=products)
    found = kinds_by_name(plant, pl.Series(["mint", "plum", "pear", "?"]))
    assert found == {"mint": "Mint", "pear": "fruit", "plum": "fruit"}
