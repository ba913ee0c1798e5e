"""The exports of a week: batch sheet, stop logs, reel log, weighings, stock, plan, thermometer."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TypeVar

from lineview.demo import paper_exports as paper
from lineview.demo.day import wall, week_of
from lineview.demo.shelf import Counted, count_stock
from lineview.demo.sizer_exports import write_scanner
from lineview.demo.weighing import write_weights1, write_weights2
from lineview.demo.works import Works

T = TypeVar("T")


def write_weeks(works: Works, folder: Path, start: date, days: int) -> list[Counted]:
    """Write every weekly export and give the stock counts.

    Parameters
    ----------
    works : Works
        After its last day.
    folder : pathlib.Path
        Where exports go.
    start : datetime.date
        The first day.
    days : int
        How many days there were.

    Returns
    -------
    list of Counted
        What was counted.
    """
    zone = works.plant.tz
    lines = [run.truth for run in works.runs]
    batches = [(t.spec.line, b) for t in lines for b in t.batches]
    for week, sheet in _weeks(works, batches, lambda b: b[1].start_s or 0.0):
        paper.write_batches(sheet, folder / f"batches_{week}.xlsx", zone)
        write_scanner([b for line, b in sheet if line == lines[1].spec.line], folder / f"scanner_{week}.csv")
    for week, stops in _weeks(works, works.stops[0], lambda s: s[1]):
        paper.write_stops1(stops, folder / f"stops1_{week}.csv", zone)
    for week, stops in _weeks(works, works.stops[1], lambda s: s[1]):
        paper.write_stops2(stops, folder / f"stops2_{week}.tsv", zone)
    mounts = sorted((m for t in lines for m in t.mounts), key=lambda m: m.at_s)
    for week, reels in _weeks(works, mounts, lambda m: m.at_s):
        paper.write_reels(reels, folder / f"reels_{week}.csv", zone)
    for week, rows in _weeks(works, works.weighed[0], lambda w: w.at_s):
        write_weights1(rows, folder / f"weights1_{week}.txt", zone)
    for week, rows in _weeks(works, works.weighed[1], lambda w: w.at_s):
        write_weights2(rows, folder / f"weights2_{week}.ods", zone)
    for week, hall in works.hall.items():
        text = "\n".join(["Hall thermometer, invented data", "Date & time\tProbe A (C)\tProbe B (F)", *hall])
        (folder / f"hall_{week}.txt").write_text(text + "\n", encoding="utf-8")
    _plans(works, folder)
    return _counts(works, folder, start, days)


def _weeks(works: Works, rows: Iterable[T], at: Callable[[T], float]) -> Iterable[tuple[str, list[T]]]:
    found: dict[str, list[T]] = defaultdict(list)
    for row in sorted(rows, key=at):
        found[week_of(wall(at(row), works.plant.tz).date())].append(row)
    return found.items()


def _plans(works: Works, folder: Path) -> None:
    for week in sorted({w for w, _, _ in works.made}):
        made = sorted((line, product, n) for (w, line, product), n in works.made.items() if w == week)
        monday = date.fromisocalendar(int(week[:4]), int(week[6:]), 1)
        paper.write_plan(made, monday, folder / f"plan_{week}.csv")


def _counts(works: Works, folder: Path, start: date, days: int) -> list[Counted]:
    """Count the shelf on Monday mornings (a workbook) and Friday nights (a list)."""
    zone = works.plant.tz
    mounts = [m for run in works.runs for m in run.truth.mounts]
    begin = datetime.combine(start, time(5, 30), zone).timestamp()
    counted = []
    for day in (start + timedelta(days=n) for n in range(days)):
        if day.weekday() == 0 or day == start:
            rows = count_stock(
                works.plant, mounts, begin, datetime.combine(day, time(5, 30), zone).timestamp()
            )
            paper.write_stock_sheet(rows, folder / f"stock_{day}.xlsx", zone)
            counted += rows
        elif day.weekday() == 4:
            rows = count_stock(
                works.plant, mounts, begin, datetime.combine(day, time(22, 30), zone).timestamp()
            )
            paper.write_stock_list(rows, folder / f"stock_{day}.csv", zone)
            counted += rows
    return counted
