"""A simulated shift, and the shift's answer asked of it."""

from datetime import datetime, timedelta

import polars as pl

from lineview.core.figure import Period
from lineview.core.frames import BATCHES, PLAN
from lineview.plant import Line, Machine, Plant, Product, Web
from lineview.report.answer import Answer, Scope
from tests import factories
from tests.from_frames import Frames, answered
from tests.simulate.wrapper import EARLY, START, Run, machine, readings, simulate

END = START + timedelta(hours=8)
RUN = simulate(7)
FRAME = readings(RUN, 10, seed=7)


def product(name: str, *allergens: str) -> Product:
    return factories.product(name, *allergens, base="soft" if name < "m" else "hard", mass_tolerance_g=0.5)


def works(wrapper: Machine | None = None) -> Plant:
    film = Web(
        id="film", kind="film", cut_length_mm=56, width_mm=90, reel_outer_mm=300, reel_core_mm=76,
        reel_length_m=2876,
    )  # fmt: skip
    return Plant(
        shop="Invented Sweets",
        shifts=(EARLY,),
        lines=(Line(id="1"),),
        machines=(wrapper or machine(name="Cut-and-wrap 1"),),
        webs=(film,),
        products=(product("lime"), product("mint"), product("nut", "nuts"), product("almond", "nuts")),
    )


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
    planned = [
        {"product": name, "start": hours(start), "end": hours(end), "pieces": float(pieces)}
        for name, start, end, pieces in rows
    ]
    return factories.rows(PLAN, planned, line="1")


def sheet(*rows: tuple[float, str]) -> pl.DataFrame:
    batches = [{"batch": f"b{k}", "product": name, "start": hours(h)} for k, (h, name) in enumerate(rows)]
    return factories.rows(BATCHES, batches, line="1", mass_in_kg=22.7)


def hours(after: float) -> datetime:
    return START + timedelta(hours=after)


def table(answer: Answer, name: str) -> list[dict[str, object]]:
    return [dict(row) for t in answer.tables if t.name == name for row in t.rows]


def made(run: Run, start_s: float, end_s: float) -> int:
    good = (run.pieces > start_s) & (run.pieces <= end_s)
    before = (run.pieces <= start_s).sum()
    return int(good.sum()) - int((before + good.sum()) // 80 - before // 80)
