"""A simulated shift, and the shift's answer asked of it."""

import sys
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl

from lineview.answers.answer import Answer, Scope
from lineview.columns import BATCHES, PLAN
from lineview.figure import Period
from lineview.plant import Line, Machine, Plant, Product, Web
from tests.from_frames import Frames, answered

sys.path.insert(0, str(Path(__file__).parent.parent / "truth"))
from clock_line import EARLY, START, Run, machine, readings, simulate

END = START + timedelta(hours=8)
RUN = simulate(7)
FRAME = readings(RUN, 10, seed=7)


def product(name: str, *allergens: str) -> Product:
    return Product(
        id=name,
        flavour=name,
        base="soft" if name < "m" else "hard",
        mass_g=6.8,
        mass_tolerance_g=0.5,
        diameter_mm=14,
        diameter_tolerance_mm=0.5,
        cut_length_mm=30,
        allergens=allergens,
    )


def works(own: Machine | None = None) -> Plant:
    return Plant(
        shop="Invented Sweets",
        shifts=(EARLY,),
        lines=(Line(id="1"),),
        machines=(own or machine(name="Cut-and-wrap 1"),),
        webs=(
            Web(
                id="film", kind="film", cut_length_mm=56, width_mm=90, reel_outer_mm=300, reel_core_mm=76,
                reel_length_m=2876,
            ),
        ),
        products=(product("lime"), product("mint"), product("nut", "nuts"), product("almond", "nuts")),
    )  # fmt: skip


def ask(
    frame: pl.DataFrame = FRAME,
    start: datetime = START,
    end: datetime = END,
    now: datetime = END,
    plant: Plant | None = None,
    **more: pl.DataFrame,
) -> Answer:
    scope = Scope("1", "w1", Period(start, end), now, "Tue 9 June, early")
    return answered("shift", plant or works(), scope, Frames({"w1": frame}, **more))


def plan(*rows: tuple[str, float, float, float]) -> pl.DataFrame:
    """Rows of product, start and end [h after START], pieces."""
    return pl.DataFrame(
        {
            "line": "1",
            "product": [r[0] for r in rows],
            "start": [START + timedelta(hours=r[1]) for r in rows],
            "end": [START + timedelta(hours=r[2]) for r in rows],
            "pieces": [float(r[3]) for r in rows],
            "intake": 1,
            "row": 1,
        }
    ).cast(dict(PLAN))  # type: ignore[arg-type]


def sheet(*rows: tuple[float, str]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "line": "1",
            "batch": [f"b{k}" for k in range(len(rows))],
            "product": [name for _, name in rows],
            "start": [START + timedelta(hours=h) for h, _ in rows],
            "end": None,
            "mass_in_kg": 22.7,
            "intake": 1,
            "row": 1,
        }
    ).cast(dict(BATCHES))  # type: ignore[arg-type]


def value(answer: Answer, name: str) -> float:
    figure = answer.figure(name)
    assert figure is not None
    assert isinstance(figure.value, int | float), figure.why_none
    return float(figure.value)


def table(answer: Answer, name: str) -> list[dict[str, object]]:
    return [dict(row) for t in answer.tables if t.name == name for row in t.rows]


def made(run: Run, start_s: float, end_s: float) -> int:
    good = (run.pieces > start_s) & (run.pieces <= end_s)
    before = (run.pieces <= start_s).sum()
    return int(good.sum()) - int((before + good.sum()) // 80 - before // 80)
