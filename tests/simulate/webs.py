"""A cut-and-wrap machine whose webs' waste is known, run by the demo's line: frames beside the truth."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
import polars as pl

from lineview.core.figure import Period
from lineview.core.frames import BATCHES, REELS
from lineview.demo.line import LineTruth
from lineview.demo.spec import BLANK, GOOD, REJECT, LineSpec, StopCause
from lineview.demo.truth import CounterTruth
from lineview.plant import Counter, Line, Machine, Plant, Web
from lineview.report.answer import Scope
from tests import factories
from tests.from_frames import Frames
from tests.simulate.line import plain_windows, simulate

START = datetime(2026, 6, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Truth:
    """What the machine did: cycles by kind, and metres [m] fed of film and wax paper.

    `apart` is the share of restarts after which it ran for half a reading's step or longer: others no reading shows.
    """

    good: int
    rejects: int
    blanks: int
    fed_m: dict[str, float]
    apart: float = 1.0


@dataclass(frozen=True)
class WrapRun:
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
    usual = {"mass_tolerance_g": 0.4, "diameter_tolerance_mm": 0.4, "cut_length_mm": 35}
    return Plant(
        shop="Invented works",
        lines=(Line(id="line1"),),
        machines=(Machine(id="wrap1", kind="cut-and-wrap machine", line="line1", counters=tuple(counters)),),
        webs=(film, wax),
        products=tuple(factories.product(name, webs=("film", "wax"), **usual) for name in ("plum", "birch")),
    )


def wrap_spec(plant: Plant, true_webs: dict[str, float]) -> LineSpec:
    """A line on which nothing but restarts, reels and splices wastes web, and every stop is seen."""
    return LineSpec(
        "line1", "sizer1", "wrap1", plant.products,
        tuple(web.model_copy(update=true_webs) for web in plant.webs),
        set_per_min=350.0, sd_rate=0.03, campaign_batches=(1, 2), pause_s=200.0, changeover_s=200.0,
        stop_causes=(StopCause("stop", 3600.0 / 440.0, 120.0, 0.6),), least_stop_s=75.0, least_run_s=20.0,
        splice_stop_s=110.0, slow_stretches_per_shift=0.0, sd_start_m=0.4, sd_end_m=1.5, sd_splice_m=0.3,
        reject_share=0.012, reject_share_restart=0.012, slip_film=0.0, slip_paper=0.0, register_m=0.0,
        rethread_m=0.0,
    )  # fmt: skip


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
    mislabelled: float = 0.0,
    blanks_counter: bool = True,
    extra_per_wrap: float = 0.0,
) -> WrapRun:
    """Run the machine day and night: reels that end, splices at unknown places, blank wraps at restarts.

    `mislabelled` is the share by which the third film reel is shorter than its label.
    """
    plant = wrap_plant(blanks_counter=blanks_counter)
    spec = replace(
        wrap_spec(plant, {"start_m": start_m, "end_m": end_m, "splice_m": splice_m}),
        blanks_per_restart=blanks_per_restart,
        splices_per_reel=splice_rate,
        sd_reel_length=label_sd,
        mislabelled=(("film", 3, -mislabelled),) if mislabelled else (),
        slip_film=extra_per_wrap,
        slip_paper=extra_per_wrap,
    )
    line = simulate(spec, seed, plain_windows(days * 24.0, 24.0, START.timestamp()))
    counters = CounterTruth(spec, line.shifts)
    end_s = line.shifts[-1].window.end_s
    kinds = {kind: sum(shift.count(kind) for shift in line.shifts) for kind in (GOOD, REJECT, BLANK)}
    totals = counters.totals()
    runs = [part for shift in line.shifts for part in shift.stretches if part.state == "running"]
    return WrapRun(
        plant=plant,
        readings=_readings(plant, counters, end_s, every_s, np.random.default_rng(seed)),
        reels=_reel_log(line),
        batches=factories.rows(
            BATCHES,
            [{"batch": str(i), "product": b.product.id, "start": _at(b.start_s or 0.0)}
             for i, b in enumerate(line.batches)],
            line="line1", mass_in_kg=22.7,
        ),
        truth=Truth(
            kinds[GOOD], kinds[REJECT], kinds[BLANK],
            {"film": totals.film_m, "wax paper": totals.paper_m},
            float(np.mean([run.t1 - run.t0 >= every_s / 2 for run in runs])),
        ),
        end=_at(end_s),
    )  # fmt: skip


def _at(at_s: float) -> datetime:
    return datetime.fromtimestamp(round(at_s), UTC)


def _reel_log(line: LineTruth) -> pl.DataFrame:
    mounts = [
        {"at": _at(m.at_s), "web": m.web, "reel": m.reel, "length_m": m.label_m, "left_m": m.noted_left_m,
         "splices": m.splices}
        for m in line.mounts
    ]  # fmt: skip
    return factories.rows(REELS, mounts, machine="wrap1")


def _readings(
    plant: Plant, counters: CounterTruth, end_s: float, every_s: int, rng: np.random.Generator
) -> pl.DataFrame:
    at_s = np.arange(START.timestamp(), end_s, every_s)
    at = factories.moments(at_s)
    true = counters.at(at_s)
    frames = []
    for counter in plant.machines[0].counters:
        value = np.floor(true[counter.id] / counter.unit_value + 1e-6) + rng.integers(0, 60000)
        frames.append(factories.readings("wrap1", counter.id, at, value % 65536))
    return pl.concat(frames)


def frames_of(made: WrapRun, **others: object) -> Frames:
    """The frames that the machine's exports hold."""
    frames = {"readings": {"wrap1": made.readings}, "batches": made.batches, "reels": made.reels}
    return Frames(**(frames | others))


def scope_of(made: WrapRun) -> Scope:
    """The whole of the simulated time."""
    return Scope("line1", "wrap1", Period(START, made.end), made.end, "the simulated days")
