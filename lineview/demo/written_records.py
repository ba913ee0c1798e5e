"""What people write down, week by week: batches, stops, reels, weighings, stock counts, plan."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from lineview.demo.exports import CLOCK_FAST_S, write_scanner
from lineview.demo.files import Cell, serial, wall, week_of, write_xlsx
from lineview.demo.line import LineRun
from lineview.demo.reels import Mount
from lineview.demo.rope import Batch
from lineview.demo.truth import StockCount, Totals, TruthRows, count_stock
from lineview.demo.weighing import BenchWeighing, write_weights1, write_weights2
from lineview.plant import Plant

#: Machine, start and end [s since 1970], reason.
Stop = tuple[str, float, float, str]


@dataclass
class Works:
    """Both lines, their counters so far, and the rows of weekly exports gathered so far.

    `counts_at_reset` is what the second machine's counters stood at when last set back; `good_by_week` counts good
    pieces by week, line and product.
    """

    plant: Plant
    runs: list[LineRun]
    rng: np.random.Generator
    totals: list[Totals]
    counts_at_reset: dict[str, int] = field(default_factory=dict)
    truth: TruthRows = field(default_factory=TruthRows)
    weighed: list[list[BenchWeighing]] = field(default_factory=lambda: [[], []])
    stops: list[list[tuple[str, float, float, str]]] = field(default_factory=lambda: [[], []])
    hall: dict[str, list[str]] = field(default_factory=dict)
    good_by_week: Counter[tuple[str, str, str]] = field(default_factory=Counter)


def write_batches(batches: Sequence[tuple[str, Batch]], path: Path, zone: ZoneInfo) -> None:
    """Write the batch sheet: XLSX with date cells, German flavours, an empty row and a total."""
    rows: list[Sequence[Cell]] = [["Chargenblatt (erfundene Daten)"], []]
    rows.append(["Beginn", "Ende", "Linie", "Charge", "Sorte", "Einwaage kg", "Bemerkung"])
    for line, batch in batches:
        start, end = (wall(t or 0.0, zone).replace(microsecond=0) for t in (batch.start_s, batch.end_s))
        rows.append([start, end, line, batch.id, batch.product.also_called[0], batch.mass_in_kg, None])
    rows.append([None, None, None, None, "Summe", round(sum(b.mass_in_kg for _, b in batches), 2), None])
    write_xlsx(path, {"Chargen": rows})


def write_stops1(stops: Sequence[Stop], path: Path, zone: ZoneInfo) -> None:
    """Write the first line's stop book: by hand to the minute, spreadsheet serials in a text file."""
    lines = ["von;bis;Dauer min;Maschine;Grund"]
    for machine, start, end, reason in stops:
        first, last = math.floor(start / 60.0) * 60.0, math.ceil(end / 60.0) * 60.0
        stamps = [f"{serial(t, zone):.6f}".replace(".", ",") for t in (first, last)]
        lines.append(f"{';'.join(stamps)};{round((last - first) / 60.0)};{machine};{reason}")
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("cp1252"))


def write_stops2(stops: Sequence[Stop], path: Path, zone: ZoneInfo) -> None:
    """Write the second line's stop log: to the second, by the clock that is fast, a tab between cells."""
    lines = ["machine\tstart\tend\treason"]
    for machine, start, end, reason in stops:
        first, last = (wall(t + CLOCK_FAST_S, zone).isoformat(timespec="seconds") for t in (start, end))
        lines.append(f"{machine}\t{first}\t{last}\t{reason}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_reels(mounts: Sequence[Mount], path: Path, zone: ZoneInfo) -> None:
    """Write the reel log: semicolons, Windows-1252, decimal comma and a dot for thousands."""
    lines = ["Maschine;eingelegt;Bahn;Rolle;Länge laut Etikett m;Klebestellen;Rest der alten Rolle m"]
    for m in mounts:
        remainder = "" if m.noted_left_m is None else _german(m.noted_left_m)
        at = f"{wall(m.at_s, zone):%d.%m.%Y %H:%M:%S}"
        lines.append(f"{m.machine};{at};{m.web};{m.reel};{_german(m.label_m)};{m.splices};{remainder}")
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("cp1252"))


def _german(value: float) -> str:
    return f"{value:,.1f}".translate(str.maketrans(",.", ".,"))


