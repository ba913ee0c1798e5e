"""What a simulated line is, each number changeable; the demo's two lines; what shifts leave. All invented."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from lineview.plant import WEEK, Plant, Product, Shift, Web


@dataclass(frozen=True)
class StopCause:
    """A cause of stops: how often [1/running hour], how long (median [s], sigma of the logarithm).

    `growth_per_h` is the share by which the rate grows each running hour.
    """

    reason: str
    per_hour: float
    median_s: float
    sigma: float
    growth_per_h: float = 0.0


@dataclass(frozen=True)
class Adjustment:
    """A turn of a roller pair after so many running hours; unrecorded ones appear in no export."""

    after_h: float
    step_mm: float
    recorded: bool = True
    what: str = "adjusted roller pair 3"


@dataclass(frozen=True)
class SlowStretch:
    """A stretch at a lower rate, its start [h] into the shift of this number (from 0)."""

    shift: int
    after_h: float
    minutes: float
    per_min: float


STOP_CAUSES = (
    StopCause("film break", 0.50, 95.0, 0.6),
    StopCause("paper break", 0.55, 80.0, 0.6),
    StopCause("jam at knife", 0.60, 120.0, 0.8),
    StopCause("waiting for rope", 0.45, 70.0, 0.7),
    StopCause("ends not closing", 0.35, 50.0, 0.5),
    StopCause("drive fault", 0.08, 560.0, 0.45),
)


@dataclass(frozen=True)
class LineSpec:
    """A line: lengths in mm or m, masses in g or kg, times in s or h, as each name ends.

    `line`, `sizer`, `wrap`: ids in the plant description; `products`: what runs on it; flavours follow each other
    in random order; `webs`: their films and wax paper; `wear_mm_per_h`: drift of the diameter per running hour of
    the sizer; `sd_batch_mm`, `sd_noise_mm`: standard deviation of each batch's shift, and of the correlated noise
    within it; `phi_per_20s`: autocorrelation of that noise 20 s apart; `taper_mm`: change of diameter from a
    batch's first piece to its last; `mm_per_c`, `temperature_c`: effect of rope temperature, and its usual value;
    `sd_density_batch`, `sd_density_piece`, `sd_cut`: relative standard deviations of density (batch, piece) and
    cut length (piece); `sd_rate`: relative standard deviation of the rate from one run between stops to the next;
    `least_stop_s`, `least_run_s`: no stop for a cause, and no run from one such stop to the next, is shorter;
    `sd_start_m`, `sd_end_m`, `sd_splice_m`: standard deviations of the web lost where a reel starts, left where
    it ends, and lost at a splice; `splice_stop_s`: median of the stop at a splice.
    """

    line: str
    sizer: str
    wrap: str
    products: tuple[Product, ...]
    webs: tuple[Web, ...]
    set_per_min: float = 352.0
    sd_rate: float = 0.0
    batch_kg: float = 22.7
    scrap_share: float = 0.012
    campaign_batches: tuple[int, int] = (4, 8)
    pause_s: float = 22.0
    changeover_s: float = 360.0
    base_change_factor: float = 1.4
    clean_down_factor: float = 2.2
    wear_mm_per_h: float = 0.0
    level_mm: float = 0.0
    adjustments: tuple[Adjustment, ...] = ()
    sd_batch_mm: float = 0.05
    sd_noise_mm: float = 0.06
    phi_per_20s: float = 0.7
    taper_mm: float = -0.06
    mm_per_c: float = 0.012
    temperature_c: float = 34.0
    sd_density_batch: float = 0.006
    sd_density_piece: float = 0.006
    sd_cut: float = 0.022
    sd_gauge_mm: float = 0.012
    transport_s: float = 8.0
    stop_causes: tuple[StopCause, ...] = STOP_CAUSES
    least_stop_s: float = 8.0
    least_run_s: float = 0.0
    slow_stretches: tuple[SlowStretch, ...] = ()
    slow_stretches_per_shift: float = 0.7
    reject_share: float = 0.010
    reject_share_restart: float = 0.10
    restart_pieces: int = 40
    blanks_per_restart: float = 10.0
    slip_film: float = 0.004
    slip_paper: float = 0.002
    register_m: float = 2.5
    rethread_m: float = 0.8
    sd_reel_length: float = 0.004
    sd_start_m: float = 0.0
    sd_end_m: float = 0.0
    sd_splice_m: float = 0.0
    splice_stop_s: float = 32.0
    splices_per_reel: float = 0.5
    #: (kind of web, which new reel from 1, relative error of its true length)
    mislabelled: tuple[tuple[str, int, float], ...] = ()

    def film_of(self, product: Product) -> Web:
        """The product's film."""
        return next(w for w in self.webs if w.id in product.webs and w.kind == "film")

    def paper_of(self, product: Product) -> Web:
        """The product's wax paper."""
        return next(w for w in self.webs if w.id in product.webs and w.kind == "wax paper")


