"""Answers asked of frames of small invented works, each odd in another way, for what is written down."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl

from lineview.app.bags import net_contents_tables
from lineview.core.figure import Period
from lineview.core.frames import ADJUSTMENTS, BATCHES, REELS, STOP_LOG, empty
from lineview.order.answer import answer_order
from lineview.order.tables import supplier_sheet, suppliers_due
from lineview.order.what_if import WhatIf
from lineview.plant import Gauge, Plant
from lineview.plant.model import PriceStep
from lineview.records.output import DAILY_OUTPUT
from lineview.report.answer import Answer, Scope
from lineview.wrap.tables import claim_sheet, suppliers_claimed
from tests import factories
from tests.from_frames import Frames, answered, inputs
from tests.order.test_order_answer import counted, planned, with_webs
from tests.simulate import odd_shifts, odd_weights, rope, rope_conditions, shift, webs, weighed_line, wrapper
from tests.simulate.exported_rope import exported_rope
from tests.simulate.exported_rope import works as exported_works
from tests.simulate.rope_conditions import CONDITIONS as ROPES

Asked = tuple[str, Answer, Plant]


def answers_of_frames() -> Iterator[Asked]:
    """Each answer with its name and works."""
    yield from _shifts_under_way()
    yield from _shifts()
    yield from _ropes()
    yield from _weights()
    yield from _orders()
    yield from _webs()


def _shifts_under_way() -> Iterator[Asked]:
    for name, hours, days in (
        ("breakdowns in 4 % of stops", 5.5, 9), ("clumped stops", 2.0, 12), ("slow last hours", 7.6, 9),
        ("worsened this shift", 3.0, 26), ("better this shift", 5.0, 22), ("plain", 4.0, 2),
    ):  # fmt: skip
        weeks = odd_shifts.odd_weeks(3, odd_shifts.CONDITIONS[name], days=days)
        yield f"shift: {name} at {hours} h", weeks.answer(hours), odd_shifts.plant()


def _reels(*rows: tuple[float, str, float | None]) -> pl.DataFrame:
    """Reels of film by the hour they were put on, and what is left of the one before [m]."""
    mounts = [{"at": shift.hours(h), "reel": reel, "left_m": left, "splices": 1} for h, reel, left in rows]
    return factories.rows(REELS, mounts, machine="w1", web="film", length_m=2876.0)


def _stops(*rows: tuple[float, float, str]) -> pl.DataFrame:
    stops = [{"start": shift.hours(a), "end": shift.hours(a + m / 60), "reason": why} for a, m, why in rows]
    return factories.rows(STOP_LOG, stops, machine="w1")


def _shifts() -> Iterator[Asked]:
    plant, now = shift.works(), shift.hours(5.2)
    frame = shift.FRAME.filter(pl.col("at") < now)
    sheet = shift.sheet((-1, "lime"), (1.5, "nut"), (2.8, "mint"), (4.1, "almond"), (4.9, "lime"))
    plan = shift.plan(("lime", 0, 8, 60_000), ("nut", 0, 8, 50_000), ("mint", 0, 4, 20_000), ("pear", 0, 8, 9))
    logs = {"batches": sheet, "reels": _reels((0.2, "R1", None), (3.1, "R2", 12.0), (5.0, "R3", None))}
    logs |= {"stop_log": _stops((1.6, 9, "jam"), (2.9, 4, "film"), (6.0, 3, "jam"))}
    yield "shift: midway, with a plan and reels", shift.ask(frame, now=now, plan=plan, **logs), plant
    yield "shift: over, with a plan", shift.ask(plan=plan, **logs), plant
    short = shift.plan(("lime", 0, 8, 40_000))
    yield "shift: midway, plan met", shift.ask(frame, now=now, plan=short, **logs), plant
    yield "shift: a part of it", shift.ask(start=shift.hours(2), end=shift.hours(3.4), **logs), plant
    first = shift.FRAME.filter(pl.col("at") < shift.hours(0.1))
    yield "shift: just begun", shift.ask(first, now=shift.hours(0.1), plan=plan), plant
    breaks = {"start": shift.hours(3.05), "end": shift.hours(3.3)}
    yield "shift: a break alone", shift.ask(**breaks), plant
    gone = shift.FRAME.filter(~pl.col("at").is_between(shift.hours(4), shift.hours(7.5)))
    yield "shift: hours unread", shift.ask(gone, plan=plan, **logs), plant
    coarse = wrapper.readings(shift.RUN, 600, seed=7)
    yield "shift: read every ten minutes", shift.ask(coarse, **logs), plant
    pieces_alone = shift.FRAME.filter(pl.col("channel") == "pieces")
    yield "shift: rejects unread", shift.ask(pieces_alone, **logs), plant
    flavours = [factories.product(f"f{k}", *(("nuts",) if k % 3 == 0 else ()), base="ab"[k % 2]) for k in range(17)]
    many = plant.model_copy(update={"products": tuple(flavours)})
    rows = [(0.6 * k - 0.5, f"f{(5 * k) % 17}") for k in range(13)]
    all_planned = shift.plan(*((f"f{k}", 0, 8, 9_000) for k in range(17)))
    yield "shift: seventeen flavours", shift.ask(plant=many, batches=shift.sheet(*rows), plan=all_planned), many


def _ropes() -> Iterator[Asked]:
    plant, sheet = rope.works(), rope.sheet(90, 10)
    drift = rope.rope(90, wear=0.02, step=(40, 0.12), seed=3)
    yield "rope: wear and an adjustment", rope.ask(drift, sheet, rope.adjusted(400)), plant
    yield "rope: no batch sheet", rope.ask(drift.filter(pl.col("row") % 90 > 12)), plant
    yield "rope: eight batches", rope.ask(rope.rope(8, seed=4), rope.sheet(8, 10)), plant
    yield "rope: two batches", rope.ask(rope.rope(2, seed=4), rope.sheet(2, 10)), plant
    yield "rope: far out", rope.ask(rope.rope(60, wear=0.01, level=0.4, seed=5), rope.sheet(60, 10)), plant
    inches = drift.with_columns(pl.col("value") / 25.4)
    yield "rope: inches called mm", rope.ask(inches, sheet), plant
    stuck = drift.with_columns(pl.when(pl.col("row") > 900).then(14.02).otherwise(pl.col("value")).alias("value"))
    yield "rope: a gauge that stands still", rope.ask(stuck, sheet), plant
    wild = drift.with_columns(pl.when(pl.col("row") % 7 == 0).then(99.0).otherwise(pl.col("value")).alias("value"))
    yield "rope: readings of no rope", rope.ask(wild, sheet), plant
    gauges = (
        *(Gauge(id=f"d{k}", measures="rope diameter", unit="mm", pair=k, position_mm=100 * k) for k in (3, 4)),
        *(Gauge(id=f"v{k}", measures="roller speed", unit="mm/s", pair=k, roller_diameter_mm=90.0) for k in (3, 4)),
        Gauge(id="warm", measures="rope temperature", unit="°C"),
    )
    rolled, at, count = rope.works(gauges=gauges), drift["at"], drift.height
    rng, i = np.random.default_rng(8), np.arange(count)
    values = {
        "d4": drift["value"].to_numpy(),
        "d3": 1.4 * drift["value"].to_numpy() + 2e-5 * i,
        "v3": 101.0 + rng.normal(0, 0.3, count),
        "v4": 192.0 + rng.normal(0, 0.3, count),
        "warm": 36 + np.sin(i / 200) + rng.normal(0, 0.1, count),
    }
    yield (
        "rope: rollers, two gauges and a thermometer",
        rope.ask(pl.concat([rope.readings(at, v, name) for name, v in values.items()]), sheet, plant=rolled),
        rolled,
    )
    quick = [rope.START + timedelta(seconds=0.2 * k) for k in range(9_000)]
    ripple = 14 + 0.01 * np.sin(2 * np.pi * np.arange(9_000) * 0.2 / 1.47) + rng.normal(0, 0.01, 9_000)
    speed = rope.readings(quick[::25], 192.0 + rng.normal(0, 0.3, 360), "v4")
    rippled = pl.concat([rope.readings(quick, ripple, "d4"), speed])
    yield "rope: a ripple", rope.ask(rippled, rope.sheet(6, 5), plant=rolled), rolled
    for name in ("15 batches", "memory 0.9, 40 batches", "wear grown tenfold", "three steps of 2 sd", "heavy tails"):
        yield f"rope: {name}", _drawn_rope(rope_conditions.rope(ROPES[name], np.random.default_rng(6)), plant), plant
    begins = rope.START + timedelta(minutes=1)
    habits = [
        {"machine": "sizer2", "at": begins + timedelta(hours=2.5 * k), "what": f"pair {3 + k % 2}"} for k in range(6)
    ]
    kept_up = drift.with_columns(pl.col("value") - 0.05 * (pl.col("row") // 450))
    done = factories.rows(ADJUSTMENTS, habits, note="")
    yield "rope: adjusted again and again", rope.ask(kept_up, sheet, done), plant
    tested = plant.model_copy(update={"run_rules": (1, 2, 5, 6)})
    steady = rope_conditions.rope(ROPES["steady"], np.random.default_rng(2))
    yield "rope: run rules", _drawn_rope(steady, tested), tested
    two = rope.works(gauges=(rope.GAUGE, Gauge(id="end", measures="rope diameter", unit="mm")))
    other = drift["value"].to_numpy() * (1 + 4e-6 * i)
    both = pl.concat([rope.readings(at, drift["value"].to_numpy()), rope.readings(at, other, "end")])
    yield "rope: two gauges that drift apart", rope.ask(both, sheet, plant=two), two
    yield "rope: blocks of time", rope.ask(drift), plant
    unlike = plant.model_copy(update={"products": (*plant.products, factories.product("rose", diameter_mm=16))})
    yield "rope: which of two products is not known", rope.ask(drift, plant=unlike), unlike
    exported = exported_rope(4)
    yield "rope: pieces, warmth and a price", exported.answer(), exported_works()


def _drawn_rope(drawn: rope_conditions.Rope, plant: Plant) -> Answer:
    began = rope.START.timestamp()
    frame = factories.readings("sizer2", "dia", factories.moments(began + drawn.at_s), 14 + drawn.value_mm)
    batches = [{"batch": f"B{k}", "start": at} for k, at in enumerate(factories.moments(began + drawn.starts_s))]
    return rope.ask(frame, factories.rows(BATCHES, batches, line="1", product="mint"), plant=plant)


def _weights() -> Iterator[Asked]:
    for name in ("memory 0.6", "t3 pieces", "scale in steps of 0.5 g", "batches of uneven spread"):
        line = odd_weights.odd_line(2, odd_weights.CONDITIONS[name])
        yield f"weight: {name}", answered("weight", line.plant, weighed_line.scope(), line.frames), line.plant
    priced = weighed_line.product("mint", price_per_kg=4.0, bag_g=(150, 250))
    plant, rules = weighed_line.plant(priced), net_contents_tables()
    few = weighed_line.weights(3)
    for name, weighed in {
        "three batches": few,
        "two pieces": few.head(2),
        "pieces together, with their wraps": weighed_line.weights(pieces=10, gross=True),
        "far too light": weighed_line.weights(mean=5.4),
        "far too heavy": weighed_line.weights(mean=7.4, within=0.05, between=0.02),
        "grams called kilograms": weighed_line.weights().with_columns(pl.col("mass_g") * 1000),
        "a scale that stands still": weighed_line.weights(within=0.0, between=0.0),
        "far-off ones": weighed_line.weights().with_columns(
            pl.when(pl.col("row") % 40 == 3).then(31.0).otherwise(pl.col("mass_g")).alias("mass_g")
        ),
    }.items():
        frames = replace(weighed_line.frames(weighed), net_contents=rules)
        yield f"weight: {name}", answered("weight", plant, weighed_line.scope(), frames), plant
    uncounted = replace(weighed_line.frames(weighed_line.weights(), readings={}), net_contents=rules)
    yield "weight: pieces uncounted", answered("weight", plant, weighed_line.scope(), uncounted), plant
    two = weighed_line.plant(priced, weighed_line.product("rose", 7.0, price_per_kg=5.5, bag_g=(200,)))
    both = weighed_line.frames(weighed_line.weights(30), weighed_line.batch_sheet(40, ("mint", "rose")))
    yield "weight: two flavours", answered("weight", two, weighed_line.scope(), replace(both, net_contents=rules)), two


NOW = datetime(2026, 6, 12, 9, 30, tzinfo=UTC)


def _history(weeks: int, product: str = "Plum", seed: int = 1, season: float = 0.0) -> pl.DataFrame:
    """Good pieces of five days a week up to today, rising and falling over a year."""
    rng = np.random.default_rng(seed)
    first = date(2026, 6, 12) - timedelta(weeks=weeks)
    days = [day for k in range(7 * weeks) if (day := first + timedelta(days=k)).weekday() < 5]
    swing = [1 + season * np.cos(2 * np.pi * (day - date(2026, 1, 1)).days / 365.25) for day in days]
    good = [float(round(90_000 * s * rng.uniform(0.8, 1.2))) for s in swing]
    rows = [("line1", day, product, n, n, n, 0.0, 900.0) for day, n in zip(days, good, strict=True)]
    return pl.DataFrame(rows, schema=DAILY_OUTPUT, orient="row")


def _orders() -> Iterator[Asked]:
    works = webs.wrap_line(1, days=2, every_s=120)
    scope = webs.scope_of(works)
    usual = with_webs(works, supplier="Invented Film", holding_percent_per_year=20, freight_per_order=80.0)
    cheap = with_webs(
        works, price_breaks=(PriceStep(from_reels=60, price_per_reel=30.0),), shelf_life_days=60, reels_per_pallet=20,
        under_delivery_percent=10, over_delivery_percent=10, supplier="Invented Film",
    )  # fmt: skip
    due = {"at": works.end, "web": "film", "on_order_reels": 40.0, "expected_on": works.end + timedelta(days=9)}
    plan = pl.concat([planned(works, "plum", 2_000_000), planned(works, "Birch", 900_000)])
    cases: dict[str, tuple[Plant, Frames]] = {
        "all there": (usual, webs.frames_of(works, stock=counted(works))),
        "a plan": (usual, webs.frames_of(works, stock=counted(works, film=80, **due), plan=plan)),
        "price breaks": (cheap, webs.frames_of(works, stock=counted(works, film=40, wax=300))),
        "overdue": (cheap, webs.frames_of(works, stock=counted(works, film=3, wax=3))),
        "no lead time": (with_webs(works, lead_time_days=None), webs.frames_of(works, stock=counted(works))),
        "no price": (with_webs(works, price_per_reel=None), webs.frames_of(works, stock=counted(works))),
        "nothing counted": (usual, webs.frames_of(works)),
        "nothing made": (usual, webs.frames_of(works, readings={})),
        "plan of the unknown": (usual, webs.frames_of(works, plan=planned(works, "pear", 5_000))),
        "a plan that disagrees": (usual, webs.frames_of(works, plan=pl.concat([plan, planned(works, "plum", 1e6)]))),
    }
    for name, (plant, frames) in cases.items():
        answer = answered("order", plant, scope, frames)
        yield f"order: {name}", answer, plant
        for supplier in suppliers_due(answer, plant):
            yield f"order: {name}, for {supplier}", supplier_sheet(answer, supplier, plant), plant
    known = inputs("order", usual, scope, cases["a plan"][1])
    for name, supposed in {
        "a longer lead": WhatIf("film", lead_days=35.0, price=30.0), "half the need": WhatIf(need_percent=50.0),
        "less risk": WhatIf(risk_percent=1.0, lead_days=10.0), "a count": WhatIf("film", counted_reels=20.0),
    }.items():  # fmt: skip
        yield f"order: what if {name}", answer_order(usual, scope, replace(known, what_if=supposed)), usual
    night = pl.col("at").dt.hour().is_between(6, 19)
    unseen = webs.frames_of(works, readings={"wrap1": works.readings.filter(night)}, stock=counted(works))
    yield "order: nights unread", answered("order", usual, scope, unseen), usual
    early = counted(works).with_columns(at=pl.lit(NOW - timedelta(days=30)).cast(pl.Datetime("us", "UTC")))
    long_ago = Scope("line1", "wrap1", Period(NOW - timedelta(days=1), NOW), NOW)
    of_days = Frames(made=_history(20), stock=early)
    yield "order: counted a month ago", answered("order", usual, long_ago, of_days), usual
    stock = counted(works, film=400, wax=2_000).with_columns(at=pl.lit(NOW).cast(pl.Datetime("us", "UTC")))
    for name, made in {
        "two weeks of history": _history(2),
        "a year of history": _history(52),
        "two years with a season": _history(110, season=0.3),
        "one flavour of long ago": pl.concat([_history(40), _history(3, "Birch", 2)]).sort("line", "date", "product"),
        "now and then": _history(60).filter(pl.col("date").dt.week() % 5 == 0),
    }.items():
        at = Scope("line1", "wrap1", Period(NOW - timedelta(days=1), NOW), NOW)
        yield f"order: {name}", answered("order", usual, at, Frames(made=made, stock=stock)), usual


def _webs() -> Iterator[Asked]:
    plain = webs.wrap_line(2, days=2, every_s=60, mislabelled=0.03, start_m=5.0, splice_m=2.0)
    for name, frames in {
        "a short reel": webs.frames_of(plain),
        "no reel log": webs.frames_of(plain, reels=empty(REELS)),
        "no batches": webs.frames_of(plain, batches=empty(BATCHES)),
        "one film": webs.frames_of(plain, reels=plain.reels.filter(pl.col("web") != "Wax").head(3)),
    }.items():
        answer = answered("wrap", plain.plant, webs.scope_of(plain), frames)
        yield f"wrap: {name}", answer, plain.plant
        for supplier in suppliers_claimed(answer):
            yield f"wrap: {name}, to {supplier}", claim_sheet(answer, supplier, plain.plant), plain.plant
    slipping = webs.wrap_line(3, days=1.5, every_s=60, blanks_counter=False, extra_per_wrap=0.02)
    answer = answered("wrap", slipping.plant, webs.scope_of(slipping), webs.frames_of(slipping))
    yield "wrap: blanks uncounted, film that slips", answer, slipping.plant
