"""Twenty simulated shifts whose counters were read in trouble, as CSV exports with their truth. All invented.

Two lines work one early shift on each of ten days. Line A's machine counts pieces and rejects with 16 bits,
line B's good pieces and rejects with five digits. Each day has one kind of trouble. Readings are 10 s apart
from ten minutes before the shift to ten minutes after it, and the machine stands at both ends, so that the
count is decided by the readings unless the trouble leaves it open.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

Ints = NDArray[np.int64]

SHIFT_S = 8 * 3600
#: Seconds simulated and read before the shift's start and after its end.
BEFORE_S, AFTER_S = 1800, 600
EVERY_S = 10
RATE_PER_S = 352 / 60
REJECTED = 0.012
BATCH_S = 1200

PLANT = """
shop = "Invented Sweets (troubled counters)"
zone = "UTC"
currency = "EUR"
lines = [{ id = "A" }, { id = "B" }]

[[shifts]]
id = "early"
start = 06:00:00
end = 14:00:00
breaks = [{ start = 09:00:00, end = 09:15:00 }]

[[machines]]
id = "wrapA"
kind = "cut-and-wrap machine"
line = "A"
counters = [
  { id = "pieces", counts = "pieces", modulus = 65536, fastest_per_min = 450 },
  { id = "rejects", counts = "rejects", modulus = 65536, fastest_per_min = 450 },
  { id = "film", counts = "film", modulus = 1000000, fastest_per_min = 300, unit_value = 0.1 },
]

[[machines]]
id = "wrapB"
kind = "cut-and-wrap machine"
line = "B"
counters = [
  { id = "good", counts = "good pieces", modulus = 100000, fastest_per_min = 450 },
  { id = "rejects", counts = "rejects", modulus = 100000, fastest_per_min = 450 },
  { id = "film", counts = "film", modulus = 1000000, fastest_per_min = 300, unit_value = 0.1 },
]

[[machines]]
id = "sizerA"
kind = "sizer"
line = "A"
gauges = [{ id = "dia", measures = "rope diameter", unit = "mm" }]

[[machines]]
id = "sizerB"
kind = "sizer"
line = "B"
gauges = [{ id = "dia", measures = "rope diameter", unit = "mm" }]

[[products]]
id = "plum"
flavour = "Plum"
mass_g = 6.5
mass_tolerance_g = 0.5
diameter_mm = 15.0
diameter_tolerance_mm = 0.5
cut_length_mm = 28.0
price_per_kg = 3.0
webs = ["film"]

[[webs]]
id = "film"
kind = "film"
cut_length_mm = 56
width_mm = 76
grammage_g_m2 = 31
reel_outer_mm = 300
reel_core_mm = 76
reel_length_m = 2900
price_per_reel = 60
lead_time_days = 14
"""
LAYOUTS = """
[[layouts]]
id = "counters {line}"
files = "wrap{line}_*.csv"
machine = "wrap{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "count" = {{ to = "{counter}" }}, "rejects" = {{ to = "rejects" }}, "film" = {{ to = "film" }} }}

[[layouts]]
id = "rope {line}"
files = "sizer{line}.csv"
machine = "sizer{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "mm" = {{ to = "dia", unit = "mm" }} }}

[[layouts]]
id = "weights {line}"
kind = "weights"
files = "weights{line}.csv"
machine = "wrap{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "g" = {{ to = "mass_g", unit = "g" }}, "batch" = {{ to = "batch" }} }}
"""
SHEETS = """
[[layouts]]
id = "batch sheet"
kind = "batches"
files = "batches.csv"
time = "start"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."

  [layouts.columns]
  "line" = { to = "line" }
  "batch" = { to = "batch" }
  "product" = { to = "product" }
  "end" = { to = "end" }
  "kg" = { to = "mass_in_kg", unit = "kg" }

