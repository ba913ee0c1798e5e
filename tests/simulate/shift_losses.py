"""Works whose losses are drawn shift by shift, so that levels, steps and differences of each cause are known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl

from lineview.week.losses import LOSSES, SHIFTS, MachineLosses
from lineview.week.material import MIX

MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
PLANNED_MIN, RATE = 440.0, 350.0
#: Mean minutes a shift, and how skewed: shape of the gamma distribution that it is drawn from.
CAUSES = {
    "changeovers": (30.0, 12.0),
    "stops: jam": (14.0, 2.0),
    "stops: film break": (9.0, 1.2),
    "stops: drive fault": (4.0, 0.35),
    "short stops without a reason": (22.0, 20.0),
    "slow running": (6.0, 1.0),
    "rejects": (5.0, 80.0),
    "blank wraps": (2.5, 50.0),
}


@dataclass(frozen=True)
class Drawn:
    """What is different from steady works.

    `memory` is the correlation of neighbouring shifts' levels, `wander` the spread of those levels (log); `factor`
    multiplies a cause's level from a shift on; `drifting_mix` moves the works from one product to the other, on
    which the causes of `on_second` cost so much more.
    """

    weeks: int = 13
    memory: float = 0.0
    wander: float = 0.0
    factor: Mapping[str, tuple[int, float]] = field(default_factory=dict)
    drifting_mix: bool = False
    on_second: Mapping[str, float] = field(default_factory=dict)
    shape: Mapping[str, float] = field(default_factory=dict)


def shifts_of(weeks: int) -> list[tuple[date, str, datetime]]:
    """Two shifts a day, Monday to Friday."""
    days = [MONDAY + timedelta(days=7 * week + day) for week in range(weeks) for day in range(5)]
    return [
        (day.date(), name, day + timedelta(hours=start)) for day in days for name, start in (("early", 6), ("late", 14))
    ]


def draw(rng: np.random.Generator, drawn: Drawn, machine: str = "w1") -> tuple[MachineLosses, pl.DataFrame]:
    """Losses of one machine, and its mix of products."""
    shifts = shifts_of(drawn.weeks)
    n = len(shifts)
    second = np.clip(np.linspace(0.1, 0.9, n) + rng.normal(0, 0.12, n), 0, 1) if drawn.drifting_mix else np.full(n, 0.3)
    rows = []
    for cause, (mean, shape) in CAUSES.items():
        level = mean * (1 + (drawn.on_second.get(cause, 1.0) - 1) * second)
        if cause in drawn.factor:
            at, factor = drawn.factor[cause]
            level = np.where(np.arange(n) >= at, level * factor, level)
        latent = np.zeros(n)
        for k in range(n):
            before = latent[k - 1] if k else rng.normal()
            latent[k] = drawn.memory * before + np.sqrt(1 - drawn.memory**2) * rng.normal()
        minutes = level * np.exp(drawn.wander * latent - drawn.wander**2 / 2)
        k_shape = drawn.shape.get(cause, shape)
        minutes = minutes * rng.gamma(k_shape, 1 / k_shape, n)
        rows += [(machine, shifts[k][2], cause, minutes[k], minutes[k] * RATE, 1) for k in range(n)]
    losses = pl.DataFrame(rows, schema=LOSSES, orient="row")
    lost = losses.group_by("start", maintain_order=True).agg(pl.col("pieces").sum()).sort("start")["pieces"].to_numpy()
    good = PLANNED_MIN * RATE - lost
    frame = pl.DataFrame(
        {
            "machine": machine, "line": "1", "shift": [s[1] for s in shifts], "date": [s[0] for s in shifts],
            "start": [s[2] for s in shifts], "end": [s[2] + timedelta(hours=8) for s in shifts],
            "planned_min": PLANNED_MIN, "run_min": good / RATE, "seen_min": PLANNED_MIN, "nominal_per_min": RATE,
            "stops": rng.poisson(30, n), "good": good, "good_low": good, "good_high": good,
            "open_pieces": 0.0, "open_rejects": 0.0,
            "film_m": None, "paper_m": None,
        },
        schema=SHIFTS,
    )  # fmt: skip
    places = np.arange(n)
    mix = pl.concat(
        [
            pl.DataFrame({"place": places, "product": "mint", "share": 1 - second}, schema=MIX),
            pl.DataFrame({"place": places, "product": "nut", "share": second}, schema=MIX),
        ]
    ).sort("place")
    return MachineLosses(frame, losses, pl.DataFrame()), mix


def between(part: MachineLosses, first: int, end: int) -> MachineLosses:
    """The losses of some shifts, by their places."""
    shifts = part.shifts[first:end]
    return MachineLosses(shifts, part.losses.filter(pl.col("start").is_in(shifts["start"].implode())), part.timeline)
