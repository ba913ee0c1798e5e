"""A cut-and-wrap machine written apart from the demo: skewed waste at restarts, changeovers and reels."""

from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import polars as pl

from lineview.core.figure import Period
from lineview.core.frames import BATCHES, REELS
from lineview.plant import Plant
from lineview.report.answer import Scope
from tests import factories
from tests.from_frames import Frames
from tests.simulate.webs import START, wrap_plant

CUT_M, REEL_M = 0.056, 2875.0
#: Mean run from stop to stop, and from changeover to changeover [s].
RUN_S, CAMPAIGN_S = 420.0, 6000.0


@dataclass(frozen=True)
class Wasted:
    """True means [m] of what each event costs, and the share of all that was wrapped that slips."""

    restart: float = 0.4
    changeover: float = 6.0
    reel_start: float = 3.0
    proportional: float = 0.006


@dataclass(frozen=True)
class WastefulRun:
    """One such machine: its plant, what its exports hold, and its end."""

    plant: Plant
    frames: Frames
    end: datetime

    @property
    def scope(self) -> Scope:
        """The whole of the simulated time."""
        return Scope("line1", "wrap1", Period(START, self.end), self.end, "the simulated days")


@dataclass
class _Clock:
    """What happened so far: moments [s], and what was wrapped, slipped [m] and fed without wraps by then."""

    at: list[float] = field(default_factory=lambda: [0.0])
    wraps: list[float] = field(default_factory=lambda: [0.0])
    fed_m: list[float] = field(default_factory=lambda: [0.0])
    feeds: list[tuple[float, float, float]] = field(default_factory=list)
    mounts: list[float] = field(default_factory=list)
    turns: list[float] = field(default_factory=list)

    def go(self, seconds: float, per_s: float, slip: float) -> None:
        """Run, or stand at a rate of 0."""
        made = seconds * per_s
        self.at.append(self.at[-1] + seconds)
        self.wraps.append(self.wraps[-1] + made)
        self.fed_m.append(self.fed_m[-1] + made * CUT_M * (1.0 + slip))

    def feed(self, begin_s: float, seconds: float, metres: float) -> None:
        """Feed web without a wrap, evenly over some seconds."""
        self.feeds.append((begin_s, seconds, metres))


def wasteful_line(
    seed: int,
    true: Wasted,
    *,
    days: float = 6.0,
    at_restart: bool = True,
    log_late_s: float | None = None,
    log_sd_s: float = 20.0,
) -> WastefulRun:
    """Run the machine day and night.

    Runs are exponential, standing lognormal; what a restart costs is gamma, a changeover and a reel start
    lognormal, and each run slips by its own Student amount. The web of a changeover is fed at the restart, or
    at any moment of the standing. `log_late_s` is by how much the reel log is late [s]; None: no log, and one
    reel that never ends.
    """
    rng = np.random.default_rng([seed, 1308])
    reel_m = np.inf if log_late_s is None else REEL_M
    made = _run(rng, true, days * 86400.0, at_restart, reel_m)
    plant = wrap_plant(blanks_counter=False)
    frames = {"readings": {"wrap1": _readings(plant, made, rng)}, "batches": _batches(made.turns)}
    if log_late_s is not None:
        frames["reels"] = _reel_log(made.mounts, log_late_s, log_sd_s, rng)
    return WastefulRun(plant, Frames(**frames), _moment(made.at[-1]))


def _run(rng: np.random.Generator, true: Wasted, whole_s: float, at_restart: bool, reel_m: float) -> _Clock:
    clock = _Clock()
    off_m, turn_s = reel_m, float(rng.exponential(CAMPAIGN_S))
    while clock.at[-1] < whole_s:
        per_s = float(rng.normal(340.0, 6.0)) / 60.0
        left_s = max(off_m - clock.fed_m[-1], 0.0) / (per_s * CUT_M)
        run_s = min(40.0 + float(rng.exponential(RUN_S)), max(left_s, 40.0))
        clock.go(run_s, per_s, true.proportional + 0.002 * float(rng.standard_t(3)))
        began = clock.at[-1]
        if clock.fed_m[-1] >= off_m - 1.0:
            clock.go(_about(rng, 200.0, 0.3), 0.0, 0.0)
            clock.mounts.append(began + 60.0)
            clock.feed(clock.at[-1], 20.0, _about(rng, true.reel_start, 0.3, mean=True))
            off_m = clock.fed_m[-1] + reel_m
        elif began >= turn_s:
            clock.go(_about(rng, 1500.0, 0.4), 0.0, 0.0)
            turn_s = clock.at[-1] + float(rng.exponential(CAMPAIGN_S))
            clock.turns.append(clock.at[-1])
            at_s = clock.at[-1] if at_restart else float(rng.uniform(began, clock.at[-1] - 30.0))
            clock.feed(at_s, 30.0, _about(rng, true.changeover, 0.55, mean=True))
        else:
            clock.go(65.0 + _about(rng, 70.0, 0.8), 0.0, 0.0)
        clock.feed(clock.at[-1], 8.0, float(rng.gamma(1.5, true.restart / 1.5)))
    return clock


def _about(rng: np.random.Generator, middle: float, sigma: float, *, mean: bool = False) -> float:
    """Draw a lognormal number by its median, or by its mean."""
    return float(middle * np.exp(sigma * rng.standard_normal() - (sigma**2 / 2.0 if mean else 0.0)))


def _moment(at_s: float) -> datetime:
    return datetime.fromtimestamp(START.timestamp() + round(at_s), UTC)


def _batches(turns: list[float]) -> pl.DataFrame:
    rows = [
        {"batch": str(i), "product": ("plum", "birch")[i % 2], "start": _moment(at)}
        for i, at in enumerate([0.0, *turns])
    ]
    return factories.rows(BATCHES, rows, line="line1", mass_in_kg=22.7)


def _reel_log(mounts: list[float], late_s: float, sd_s: float, rng: np.random.Generator) -> pl.DataFrame:
    rows = [
        {"at": _moment(at + late_s + sd_s * float(rng.standard_normal())), "reel": f"F{i + 1}", "splices": 0}
        for i, at in enumerate(mounts)
    ]
    return factories.rows(REELS, rows, machine="wrap1", web="film", length_m=REEL_M)


def _readings(plant: Plant, made: _Clock, rng: np.random.Generator) -> pl.DataFrame:
    at_s = np.arange(0.0, made.at[-1], 10.0)
    wraps = np.floor(np.interp(at_s, made.at, made.wraps))
    fed = np.interp(at_s, made.at, made.fed_m)
    whole = np.zeros(len(at_s) + 1)
    for begin, seconds, metres in made.feeds:
        i, j = np.searchsorted(at_s, (begin, begin + seconds))
        fed[i:j] += metres * (at_s[i:j] - begin) / seconds
        whole[j] += metres
    fed += np.cumsum(whole[:-1])
    values = {"pieces": wraps, "rejects": 0.0 * wraps, "film": np.floor(fed / 0.1)}
    at = factories.moments(START.timestamp() + at_s)
    first = rng.integers(0, 60000)
    return pl.concat([factories.readings("wrap1", name, at, (value + first) % 65536) for name, value in values.items()])