def write_stock_sheet(rows: Sequence[StockCount], path: Path, zone: ZoneInfo) -> None:
    """Write a stock count as XLSX."""
    cells: list[Sequence[Cell]] = [
        ["Gezählt", "Bahn", "Ganze Rollen", "Angebrochene Ø mm", "Bestellt Rollen", "Erwartet am"]
    ]
    for r in rows:
        due = wall(r.expected_s, zone).replace(hour=0, minute=0, second=0, microsecond=0) if r.expected_s else None
        cells.append([wall(r.at_s, zone), r.web, r.whole_reels, r.part_outer_mm, r.on_order or None, due])
    write_xlsx(path, {"Lager": cells, "Notizen": [["erfundene Daten"]]})


def write_stock_list(rows: Sequence[StockCount], path: Path, zone: ZoneInfo) -> None:
    """Write a stock count as a semicolon list."""
    lines = ["counted;web;whole;part_mm;ordered;due"]
    for r in rows:
        due = f"{wall(r.expected_s, zone):%d.%m.%Y}" if r.expected_s else ""
        part = f"{r.part_outer_mm:.0f}" if r.part_outer_mm else ""
        lines.append(f"{wall(r.at_s, zone):%d.%m.%Y %H:%M};{r.web};{r.whole_reels};{part};{r.on_order or ''};{due}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_plan(output: Sequence[tuple[str, str, int]], monday: date, path: Path, weeks: int = 4) -> None:
    """Write a plan: what was made, rounded up to thousands, growing 3 % a week."""
    lines = ["line,product,from,until,pieces"]
    for week in range(weeks):
        begin = monday + timedelta(days=7 * week)
        end = begin + timedelta(days=5)
        for line, product, pieces in output:
            target = math.ceil(pieces * 1.03 ** (week + 1) / 1000.0) * 1000
            lines.append(f'{line},{product},{begin},{end},"{target:,}"')
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


T = TypeVar("T")


def write_weekly_exports(works: Works, folder: Path, start: date, days: int) -> list[StockCount]:
    """Write every weekly export and give the stock counts."""
    zone = works.plant.tz
    lines = [run.truth for run in works.runs]
    batches = [(t.spec.line, b) for t in lines for b in t.batches]
    for week, sheet in _weeks(works, batches, lambda b: b[1].start_s or 0.0):
        write_batches(sheet, folder / f"batches_{week}.xlsx", zone)
        write_scanner([b for line, b in sheet if line == lines[1].spec.line], folder / f"scanner_{week}.csv")
    for week, stops in _weeks(works, works.stops[0], lambda s: s[1]):
        write_stops1(stops, folder / f"stops1_{week}.csv", zone)
    for week, stops in _weeks(works, works.stops[1], lambda s: s[1]):
        write_stops2(stops, folder / f"stops2_{week}.tsv", zone)
    mounts = sorted((m for t in lines for m in t.mounts), key=lambda m: m.at_s)
    for week, reels in _weeks(works, mounts, lambda m: m.at_s):
        write_reels(reels, folder / f"reels_{week}.csv", zone)
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
    by_week: dict[str, list[T]] = defaultdict(list)
    for row in sorted(rows, key=at):
        by_week[week_of(wall(at(row), works.plant.tz).date())].append(row)
    return by_week.items()


def _plans(works: Works, folder: Path) -> None:
    for week in sorted({w for w, _, _ in works.good_by_week}):
        output = sorted((line, product, n) for (w, line, product), n in works.good_by_week.items() if w == week)
        monday = date.fromisocalendar(int(week[:4]), int(week[6:]), 1)
        write_plan(output, monday, folder / f"plan_{week}.csv")


def _counts(works: Works, folder: Path, start: date, days: int) -> list[StockCount]:
    """Count the shelf on Monday mornings (a workbook) and Friday nights (a list)."""
    zone = works.plant.tz
    mounts = [m for run in works.runs for m in run.truth.mounts]
    begin = datetime.combine(start, time(5, 30), zone).timestamp()
    counts = []
    for day in (start + timedelta(days=n) for n in range(days)):
        if day.weekday() == 0 or day == start:
            rows = count_stock(works.plant, mounts, begin, datetime.combine(day, time(5, 30), zone).timestamp())
            write_stock_sheet(rows, folder / f"stock_{day}.xlsx", zone)
            counts += rows
        elif day.weekday() == 4:
            rows = count_stock(works.plant, mounts, begin, datetime.combine(day, time(22, 30), zone).timestamp())
            write_stock_list(rows, folder / f"stock_{day}.csv", zone)
            counts += rows
    return counts
