"""Candy used and not sold of eight batches of two products: rope, mass, rejects and the rest, worked out here."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import t

from lineview.core.frames import BATCHES, WEIGHTS
from lineview.plant import Counter, Line, Machine, Plant
from lineview.week.material import HEAVY, MISSING, OFF_TARGET, REJECTED, CandyLosses, candy_losses
from tests import factories
from tests.from_frames import counted

START = datetime(2026, 6, 8, 6, tzinfo=UTC)
#: Pieces and rejects a minute; batches of ten minutes, of mint and of nut in turn.
PER_MIN, REJECTS, BATCH_MIN, BATCH_KG, SCALE_KG = 330, 6, 10, 23.0, 0.1
MASS_G, DIAMETER_MM, PRICE = {"mint": 6.8, "nut": 7.4}, {"mint": 14.0, "nut": 20.0}, {"mint": 3.0, "nut": 4.0}
#: Of each batch of a product: how far its pieces are off the target mass [g], and its rope off the diameter [mm].
OFF_G = {"mint": np.array([0.10, 0.20, 0.05, 0.15]), "nut": np.array([0.0, 0.1, -0.05, 0.15])}
OFF_MM = {"mint": np.array([0.05, 0.15, 0.10, 0.02]), "nut": np.array([-0.1, 0.0, 0.05, -0.03])}
GOOD = 4 * BATCH_MIN * (PER_MIN - REJECTS)  # of each product
#: Pooled variance of batch means about their product's, and its degrees of freedom; Student's factor.
DF = 8 - 2
FACTOR = t.ppf(0.975, DF)
SD_G, SD_MM = (math.sqrt(sum(((off - off.mean()) ** 2).sum() for off in of.values()) / DF) for of in (OFF_G, OFF_MM))
PIECE_G = {name: MASS_G[name] + OFF_G[name].mean() for name in MASS_G}


def at(minute: float) -> datetime:
    return START + timedelta(minutes=minute)


@pytest.fixture(scope="module")
def found() -> CandyLosses:
    counters = tuple(Counter(id=name, counts=name, fastest_per_min=450) for name in ("pieces", "rejects"))
    machine = Machine(id="w", kind="cut-and-wrap machine", line="1", counters=counters)
    products = tuple(
        factories.product(name, mass_g=MASS_G[name], diameter_mm=DIAMETER_MM[name], price_per_kg=PRICE[name])
        for name in MASS_G
    )
    plant = Plant(
        shop="Invented", lines=(Line(id="1"),), machines=(machine,), products=products, batch_scale_error_kg=SCALE_KG
    )
    batches = [(k, ("mint", "nut")[k % 2], k // 2) for k in range(8)]
    sheet = [
        {"batch": f"b{k}", "product": name, "start": at(BATCH_MIN * k), "end": at(BATCH_MIN * (k + 1))}
        for k, name, _ in batches
    ]
    weighed = [
        {"at": at(BATCH_MIN * k + minute), "mass_g": round(MASS_G[name] + OFF_G[name][nth] + sign * 0.02, 2)}
        for k, name, nth in batches
        for minute, sign in ((3, 1), (6, -1))
    ]
    rope = [
        (at(BATCH_MIN * k + minute), DIAMETER_MM[name] + OFF_MM[name][nth] + (0.3 if minute == 9 else 0.0))
        for k, name, nth in batches
        for minute in range(1, 10)  # the last reading of each is a wild one: the median leaves it aside
    ]
    tens = np.arange(8 * BATCH_MIN * 6 + 1)
    moments = factories.moments(START.timestamp() + 10.0 * tens)
    read = [
        factories.readings("w", name, moments, tens * each / 6)
        for name, each in (("pieces", PER_MIN), ("rejects", REJECTS))
    ]
    losses = candy_losses(
        plant,
        [counted(plant, machine, pl.concat(read))],
        factories.rows(BATCHES, sheet, line="1", mass_in_kg=BATCH_KG),
        factories.rows(WEIGHTS, weighed, machine="w", pieces=1, gross=False, batch="", sample=""),
        pl.DataFrame(rope, schema={"at": pl.Datetime("us", "UTC"), "value": pl.Float64}, orient="row"),
        (START, at(8 * BATCH_MIN)),
    )
    assert losses is not None
    return losses


def ends(value: float, half: float) -> tuple[float, float, float]:
    return value, value - half, value + half


OVER = ends(
    sum(GOOD * OFF_G[name].mean() for name in MASS_G) / 1000,
    FACTOR * math.sqrt(sum((GOOD * SD_G / 1000) ** 2 / 4 for _ in MASS_G)),
)
ROPE = ends(
    sum(GOOD * MASS_G[p] * ((1 + OFF_MM[p].mean() / DIAMETER_MM[p]) ** 2 - 1) for p in MASS_G) / 1000,
    FACTOR * math.sqrt(sum((GOOD * 2 * MASS_G[p] / DIAMETER_MM[p] / 1000) ** 2 * SD_MM**2 / 4 for p in MASS_G)),
)
REJECTS_KG = 8 * BATCH_MIN * REJECTS * sum(PIECE_G.values()) / 2 / 1000
MADE_KG = 4 * BATCH_MIN * PER_MIN * sum(PIECE_G.values()) / 1000
#: GUM: the mean mass is common to all pieces, the scale's error to all batches.
MISSING_KG = ends(
    8 * BATCH_KG - MADE_KG, 2 * math.hypot(8 * BATCH_MIN * PER_MIN * SD_G / 2 / 1000, 8 * SCALE_KG / math.sqrt(3))
)


@pytest.mark.parametrize(
    ("cause", "expected"),
    [
        (OFF_TARGET, ROPE),
        (HEAVY, (OVER[0] - ROPE[0], OVER[1] - ROPE[2], OVER[2] - ROPE[1])),
        (REJECTED, (REJECTS_KG,) * 3),
        (MISSING, MISSING_KG),
    ],
)
def test_a_cause_in_kilograms_with_its_limits(
    found: CandyLosses, cause: str, expected: tuple[float, float, float]
) -> None:
    estimate = found.causes[cause]
    assert (estimate.value, estimate.low, estimate.high) == pytest.approx(expected)


def test_used_less_sold_is_the_sum_of_the_causes(found: CandyLosses) -> None:
    sold = GOOD * sum(MASS_G.values()) / 1000
    assert found.sold_kg == pytest.approx(sold)
    assert found.used_kg - sold == pytest.approx(sum(estimate.number for estimate in found.causes.values()))
    worth = sum(MASS_G[name] * PRICE[name] for name in MASS_G) / sum(MASS_G.values())
    assert found.price_per_kg.value == pytest.approx(worth)