LINE_1_PRODUCTS = ("vanilla", "caramel", "hazelnut", "peppermint", "liquorice")
LINE_2_PRODUCTS = ("raspberry", "lemon", "pear", "vanilla", "peppermint")


def demo_plant_text() -> str:
    """The demo's plant.toml as text."""
    return files("lineview.demo").joinpath("plant.toml").read_text(encoding="utf-8")


def demo_plant() -> Plant:
    """The demo's plant description."""
    return Plant.model_validate(tomllib.loads(demo_plant_text()))


def line_specs(plant: Plant) -> tuple[LineSpec, LineSpec]:
    """The two lines: the first sizer wears and is adjusted, the second is steady but once touched.

    The first line's ninth wax-paper reel holds 5.5 % less than its label says. On the second line the
    knife jams more and more often.
    """
    growing = tuple(
        StopCause(c.reason, c.per_hour, c.median_s, c.sigma, 0.015 if c.reason == "jam at knife" else 0.0)
        for c in STOP_CAUSES
    )
    later = tuple(Adjustment(75.0 + 45.0 * i, -0.28 if i == 0 else -0.25) for i in range(40))
    first = LineSpec(
        "line1", "sizer1", "wrap1", _products(plant, LINE_1_PRODUCTS), plant.webs,
        wear_mm_per_h=0.0055, level_mm=-0.04, mislabelled=(("wax paper", 9, -0.055),),
        adjustments=(Adjustment(24.0, -0.13), *later),
    )  # fmt: skip
    second = LineSpec(
        "line2", "sizer2", "wrap2", _products(plant, LINE_2_PRODUCTS), plant.webs,
        wear_mm_per_h=0.0, level_mm=0.01, temperature_c=36.0, stop_causes=growing,
        adjustments=(Adjustment(31.0, 0.16, recorded=False, what="turned roller pair 4, not written down"),),
    )  # fmt: skip
    return first, second


def _products(plant: Plant, ids: tuple[str, ...]) -> tuple[Product, ...]:
    return tuple(p for p in plant.products if p.id in ids)


@dataclass(frozen=True)
class Window:
    """One shift: its id, its date, its edges and those of its breaks [s since 1970, UTC]."""

    shift: str
    date: date
    start_s: float
    end_s: float
    breaks: tuple[tuple[float, float], ...] = ()


def windows(plant: Plant, start: date, days: int) -> list[Window]:
    """The plant's shifts that start within these days, in order."""
    shifts = []
    for offset in range(days):
        day = start + timedelta(days=offset)
        for shift in plant.shifts:
            if WEEK[day.weekday()] in shift.days:
                shifts.append(_window(shift, day, plant.tz))
    return sorted(shifts, key=lambda w: w.start_s)


def _window(shift: Shift, day: date, zone: ZoneInfo) -> Window:
    def moment(at: time) -> float:
        # A wall time before the shift's start is one of the next day.
        on = day if at >= shift.start else day + timedelta(days=1)
        return datetime.combine(on, at, zone).timestamp()

    end = moment(shift.end) if shift.end != shift.start else moment(shift.start) + 86400.0
    breaks = tuple((moment(b.start), moment(b.end)) for b in shift.breaks)
    return Window(shift.id, day, moment(shift.start), end, breaks)


Floats = NDArray[np.float64]
GOOD, REJECT, BLANK = 0, 1, 2
MOVING = ("running", "slow")


@dataclass
class Stretch:
    """A stretch of a wrap machine's clock in one state; `cycles` from `first` are those it made."""

    t0: float
    t1: float
    state: str
    reason: str = ""
    batch: str = ""
    first: int = 0
    cycles: int = 0
    blanks: int = 0
    rope_m: float = 0.0
    diameter_mm: Floats | None = None
    temperature_c: Floats | None = None

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.t1 - self.t0


@dataclass(frozen=True)
class Feed:
    """Web fed without cycles: from `t0` for `seconds`, `metres` of it, and why."""

    t0: float
    seconds: float
    kind: str
    metres: float
    cause: str
    web: str = ""


@dataclass
class ShiftTruth:
    """One shift of one line, whole: where the minutes went and what every cycle gave."""

    window: Window
    stretches: list[Stretch] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)
    kinds: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))
    masses_g: Floats = field(default_factory=lambda: np.empty(0))

    def count(self, kind: int) -> int:
        """How many cycles were of this kind."""
        return int(np.count_nonzero(self.kinds == kind))

    def seconds(self, state: str) -> float:
        """The seconds in this state."""
        return float(sum(s.seconds for s in self.stretches if s.state == state))
