"""A small simulated wrapper whose truth is known: legs and stops, pieces one by one, a counter."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lineview.columns import READINGS
from lineview.plant import Break, Counter, Machine, Shift

START = datetime(2026, 6, 9, 6, tzinfo=UTC)
EARLY = Shift(id="early", start="06:00", end="14:00", breaks=(Break(start="09:00", end="09:25"),))
BAND = (300.0, 400.0)


@dataclass(frozen=True)
class Run:
    """The truth from ten minutes before START on: stops, slow legs and piece times [s from START]."""

    stops: list[tuple[float, float]]
    slow: list[tuple[float, float]]
    pieces: np.ndarray
    hours: float

    def running_s(self, start: float, end: float) -> float:
        """Seconds in which it ran between two moments."""
        stood = sum(max(0.0, min(b, end) - max(a, start)) for a, b in self.stops)
        return end - start - stood


def simulate(
    seed: int, hours: float = 8.5, *, shortest_s: float = 4.0, mean_run_min: float = 12.0, full: float = 348.0
) -> Run:
    """Draw legs of exponential and stops of lognormal length, one slow leg, and every piece."""
    rng = np.random.default_rng(seed)
    t, end = -600.0, hours * 3600
    stops: list[tuple[float, float]] = []
    slow_at = rng.uniform(0.2, 0.7) * end
    slow = [(slow_at, slow_at + rng.uniform(900, 2000))]
    times = []
    while t < end:
        leg_end = t + max(75.0, rng.exponential(mean_run_min * 60))
        at = t
        leg_rate = full * (1 + 0.01 * rng.standard_normal())
        while at < min(leg_end, end):
            inside = slow[0][0] <= at < slow[0][1]
            rate = 268.0 if inside else leg_rate
            edges = [leg_end, end, slow[0][1] if inside else (slow[0][0] if at < slow[0][0] else np.inf)]
            until = min(edges)
            gaps = 60 / rate * (1 + 0.05 * rng.standard_normal(int((until - at) * rate / 60 * 1.02) + 50))
            made = at + np.cumsum(gaps)
            times.append(made[made < until])
            at = until
        if leg_end < end:
            length = max(shortest_s, rng.lognormal(np.log(75), 1.0))
            stops.append((leg_end, min(leg_end + length, end)))
            t = leg_end + length
        else:
            t = end
    return Run(stops, slow, np.concatenate(times), hours)


def readings(
    run: Run,
    every_s: float,
    *,
    seed: int = 0,
    jitter_s: float = 0.0,
    truncate: bool = False,
    modulus: int = 100_000,
    first: int = 99_000,
    reject_every: int = 80,
) -> pl.DataFrame:
    """Read the counters every so often; the stamp is off by up to `jitter_s`, or cut to whole seconds."""
    rng = np.random.default_rng(seed + 1000)
    true = np.arange(-600.0, run.hours * 3600 + 1, every_s)
    stamp = true + (rng.uniform(-jitter_s, jitter_s, len(true)) if jitter_s else 0.0)
    if truncate:
        true = true + rng.uniform(0, 0.999, len(true))
        stamp = np.floor(true)
    order = np.argsort(stamp, kind="stable")
    count = np.searchsorted(run.pieces, true)
    frames = []
    for name, value in (("pieces", (first + count) % modulus), ("rejects", count // reject_every)):
        at = [START + timedelta(seconds=float(s)) for s in stamp[order]]
        frames.append(
            pl.DataFrame(
                {
                    "machine": "w1",
                    "channel": name,
                    "at": at,
                    "value": value[order].astype(float),
                    "text": None,
                    "quality": "good",
                    "intake": 1,
                    "row": np.arange(len(at)),
                }
            ).cast(dict(READINGS))
        )
    return pl.concat(frames)


def machine(**more: object) -> Machine:
    """The wrapper in the plant description."""
    counters = (
        Counter(id="pieces", counts="pieces", modulus=100_000, fastest_per_min=450),
        Counter(id="rejects", counts="rejects", modulus=100_000, fastest_per_min=450),
    )
    return Machine(
        id="w1", kind="cut-and-wrap machine", line="1", nominal_per_min=BAND, counters=counters, **more
    )
