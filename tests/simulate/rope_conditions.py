"""Ropes off the textbook, written apart from the estimators: each condition's readings and the truth beside.

Plain recursions in numpy; nothing here is imported from the program but the names of columns. Constructed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

START = datetime(2026, 6, 8, 5, tzinfo=UTC)
#: Spread of a batch's own offset [mm]; hours a batch; batches a working day; readings a batch and their noise.
SD_MM, BATCH_H, A_DAY, READINGS, NOISE_MM = 0.03, 1 / 6, 60, 3, 0.01
#: Batches that are simulated beyond the last one read, to see when the first is out: 200 hours.
AHEAD = 1200


@dataclass(frozen=True)
class Shape:
    """One condition: batches read, and what is done to the rope.

    Parameters
    ----------
    batches : int
        Batches read.
    offsets : callable
        (n, rng) to offsets of batches in their own standard deviations, memory and all.
    wander : float
        Standard deviation of a batch's change of level, in those of a batch.
    steps : tuple of float
        Sizes of steps nobody recorded, in those of a batch, signs drawn.
    faster : float
        How many times its first pace the wear has reached at the last batch.
    day, start_up : float
        Amplitude of a swing with the hour of day, and what a day's first batch is off, in those of a batch.
    wear : (float, float)
        Between which the wear at the last batch is drawn [mm/h], either way.
    """

    batches: int
    offsets: Callable[[int, np.random.Generator], Floats]
    wander: float = 0.0
    steps: tuple[float, ...] = ()
    faster: float = 1.0
    day: float = 0.0
    start_up: float = 0.0
    wear: tuple[float, float] = (0.003, 0.012)


@dataclass(frozen=True)
class Rope:
    """What was read of a rope and what was true of it.

    `at_s` and `value_mm` are readings (seconds since START, off the target), `starts_s` those of batches;
    `hours` the running hours of batches. The truth: `wear` at the last batch [mm/h], `level` it stands at
    there [mm], batch by batch what comes, mean and batch.
    """

    starts_s: Floats
    at_s: Floats
    value_mm: Floats
    wear: float
    level: float
    mean_ahead: Floats
    batch_ahead: Floats

    def hours_to(self, tolerance_mm: float) -> float:
        """Hours of running until the mean is out, if the wear goes on at its pace; infinite beyond 200 h."""
        if abs(self.level) > tolerance_mm:
            return 0.0
        if self.wear == 0:
            return np.inf
        hours = (np.copysign(tolerance_mm, self.wear) - self.level) / self.wear
        return hours if hours <= 200 else np.inf

    def first_out(self, tolerance_mm: float) -> float:
        """Hours of running until the first batch is out; infinite beyond 200 h."""
        out = np.flatnonzero(np.abs(self.batch_ahead) > tolerance_mm)
        return (out[0] + 1) * BATCH_H if out.size else np.inf


def remembering(memory: float) -> Callable[[int, np.random.Generator], Floats]:
    """Normal offsets, each a share of the one before and fresh noise."""

    def draw(n: int, rng: np.random.Generator) -> Floats:
        fresh = rng.normal(0, np.sqrt(1 - memory**2), n)
        out = np.empty(n)
        last = rng.normal()
        for i in range(n):
            last = memory * last + fresh[i]
            out[i] = last
        return out

    return draw


def heavy(n: int, rng: np.random.Generator) -> Floats:
    """Student's t with three degrees of freedom, of standard deviation 1."""
    return rng.standard_t(3, n) / np.sqrt(3)


def skewed(n: int, rng: np.random.Generator) -> Floats:
    """Lognormal with σ 0.75, less its mean, of standard deviation 1."""
    sigma = 0.75
    x = np.exp(sigma * rng.normal(size=n)) - np.exp(sigma**2 / 2)
    return x / np.sqrt((np.exp(sigma**2) - 1) * np.exp(sigma**2))


def heavy_remembering(n: int, rng: np.random.Generator) -> Floats:
    """Half of the offset before, and a fresh t of three degrees of freedom."""
    fresh = heavy(n + 50, rng) * np.sqrt(0.75)
    out, last = np.empty(n + 50), 0.0
    for i in range(n + 50):
        last = 0.5 * last + fresh[i]
        out[i] = last
    return out[50:]


