"""A simulated cut-and-wrap machine whose webs' waste is known: frames beside the truth."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lineview.answers.answer import Scope
from lineview.columns import BATCHES, READINGS, REELS
from lineview.figure import Period
from lineview.plant import Counter, Line, Machine, Plant, Product, Web
from tests.from_frames import Frames

START = datetime(2026, 6, 1, tzinfo=UTC)
CUT_MM = {"film": 56.0, "wax paper": 50.0}


@dataclass(frozen=True)
class Truth:
    """What the simulator did; metres [m] of film and wax paper by kind."""

    good: int
    rejects: int
    blanks: int
    restarts: int
    fed_m: dict[str, float]
    left_m: dict[str, float]
    true_length_m: dict[str, float]


@dataclass(frozen=True)
class Made:
    """One simulated machine."""

    plant: Plant
    readings: pl.DataFrame
    reels: pl.DataFrame
    batches: pl.DataFrame
    truth: Truth
    end: datetime


def wrap_plant(*, blanks_counter: bool = True, feed_unit_m: float = 0.1) -> Plant:
    """A plant with one line, one film, one wax paper and two products."""
    counters = [
        Counter(id="pieces", counts="pieces", modulus=65536, fastest_per_min=450),
        Counter(id="rejects", counts="rejects", modulus=65536, fastest_per_min=450),
        Counter(id="film", counts="film", modulus=65536, fastest_per_min=800, unit_value=feed_unit_m),
        Counter(id="paper", counts="wax paper", modulus=65536, fastest_per_min=800, unit_value=feed_unit_m),
    ]
    if blanks_counter:
        counters.append(Counter(id="blanks", counts="blank wraps", modulus=65536, fastest_per_min=450))
    shared = {"reel_outer_mm": 300, "reel_core_mm": 76, "supplier": "invented"}
    film = Web(
        id="film", kind="film", cut_length_mm=56, width_mm=76, thickness_um=23, density_g_cm3=1.35,
        reel_length_m=2875, splice_m=1, start_m=3, end_m=8, price_per_reel=34, **shared,
    )  # fmt: skip
    wax = Web(
        id="wax", kind="wax paper", cut_length_mm=50, width_mm=40, grammage_g_m2=38, thickness_um=45,
        reel_length_m=1470, splice_m=1, start_m=2, end_m=5, price_per_reel=9.4, **shared,
    )  # fmt: skip
    products = tuple(
        Product(
            id=name,
            flavour=name,
            mass_g=6.8,
            mass_tolerance_g=0.4,
            diameter_mm=14,
            diameter_tolerance_mm=0.4,
            cut_length_mm=35,
            webs=("film", "wax"),
        )
        for name in ("plum", "birch")
    )
    return Plant(
        shop="Invented works",
        lines=(Line(id="line1"),),
        machines=(Machine(id="wrap1", kind="cut-and-wrap machine", line="line1", counters=tuple(counters)),),
        webs=(film, wax),
        products=products,
    )


def wrap_line(
    seed: int,
    *,
    days: float = 5.0,
    every_s: int = 30,
    blanks_per_restart: float = 6.0,
    start_m: float = 3.0,
    end_m: float = 8.0,
    splice_m: float = 1.2,
    splice_rate: float = 1.0,
    label_sd: float = 0.008,
    feed_noise: float = 0.0,
    mislabelled: float = 0.0,
    blanks_counter: bool = True,
    left_logged: bool = True,
    extra_per_wrap: float = 0.0,
    least_stop_s: float = 75.0,
) -> Made:
    """Run the machine: stretches of running between stops, reels that end, splices at unknown places.

    `mislabelled` is the share by which the third film reel is shorter than its label.
    """
    rng = np.random.default_rng(seed)
    plant = wrap_plant(blanks_counter=blanks_counter)
    state = _State(rng, plant, start_m, end_m, splice_m, splice_rate, label_sd, mislabelled, left_logged)
    horizon, now = days * 86400.0, 0.0
    batch_at, batches = 0.0, []
    restarts = 0
    while now < horizon:
        if now >= batch_at:
            batches.append((now, "plum" if len(batches) % 3 else "birch"))
            batch_at = now + 600.0 + rng.normal(0, 20)
        blanks = rng.poisson(blanks_per_restart)
        restarts += 1
        state.blank(now + 1.0, blanks)
        rate = rng.normal(350, 12) / 60.0
        run = min(rng.exponential(420.0) + 20.0, batch_at - now + 1.0)
        factor = 1.0 + extra_per_wrap + rng.normal(0.0, feed_noise)
        now, ended = state.run(now + 2.0, run, rate, factor)
        if ended:
            now = state.change(now)
        elif now >= batch_at:
            now += rng.uniform(150.0, 260.0)
        else:
            now += min(least_stop_s + rng.lognormal(3.8, 0.9), 1500.0)
    end_s = state.t[-1] + 600.0
    readings = state.readings(end_s, every_s)
    truth = Truth(
        good=int(state.total["pieces"]) - int(state.total["rejects"]),
        rejects=int(state.total["rejects"]),
        blanks=int(state.total["blanks"]),
        restarts=restarts,
        fed_m={"film": state.total["film"], "wax paper": state.total["paper"]},
        left_m=state.left_sum,
        true_length_m=state.true_length,
    )
    sheet = [("line1", str(i), p, _at(t), None, 22.7, 1, i) for i, (t, p) in enumerate(batches)]
    return Made(
        plant=plant,
        readings=readings,
        reels=pl.DataFrame(state.log, schema=REELS, orient="row"),
        batches=pl.DataFrame(sheet, schema=BATCHES, orient="row"),
        truth=truth,
        end=_at(end_s),
    )


class _State:
    """Totals of the machine as a broken line in time, and the reels that are on it."""

    def __init__(self, rng, plant, start_m, end_m, splice_m, splice_rate, label_sd, mislabelled, left_logged):
        self.rng, self.plant = rng, plant
        self.start_m, self.end_m, self.splice_m, self.splice_rate = start_m, end_m, splice_m, splice_rate
        self.label_sd, self.mislabelled, self.left_logged = label_sd, mislabelled, left_logged
        self.total = {"pieces": 0.0, "rejects": 0.0, "blanks": 0.0, "film": 0.0, "paper": 0.0}
        self.t, self.points = [0.0], [dict(self.total)]
        self.left, self.splice_at, self.count = {}, {}, {"film": 0, "paper": 0}
        self.left_sum = {"film": 0.0, "wax paper": 0.0}
        self.true_length, self.log = {}, []
        self.rest = {"film": None, "paper": None}
        for channel in ("film", "paper"):
            self.mount(channel, 0.0)

    def note(self, t):
        self.t.append(t)
        self.points.append(dict(self.total))

    def mount(self, channel, t):
        kind = "film" if channel == "film" else "wax paper"
        web = next(w for w in self.plant.webs if w.kind == kind)
        self.count[channel] += 1
        reel = f"{channel}-{self.count[channel]}"
        length = web.reel_length_m * (1.0 + self.rng.normal(0.0, self.label_sd))
        if channel == "film" and self.count[channel] == 3:
            length = web.reel_length_m * (1.0 - self.mislabelled) * (1.0 + self.rng.normal(0, self.label_sd))
        splices = int(self.rng.poisson(self.splice_rate))
        self.true_length[reel] = length
        rest = self.rest[channel]
        left = rest if self.left_logged or rest is None else None
        self.log.append(("wrap1", _at(t), web.id, reel, web.reel_length_m, left, splices, 1, len(self.log)))
        end = max(self.rng.normal(self.end_m, 1.5), 0.5)
        self.rest[channel] = end
        self.splice_at[channel] = sorted(self.rng.uniform(228.6, length - end - 228.6, splices))
        start = max(self.rng.normal(self.start_m, 0.4), 0.0)
        self.total[channel] += start
        self.left[channel] = [0.0 + start, length - end]

    def blank(self, t, count):
        self.note(t - 0.5)
        self.total["blanks"] += count
        for channel, kind in (("film", "film"), ("paper", "wax paper")):
            metres = count * CUT_MM[kind] / 1000.0
            self.total[channel] += metres
            self.left[channel][0] += metres
        self.note(t)

    def run(self, t, seconds, rate, factor):
        """Run until the time is up or a reel ends; give the end and whether a reel ended."""
        speed = {"film": rate * 0.056 * factor, "paper": rate * 0.050 * factor}
        until = min((self.left[c][1] - self.left[c][0]) / speed[c] for c in speed)
        ended = until <= seconds
        run = max(min(until, seconds), 0.0)
        self.note(t)
        wraps = round(run * rate)
        self.total["pieces"] += wraps
        self.total["rejects"] += self.rng.binomial(wraps, 0.012)
        for channel, per_s in speed.items():
            fed = wraps / rate * per_s
            self.total[channel] += fed
            self.left[channel][0] += fed
            while self.splice_at[channel] and self.splice_at[channel][0] <= self.left[channel][0]:
                self.splice_at[channel].pop(0)
                lost = max(self.rng.normal(self.splice_m, 0.3), 0.0)
                self.total[channel] += lost
                self.left[channel][0] += lost
        self.note(t + run)
        return t + run, ended

    def change(self, t):
        """Put on a new reel wherever one is at its end."""
        t += self.rng.uniform(60.0, 120.0)
        for channel, kind in (("film", "film"), ("paper", "wax paper")):
            if self.left[channel][1] - self.left[channel][0] < 1.0:
                self.left_sum[kind] += self.rest[channel]
                self.note(t)
                self.mount(channel, t)
                self.note(t + 10.0)
        return t + self.rng.uniform(60.0, 120.0)

    def readings(self, end_s, every_s):
        at = np.arange(0.0, end_s, every_s)
        frames = []
        units = {c.id: c.unit_value for c in self.plant.machines[0].counters}
        for channel, unit in units.items():
            line = np.interp(at, self.t, [p[channel] for p in self.points])
            value = np.floor(line / unit + 1e-9) + self.rng.integers(0, 60000)
            frames.append(
                pl.DataFrame({"at": START.timestamp() + at, "value": value % 65536}).select(
                    machine=pl.lit("wrap1"),
                    channel=pl.lit(channel),
                    at=(pl.col("at") * 1e6)
                    .cast(pl.Int64)
                    .cast(pl.Datetime("us"))
                    .dt.replace_time_zone("UTC"),
                    value="value",
                    text=pl.lit(None, pl.String),
                    quality=pl.lit("good"),
                    intake=pl.lit(1, pl.Int64),
                    row=pl.int_range(pl.len(), dtype=pl.Int64),
                )
            )
        return pl.concat(frames).cast(dict(READINGS))


def _at(seconds: float) -> datetime:
    return START + timedelta(seconds=round(float(seconds)))


def frames_of(made: Made, **others: object) -> Frames:
    """The frames that the machine's exports hold."""
    frames = {"readings": {"wrap1": made.readings}, "batches": made.batches, "reels": made.reels}
    return Frames(**(frames | others))


def scope_of(made: Made) -> Scope:
    """The whole of the simulated time."""
    return Scope("line1", "wrap1", Period(START, made.end), made.end, "the simulated days")
