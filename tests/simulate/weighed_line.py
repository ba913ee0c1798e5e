"""An invented line with weights, a batch sheet and a piece counter, for the tests of the weight answer."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from lineview.core.figure import Period
from lineview.core.frames import BATCHES, WEIGHTS, empty
from lineview.plant import Counter, Gauge, Line, Machine, Plant, Product, Web
from lineview.report.answer import Scope
from tests import factories
from tests.from_frames import Frames

START = datetime(2026, 6, 9, 4, tzinfo=UTC)
HOURS = 8
END = START + timedelta(hours=HOURS)


def web(**changes: object) -> Web:
    usual: dict[str, object] = {
        "id": "film", "kind": "film", "cut_length_mm": 60, "width_mm": 80, "grammage_g_m2": 32.5,
        "reel_outer_mm": 300, "reel_core_mm": 76,
    }  # fmt: skip
    return Web.model_validate({k: v for k, v in (usual | changes).items() if v is not None})


def product(name: str, mass_g: float = 6.57, **changes: object) -> Product:
    usual: dict[str, object] = {
        "flavour": name.title(), "mass_g": mass_g, "mass_tolerance_g": 0.6, "diameter_tolerance_mm": 0.4,
        "cut_length_mm": 35, "webs": ("film",),
    }  # fmt: skip
    return factories.product(name, **(usual | changes))


def plant(*products: Product, webs: tuple[Web, ...] | None = None) -> Plant:
    pieces = Counter(id="pieces", counts="pieces", modulus=65536, fastest_per_min=450)
    rope = Counter(id="rope", counts="rope", modulus=1000000, fastest_per_min=2000, unit_value=0.01)
    gauge = Gauge(id="diameter", measures="rope diameter", unit="mm")
    return Plant(
        shop="Invented works",
        lines=(Line(id="line1"),),
        machines=(
            Machine(id="wrap1", kind="cut-and-wrap machine", line="line1", counters=(pieces,)),
            Machine(id="sizer1", kind="sizer", line="line1", counters=(rope,), gauges=(gauge,)),
        ),
        webs=(web(),) if webs is None else webs,
        products=products or (product("mint"),),
    )


def batch_sheet(
    count: int, products: tuple[str, ...] = ("mint",), every_min: float = 12, mass_in_kg: float | None = 22.7
) -> pl.DataFrame:
    starts = [START + timedelta(minutes=every_min * b) for b in range(count)]
    length = timedelta(minutes=every_min - 2)
    batches = [
        {"batch": f"B{b}", "product": products[b % len(products)], "start": at, "end": at + length}
        for b, at in enumerate(starts)
    ]
    return factories.rows(BATCHES, batches, line="line1", mass_in_kg=mass_in_kg)


def weights(
    batches: int = 20,
    samples: tuple[float, ...] = (2, 5, 8),
    each: int = 5,
    *,
    mean: float = 6.62,
    between: float = 0.11,
    within: float = 0.25,
    seed: int = 1,
    pieces: int = 1,
    every_min: float = 12,
    gross: bool = False,
    digits: int = 2,
) -> pl.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for b in range(batches):
        batch_mean = mean + rng.normal(0, between)
        for minute in samples:
            for _ in range(each):
                at = START + timedelta(minutes=every_min * b + minute)
                mass = pieces * batch_mean + rng.normal(0, within) * np.sqrt(pieces)
                rows.append(("wrap1", at, round(mass, digits), pieces, gross, "", "", 1, len(rows) + 2))
    return pl.DataFrame(rows, schema=WEIGHTS, orient="row")


def counted(rate_per_min: float = 330.0) -> pl.DataFrame:
    ten_s = np.arange(HOURS * 360 + 1)
    at = factories.moments(START.timestamp() + 10.0 * ten_s)
    return factories.readings("wrap1", "pieces", at, np.floor(ten_s * (rate_per_min / 6)) % 65536)


def scope() -> Scope:
    return Scope("line1", "wrap1", Period(START, END), END, "Tue 9 June, early")


def frames(
    weighed: pl.DataFrame | None = None,
    sheet: pl.DataFrame | None = None,
    readings: dict[str, pl.DataFrame] | None = None,
) -> Frames:
    return Frames(
        readings=readings if readings is not None else {"wrap1": counted()},
        weights=empty(WEIGHTS) if weighed is None else weighed,
        batches=batch_sheet(40) if sheet is None else sheet,
    )