PLAIN = remembering(0.0)
#: Every condition by name.
CONDITIONS: dict[str, Shape] = {
    "textbook, no memory": Shape(120, PLAIN),
    "textbook, memory 0.5": Shape(120, remembering(0.5)),
    "8 batches": Shape(8, PLAIN, wear=(0.02, 0.1)),
    "10 batches": Shape(10, PLAIN, wear=(0.02, 0.1)),
    "15 batches": Shape(15, PLAIN, wear=(0.01, 0.05)),
    "25 batches": Shape(25, PLAIN, wear=(0.01, 0.05)),
    "8 batches, no wear": Shape(8, PLAIN, wear=(0.0, 0.0)),
    "15 batches, no wear": Shape(15, PLAIN, wear=(0.0, 0.0)),
    "memory 0.9, 40 batches": Shape(40, remembering(0.9)),
    "memory 0.95, 100 batches": Shape(100, remembering(0.95)),
    "memory 0.98, 200 batches": Shape(200, remembering(0.98)),
    "wandering level": Shape(150, PLAIN, wander=0.1),
    "wandering level, no wear": Shape(150, PLAIN, wander=0.1, wear=(0.0, 0.0)),
    "one step of 1 sd": Shape(150, PLAIN, steps=(1.0,)),
    "one step of 2 sd": Shape(150, PLAIN, steps=(2.0,)),
    "three steps of 2 sd": Shape(150, PLAIN, steps=(2.0, 2.0, 2.0)),
    "wear grown threefold": Shape(240, PLAIN, faster=3.0, wear=(0.008, 0.016)),
    "wear grown tenfold": Shape(240, PLAIN, faster=10.0, wear=(0.008, 0.016)),
    "wear grown tenfold, memory 0.5": Shape(240, remembering(0.5), faster=10.0, wear=(0.008, 0.016)),
    "day cycle": Shape(180, PLAIN, day=1.0),
    "start-up": Shape(180, PLAIN, start_up=3.0),
    "heavy tails": Shape(150, heavy),
    "skewed": Shape(150, skewed),
    "steady": Shape(150, PLAIN, wear=(0.0, 0.0)),
    "steady, memory 0.9": Shape(150, remembering(0.9), wear=(0.0, 0.0)),
    "steady, heavy tails": Shape(150, heavy, wear=(0.0, 0.0)),
    "steady, heavy tails, memory 0.5": Shape(150, heavy_remembering, wear=(0.0, 0.0)),
    "steady, skewed": Shape(150, skewed, wear=(0.0, 0.0)),
}


def rope(shape: Shape, rng: np.random.Generator) -> Rope:
    """Draw one rope of a condition."""
    n = shape.batches
    whole = n + AHEAD
    i = np.arange(whole)
    hours = (i + 0.5) * BATCH_H
    starts_s = (i // A_DAY) * 86400.0 + (i % A_DAY) * BATCH_H * 3600
    wear = float(rng.choice([-1, 1]) * rng.uniform(*shape.wear))
    level = _worn(hours, hours[n - 1], wear, shape.faster) + rng.uniform(-0.02, 0.02)
    level = level + SD_MM * shape.wander * np.cumsum(np.where(i < n, rng.normal(size=whole), 0.0))
    for size, place in zip(shape.steps, _places(len(shape.steps), n, rng), strict=True):
        level = level + SD_MM * size * rng.choice([-1, 1]) * (i >= place)
    seen = level + SD_MM * shape.offsets(whole, rng)
    clock = (starts_s + 5 * 3600) % 86400 / 86400
    seen = seen + SD_MM * shape.day * np.sin(2 * np.pi * (clock + rng.uniform()))
    seen = seen + SD_MM * shape.start_up * rng.choice([-1, 1]) * np.exp(-(i % A_DAY) / 4)
    part = (np.arange(READINGS) + 0.5) / READINGS * BATCH_H * 3600
    at_s = (starts_s[:n, None] + part).ravel()
    value = (seen[:n, None] + NOISE_MM * rng.normal(size=(n, READINGS))).ravel()
    ahead = seen[n:] + NOISE_MM / np.sqrt(READINGS) * rng.normal(size=AHEAD)
    return Rope(starts_s[:n], at_s, value, wear, float(level[n - 1]), level[n:], ahead)


def _worn(hours: Floats, now_h: float, wear: float, faster: float) -> Floats:
    """Wear whose pace grew in proportion to time up to now, and stays as it is from now on [mm]."""
    back = np.minimum(hours - now_h, 0.0)
    slower = wear * (1 - 1 / faster) / now_h
    return wear * (hours - now_h) + slower * back**2 / 2


def _places(many: int, n: int, rng: np.random.Generator) -> list[int]:
    """Places of steps, at least ten batches from each other and from either end."""
    while many:
        places = sorted(int(k) for k in rng.integers(10, n - 10, many))
        if all(b - a >= 10 for a, b in pairwise(places)):
            return places
    return []


def moment(seconds: float) -> datetime:
    """The moment some seconds after the start."""
    return START + timedelta(seconds=float(seconds))
