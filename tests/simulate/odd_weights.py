"""Weighed lines off the textbook, written apart from the estimators: memory, tails, outliers, steps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.core.frames import BATCHES, WEIGHTS
from lineview.plant import Plant
from tests import factories
from tests.from_frames import Frames
from tests.simulate import weighed_line
from tests.simulate.weighed_line import START

Floats = NDArray[np.float64]
TARGET_G, TOLERANCE_G, PRICE = 6.57, 0.6, 5.0
RATE_PER_MIN = 330.0
#: A share of pieces that nobody would call of the process, and how much heavier they are.
HEAVY_SHARE, HEAVY = 0.001, 1.3


@dataclass(frozen=True)
class Odd:
    """How a line strays from the textbook.

    `memory` is the correlation of neighbouring batches, `pieces` the law of pieces about their batch,
    `uneven` the standard deviation of the logarithm of each batch's own spread, `step_g` the scale's step,
    `heavy` the share of pieces that are 30 % too heavy.
    """

    memory: float = 0.0
    pieces: str = "normal"
    uneven: float = 0.0
    step_g: float = 0.01
    heavy: float = 0.0
    batches: tuple[int, int] = (24, 72)
    each: tuple[int, int] = (4, 9)


CONDITIONS = {
    "textbook": Odd(),
    "memory 0.3": Odd(memory=0.3, batches=(36, 90)),
    "memory 0.6": Odd(memory=0.6, batches=(36, 90)),
    "memory 0.9": Odd(memory=0.9, batches=(36, 90)),
    "t4 pieces": Odd(pieces="t4"),
    "t3 pieces": Odd(pieces="t3"),
    "lognormal pieces": Odd(pieces="lognormal"),
    "one in a thousand heavy": Odd(heavy=HEAVY_SHARE, batches=(60, 120), each=(15, 25)),
    "batches of uneven spread": Odd(uneven=0.35),
    "scale in steps of 0.5 g": Odd(step_g=0.5),
}


@dataclass(frozen=True)
class OddLine:
    """One such line: what was weighed, its batches, and what is true of it."""

    weights: pl.DataFrame
    batches: pl.DataFrame
    truth: dict[str, float]

    @property
    def plant(self) -> Plant:
        """Its works: one product with a price."""
        return weighed_line.plant(weighed_line.product("mint", TARGET_G, price_per_kg=PRICE))

    @property
    def frames(self) -> Frames:
        """What its exports hold."""
        return Frames(
            readings={"wrap1": weighed_line.counted(RATE_PER_MIN)}, weights=self.weights, batches=self.batches
        )


def _levels(rng: np.random.Generator, count: int, memory: float) -> Floats:
    """Batch levels of unit spread; each is a part of the one before and a skewed draw of its own."""
    fresh = rng.gamma(4.0, 0.5, count + 60) - 2.0
    level = np.zeros(count + 60)
    for i in range(1, count + 60):
        level[i] = memory * level[i - 1] + np.sqrt(1.0 - memory**2) * fresh[i]
    return level[60:] if memory else rng.standard_normal(count)


def _pieces(rng: np.random.Generator, law: str, count: int) -> Floats:
    """Pieces of unit spread about 0."""
    if law in ("t3", "t4"):
        degrees = float(law[1:])
        return np.asarray(rng.standard_t(degrees, count) / np.sqrt(degrees / (degrees - 2.0)))
    if law == "lognormal":
        sigma = 0.5
        drawn = rng.lognormal(0.0, sigma, count) - np.exp(sigma**2 / 2.0)
        return np.asarray(drawn / np.sqrt((np.exp(sigma**2) - 1.0) * np.exp(sigma**2)))
    return rng.standard_normal(count)


def odd_line(seed: int, odd: Odd) -> OddLine:
    """Draw one line; batches every few minutes over eight hours."""
    rng = np.random.default_rng([seed, 4711])
    count = int(rng.integers(odd.batches[0], odd.batches[1] + 1))
    between, within = float(rng.uniform(0.05, 0.15)), float(rng.uniform(0.15, 0.3))
    off = float(rng.uniform(-0.05, 0.15))
    level = off + between * _levels(rng, count, odd.memory)
    each = rng.integers(odd.each[0], odd.each[1] + 1, count)
    batch = np.repeat(np.arange(count), each)
    scale = np.exp(odd.uneven * rng.standard_normal(count) - odd.uneven**2)
    mass = TARGET_G + level[batch] + within * scale[batch] * _pieces(rng, odd.pieces, batch.size)
    mass = np.where(rng.random(batch.size) < odd.heavy, HEAVY * mass, mass)
    shown = np.round(mass / odd.step_g) * odd.step_g
    every_s = 8 * 3600.0 / count
    first = np.concatenate([np.arange(n) for n in each])
    at_s = START.timestamp() + every_s * (batch + (first + 1.0) / (each[batch] + 2.0))
    weights = (
        pl.DataFrame(
            {
                "machine": "wrap1",
                "at": factories.moments(at_s),
                "mass_g": np.round(shown, 4),
                "pieces": 1,
                "gross": False,
                "batch": [f"B{b}" for b in batch],
                "sample": "",
                "intake": 1,
                "row": np.arange(batch.size) + 2,
            }
        )
        .select(list(WEIGHTS))
        .cast(dict(WEIGHTS))
    )
    starts = [START + timedelta(seconds=every_s * b) for b in range(count)]
    rows = [
        {"batch": f"B{b}", "product": "mint", "start": at, "end": at + timedelta(seconds=0.9 * every_s)}
        for b, at in enumerate(starts)
    ]
    return OddLine(weights, factories.rows(BATCHES, rows, line="line1", mass_in_kg=22.7), _truth(off, between, within))


def _truth(off: float, between: float, within: float) -> dict[str, float]:
    total = float(np.hypot(between, within))
    centred = TOLERANCE_G - abs(off)
    # A week without shifts in plant.toml is all of it planned.
    pieces = RATE_PER_MIN * 60 * 24 * 7
    return {
        "mean_g": TARGET_G + off, "deviation_g": off, "giveaway_g_per_piece": off,
        "giveaway_kg_per_week": off * pieces / 1000.0, "giveaway_money_per_week": off * pieces / 1000.0 * PRICE,
        "sd_between_g": between, "sd_within_g": within, "sd_total_g": total,
        "cp": TOLERANCE_G / (3 * within), "cpk": centred / (3 * within),
        "pp": TOLERANCE_G / (3 * total), "ppk": centred / (3 * total),
    }  # fmt: skip