[[layouts]]
id = "stock sheet"
kind = "stock"
files = "stock.csv"
time = "counted"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = { "web" = { to = "web" }, "reels" = { to = "whole_reels" } }
"""


@dataclass
class Readings:
    """What one machine's export of one day will hold; counts go on for ever until `written`.

    `at` are seconds since the shift's start; `made` and `rejects` the true counts since the line was set up;
    `zero` what to take off each as counted, so that a reset shows; `film_m` is counted alike.
    """

    at: Ints
    made: Ints
    rejects: Ints
    runs: NDArray[np.bool_]
    shown: dict[str, NDArray[np.object_]]

    def drop(self, start: float, end: float) -> None:
        """Leave the rows from start to end [s] out."""
        kept = (self.at < start) | (self.at >= end)
        self.at, self.made, self.rejects, self.runs = (
            values[kept] for values in (self.at, self.made, self.rejects, self.runs)
        )
        self.shown = {name: cells[kept] for name, cells in self.shown.items()}

    def restart(self, at: float) -> None:
        """Let every counter start again from 0 just before the first reading from `at` [s] on.

        What was made between the reading before and the restart is then on no counter.
        """
        first = int(np.searchsorted(self.at, at))
        for cells in self.shown.values():
            cells[first:] -= cells[first]

    def place(self, at: float, rows: int, text: str) -> None:
        """Put a text in place of the counts of some rows from `at` [s] on."""
        first = int(np.searchsorted(self.at, at))
        for cells in self.shown.values():
            cells[first : first + rows] = text


@dataclass(frozen=True)
class Trouble:
    """What one day brings: `write` changes the readings.

    `open_s` are the seconds [s] whose pieces the readings do not decide; 0 where they decide the count all
    the same. `likely` says that the true count is the likeliest: the machine stood before and after what
    is open. `stands` are further stretches at a standstill [s since the start].
    """

    name: str
    write: Callable[[Readings], None]
    open_s: float = 0
    likely: bool = True
    stands: tuple[tuple[float, float], ...] = ()
    repeated: bool = False
    stands_at_ends: bool = True


def _nothing(_: Readings) -> None:
    """Leave the readings as they are."""


def _placeholders(readings: Readings) -> None:
    for at, text in ((3000, "65535"), (5400, "0"), (7205, "n/a"), (20000, "65535"), (24000, "")):
        readings.place(at, 1, text)


def _held_placeholder(readings: Readings) -> None:
    readings.place(9900, 6, "0")
    readings.place(15000, 6, "65535")


def _gap_with_reset(readings: Readings) -> None:
    readings.drop(10200, 10500)
    readings.restart(10500)


def _unread_night(readings: Readings) -> None:
    readings.drop(-BEFORE_S, 4)
    readings.drop(SHIFT_S - 4, SHIFT_S + AFTER_S + 1)


#: A standstill of twelve minutes in which counters are reset or not read.
STANDS = ((10000.0, 10720.0),)
TROUBLES = (
    Trouble("rollover", _nothing),
    Trouble("reset at speed", lambda r: r.restart(12005), open_s=10, likely=False),
    Trouble("reset at a standstill", lambda r: r.restart(10400), open_s=10, stands=STANDS),
    Trouble("gap at a standstill", lambda r: r.drop(10100, 10600), stands=STANDS),
    Trouble("gap at speed", lambda r: r.drop(12000, 12600)),
    Trouble("rollover within a gap", lambda r: r.drop(8000, 14400)),
    Trouble("gap of several turns", lambda r: r.drop(4000, 25600), open_s=21610, likely=False),
    Trouble("placeholders", _placeholders),
    Trouble("a placeholder for a minute", _held_placeholder),
    Trouble("duplicates", _nothing, repeated=True),
    Trouble("gap with a reset at a standstill", _gap_with_reset, open_s=310, stands=STANDS),
    Trouble("a night without readings", _unread_night, open_s=20, likely=False, stands_at_ends=False),
)


@dataclass(frozen=True)
class Case:
    """One shift and what really happened in it."""

    line: str
    machine: str
    token: str
    good: int
    trouble: Trouble

    def __str__(self) -> str:
        return f"{self.machine} {self.trouble.name}"


def days(count: int) -> list[datetime]:
    """The first so many working days, at the shift's start."""
    monday = datetime(2026, 3, 2, 6, tzinfo=UTC)
    every = (monday + timedelta(days=n) for n in range(count * 2))
    return [day for day in every if day.weekday() < 5][:count]


def cases() -> list[Case]:
    """Every shift with its truth, without writing anything."""
    return [case for line in "AB" for case, _ in _line(line)]


def write_works(folder: Path) -> None:
    """Write plant.toml and exports/ of the twenty-odd shifts."""
    exports = folder / "exports"
    exports.mkdir(parents=True)
    counters = {"A": "pieces", "B": "good"}
    layouts = "".join(LAYOUTS.format(line=line, counter=name) for line, name in counters.items())
    (folder / "plant.toml").write_text(PLANT + layouts + SHEETS, encoding="utf-8")
    for line in "AB":
        for case, readings in _line(line):
            _write_counters(exports, case, readings)
        _write_rope_and_weights(exports, line)
    _write_sheets(exports)


def _line(line: str) -> list[tuple[Case, Readings]]:
    """Live through a line's days: each day's truth and the readings of it, before they are written."""
    rng = np.random.default_rng([7, ord(line)])
    modulus = {"A": 65536, "B": 100_000}[line]
    zero = {"count": 40_000, "rejects": 700, "film": 120_000}
    found = []
    for trouble, day in zip(TROUBLES, days(len(TROUBLES)), strict=True):
        seconds = np.arange(-BEFORE_S, SHIFT_S + AFTER_S + 1)
        runs = _runs(rng, seconds, trouble)
        made = np.floor(np.concatenate([[0.0], np.cumsum(runs[:-1] * RATE_PER_S)]) + 1e-9).astype(np.int64)
        rejects = np.floor(made * REJECTED + 1e-9).astype(np.int64)
        readings = _read(line, (seconds, made, rejects, runs), zero)
        trouble.write(readings)
        shift = np.isin(seconds, (0, SHIFT_S))
        good = int(np.diff((made - rejects)[shift])[0])
        case = Case(line, f"wrap{line}", f"{day.date()}.early", good, trouble)
        found.append((case, readings))
        zero = _carried(readings, modulus)
    return found


