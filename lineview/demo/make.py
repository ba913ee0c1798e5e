"""Make the demo: an invented works' plant.toml, its exports, and the truth beside them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import groupby
from pathlib import Path

import numpy as np

from lineview.demo.exports import (
    gaps_of,
    hall_rows,
    write_sizer1,
    write_sizer2,
    write_unknown,
    write_wrap1,
    write_wrap2,
)
from lineview.demo.files import week_of
from lineview.demo.line import LineRun
from lineview.demo.spec import ShiftTruth, Window, demo_plant, demo_plant_text, line_specs, windows
from lineview.demo.truth import CounterTruth, LineDay, StockCount, Totals, write_truth
from lineview.demo.weighing import BenchWeighing, batch_pieces, weigh, wrap_mass_g
from lineview.demo.written_records import Works, write_weekly_exports

NOTICE = """INVENTED DATA

Everything in this folder is made by lineview's own line simulator: the works, its flavours, its machines,
its suppliers and every number are invented. Any likeness to a real works is chance.

plant.toml   the plant description, with a layout for every kind of export
exports/     what the machines and people of the works wrote down, awkwardly, each in its own way
unknown/     an export that no layout fits yet
truth/       what really happened; truth.json says what each word means
"""


def make_demo(into: Path, *, days: int = 7, seed: int = 1, start: date = date(2026, 6, 8)) -> None:
    """Write a demo works: plant.toml, exports/, unknown/ and truth/.

    Parameters
    ----------
    into : pathlib.Path
        The folder, made where it is missing.
    days : int
        How many days of shifts.
    seed : int
        The same seed gives the same bytes.
    start : datetime.date
        The first day; a Monday shows most.
    """
    for name in ("exports", "unknown", "truth"):
        (into / name).mkdir(parents=True, exist_ok=True)
    (into / "README.txt").write_text(NOTICE, encoding="utf-8")
    (into / "plant.toml").write_text(demo_plant_text(), encoding="utf-8")
    plant = demo_plant()
    specs = line_specs(plant)
    works = Works(plant, [LineRun(s, seed) for s in specs], np.random.default_rng([seed, 99]), [Totals(), Totals()])
    for number, shifts in _by_day(windows(plant, start, days), start):
        _day(works, number, shifts, into / "exports")
    counts = write_weekly_exports(works, into / "exports", start, days)
    write_unknown(into / "unknown", seed, start)
    _finish(works, into / "truth", counts, {"seed": seed, "days": days, "start": start.isoformat()})


def _by_day(every: list[Window], start: date) -> Iterator[tuple[int, list[Window]]]:
    for day, shifts in groupby(every, key=lambda w: w.date):
        yield (day - start).days, list(shifts)


def _day(works: Works, number: int, shifts: list[Window], folder: Path) -> None:
    days = []
    for i, run in enumerate(works.runs):
        lived = [run.shift(w) for w in shifts]
        counters = CounterTruth(run.spec, lived, works.totals[i])
        works.totals[i] = counters.totals()
        products = {b.id: b.product.id for b in run.truth.batches}
        day = LineDay(run.spec, number, shifts[0].date, counters, works.rng, works.counts_at_reset, products)
        pieces = [p for shift in lived for p in batch_pieces(shift)]
        works.truth.add(day, gaps_of(day), pieces)
        for p in pieces:
            works.good_by_week[week_of(day.date), run.spec.line, products[p.batch]] += p.good
        works.stops[i] += list(_stop_log(day))
        for shift in lived:
            works.weighed[i] += _bench_weighings(works, i, day, shift)
        days.append(day)
    first, second = days
    write_wrap1(first, folder, works.plant.tz)
    write_wrap2(second, folder, works.plant.tz)
    write_sizer1(first, folder)
    write_sizer2(second, folder)
    works.hall.setdefault(week_of(first.date), []).extend(hall_rows(first, second, works.plant.tz))


def _bench_weighings(works: Works, i: int, day: LineDay, shift: ShiftTruth) -> list[BenchWeighing]:
    if i == 0:
        tare = wrap_mass_g(day.spec, day.spec.products[0])
        return weigh(shift, works.rng, scattered=6, tare_g=tare)
    return weigh(shift, works.rng, runs=(2, 4))


def _stop_log(day: LineDay) -> Iterator[tuple[str, float, float, str]]:
    """The stops that got written down: a minute or longer, and not quite all of them."""
    for s in day.stretches():
        if s.state not in ("short stop", "stop") or s.seconds < 60.0:
            continue
        if s.reason.startswith("adjusted"):
            yield day.spec.sizer, s.t0, s.t1, s.reason
            yield day.spec.wrap, s.t0, s.t1, "sizer being set"
        elif day.rng.random() < 0.93:
            yield day.spec.wrap, s.t0, s.t1, s.reason


def _finish(works: Works, folder: Path, counts: list[StockCount], scenario: dict[str, object]) -> None:
    write_truth(folder, works.truth, [r.truth for r in works.runs], counts, scenario)
