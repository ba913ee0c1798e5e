"""A wrapper whose truth is known, run by the demo's line: stops, a slow stretch, every piece of a shift."""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import numpy as np
import polars as pl

from lineview.demo.line import LineRun
from lineview.demo.spec import MOVING, LineSpec, SlowStretch, StopCause, Window, demo_plant, line_specs
from lineview.plant import Break, Counter, Machine, Shift
from tests import factories

START = datetime(2026, 6, 9, 6, tzinfo=UTC)
EARLY = Shift(id="early", start="06:00", end="14:00", breaks=(Break(start="09:00", end="09:25"),))
BAND = (300.0, 400.0)
#: The line runs from so long before START on [s].
BEFORE_S = 600.0


@dataclass(frozen=True)
class Run:
    """The truth from ten minutes before START on: stops, slow stretches and piece times [s from START]."""

    stops: list[tuple[float, float]]
    slow: list[tuple[float, float]]
    pieces: np.ndarray
    hours: float

    def running_s(self, start: float, end: float) -> float:
        """Seconds in which it ran between two moments."""
        stood = sum(max(0.0, min(b, end) - max(a, start)) for a, b in self.stops)
        return end - start - stood


def wrapper_spec(shortest_s: float, mean_run_min: float, full: float, slow: SlowStretch) -> LineSpec:
    """The demo's first line with one batch and one reel that never end, and stops of one cause."""
    spec = line_specs(demo_plant())[0]
    return replace(
        spec,
        webs=tuple(web.model_copy(update={"reel_length_m": 1e6}) for web in spec.webs),
        batch_kg=10_000.0,
        splices_per_reel=0.0,
        mislabelled=(),
        set_per_min=full,
        sd_rate=0.01,
        stop_causes=(StopCause("stop", 60.0 / mean_run_min, 75.0, 1.0),),
        least_stop_s=shortest_s,
        least_run_s=75.0,
        slow_stretches=(slow,),
        blanks_per_restart=0.0,
    )


def simulate(
    seed: int, hours: float = 8.5, *, shortest_s: float = 4.0, mean_run_min: float = 12.0, full: float = 348.0
) -> Run:
    """Run one shift: exponential runs, lognormal stops, one slow stretch, and every piece."""
    rng = np.random.default_rng(seed)
    end_s = hours * 3600.0
    slow_s = (float(rng.uniform(0.2, 0.7) * end_s), float(rng.uniform(900.0, 2000.0)))
    slow = SlowStretch(0, (slow_s[0] + BEFORE_S) / 3600.0, slow_s[1] / 60.0, 268.0)
    line = LineRun(wrapper_spec(shortest_s, mean_run_min, full, slow), seed)
    stretches = line.shift(Window("early", date(2026, 6, 9), -BEFORE_S, end_s)).stretches
    moving = [s for s in stretches if s.state in MOVING]
    pieces = [s.t0 + np.arange(1, s.cycles + 1) / s.cycles * s.seconds for s in moving]
    # A piece comes a little before or after its time.
    made = np.concatenate(pieces) + 0.05 * 60.0 / full * rng.standard_normal(sum(s.cycles for s in moving))
    stops = [(s.t0, s.t1) for s in stretches if s.state not in MOVING]
    return Run(stops, [(slow_s[0], slow_s[0] + slow_s[1])], np.sort(made), hours)


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
    true = np.arange(-BEFORE_S, run.hours * 3600 + 1, every_s)
    stamp = true + (rng.uniform(-jitter_s, jitter_s, len(true)) if jitter_s else 0.0)
    if truncate:
        true = true + rng.uniform(0, 0.999, len(true))
        stamp = np.floor(true)
    order = np.argsort(stamp, kind="stable")
    count = np.searchsorted(run.pieces, true)
    at = factories.moments(START.timestamp() + stamp[order])
    values = {"pieces": (first + count) % modulus, "rejects": count // reject_every}
    return pl.concat([factories.readings("w1", name, at, value[order]) for name, value in values.items()])


def machine(**more: object) -> Machine:
    """The wrapper in the plant description."""
    counters = (
        Counter(id="pieces", counts="pieces", modulus=100_000, fastest_per_min=450),
        Counter(id="rejects", counts="rejects", modulus=100_000, fastest_per_min=450),
    )
    return Machine(id="w1", kind="cut-and-wrap machine", line="1", nominal_per_min=BAND, counters=counters, **more)