def _runs(rng: np.random.Generator, seconds: Ints, trouble: Trouble) -> NDArray[np.bool_]:
    """Whether the machine runs in each second: not in breaks, stops, and at the shift's ends."""
    ends = ((-BEFORE_S, 30.0), (SHIFT_S - 60.0, SHIFT_S + AFTER_S)) if trouble.stands_at_ends else ()
    starts = np.cumsum(rng.exponential(900, 30) + 240)
    # Near a gap or reset at speed the machine is meant to run.
    stops = [(s, s + lasts) for s, lasts in zip(starts, 20 + rng.exponential(90, 30), strict=True)]
    stops = [(a, b) for a, b in stops if not (a < 12_700 and b > 11_700)]
    runs = np.ones(seconds.size, dtype=bool)
    for a, b in (*ends, (10_800.0, 11_700.0), *trouble.stands, *stops):
        runs &= ~((seconds >= a) & (seconds < b))
    return runs


def _read(line: str, lived: tuple[Ints, Ints, Ints, NDArray[np.bool_]], zero: dict[str, int]) -> Readings:
    seconds, made, rejects, runs = lived
    at = (seconds % EVERY_S == 0) & (seconds >= -600)
    count = made if line == "A" else made - rejects
    film = np.floor(made * 0.57)  # decimetres
    true = {"count": count, "rejects": rejects, "film": film.astype(np.int64)}
    shown = {name: (values[at] + zero[name]).astype(object) for name, values in true.items()}
    return Readings(seconds[at], made[at], rejects[at], runs[at], shown)


def _carried(readings: Readings, modulus: int) -> dict[str, int]:
    """What the counters stand at when the next day begins."""
    last = {name: next(c for c in cells[::-1] if isinstance(c, int)) for name, cells in readings.shown.items()}
    return {name: int(value) % (1_000_000 if name == "film" else modulus) for name, value in last.items()}


def _write_counters(folder: Path, case: Case, readings: Readings) -> None:
    start = datetime.fromisoformat(case.token.split(".")[0] + "T06:00:00")
    modulus = {"A": 65536, "B": 100_000}[case.line]
    lines = ["time,count,rejects,film"]
    for place, second in enumerate(readings.at):
        cells = []
        for name, values in readings.shown.items():
            cell = values[place]
            turn = 1_000_000 if name == "film" else modulus
            cells.append(cell if isinstance(cell, str) else str(int(cell) % turn))
        lines.append(f"{start + timedelta(seconds=int(second))},{','.join(cells)}")
    name = f"wrap{case.line}_{start.date()}"
    if case.trouble.repeated:
        lines = [lines[0], *(row for line in lines[1:] for row in [line] * 2)]
        (folder / f"{name}_again.csv").write_text("\n".join(lines[:900]) + "\n", encoding="utf-8")
    (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _write_rope_and_weights(folder: Path, line: str) -> None:
    rng = np.random.default_rng([11, ord(line)])
    rope, weights = [], []
    for day in days(len(TROUBLES)):
        for number in range(SHIFT_S // BATCH_S):
            begun = day + timedelta(seconds=number * BATCH_S)
            level = 15.05 + rng.normal(0, 0.04)
            at = [begun + timedelta(seconds=s) for s in range(0, BATCH_S, 30)]
            rope.append(pl.DataFrame({"time": at, "mm": np.round(level + rng.normal(0, 0.03, len(at)), 3)}))
            masses = np.round(6.5 * (level / 15) ** 2 + rng.normal(0, 0.12, 6), 3)
            batch = f"{line}{day:%m%d}-{number:02d}"
            when = [begun + timedelta(seconds=300 + 20 * n) for n in range(6)]
            weights.append(pl.DataFrame({"time": when, "g": masses, "batch": [batch] * 6}))
    stamp = "%Y-%m-%d %H:%M:%S"
    pl.concat(rope).write_csv(folder / f"sizer{line}.csv", datetime_format=stamp)
    pl.concat(weights).write_csv(folder / f"weights{line}.csv", datetime_format=stamp)


def _write_sheets(folder: Path) -> None:
    rows = ["start,end,line,batch,product,kg"]
    for day in days(len(TROUBLES)):
        for line in "AB":
            for number in range(SHIFT_S // BATCH_S):
                begun = day + timedelta(seconds=number * BATCH_S)
                end = begun + timedelta(seconds=BATCH_S)
                stamps = f"{begun:%Y-%m-%d %H:%M:%S},{end:%Y-%m-%d %H:%M:%S}"
                rows.append(f"{stamps},{line},{line}{day:%m%d}-{number:02d},plum,45.4")
    (folder / "batches.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    first = days(1)[0]
    (folder / "stock.csv").write_text(f"counted,web,reels\n{first:%Y-%m-%d %H:%M:%S},film,400\n", encoding="utf-8")
