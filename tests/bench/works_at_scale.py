"""A works of ten machines over a season or a year, as CSV exports with a plant.toml. All invented.

Five lines of a sizer and a cut-and-wrap machine work two shifts on each weekday. Everything is read every ten
seconds in planned time: five counters of the wrapper, a counter and two gauges of the sizer; there are batch
sheets, reel and stop logs, weighings, stock counts and a plan. The same days and seed give the same bytes.
"""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LINES = ("1", "2", "3", "4", "5")
FLAVOURS = ("Plum", "Quince", "Sorrel", "Birch", "Fennel", "Rowan", "Damson", "Medlar")
FIRST = date(2026, 1, 5)  # a Monday
DAY_S = 16 * 3600  # two shifts, 06:00 to 22:00
EVERY_S = 10
BREAKS = ((10_800, 11_700), (19_800, 21_600), (39_600, 40_500), (48_600, 50_400))
RATE_PER_S, REJECTED, BLANK = 352 / 60, 0.012, 0.005
FILM_M, PAPER_M = 0.0577, 0.0513
FILM_REEL_M, PAPER_REEL_M = 2875.0, 1470.0
BATCH_PIECES = 3240
#: What each of the wrapper's counters counts a piece: pieces, rejects, blanks, decimetres of film and paper.
A_PIECE = np.array([1, REJECTED, BLANK, FILM_M * 10, PAPER_M * 10])
STAMP = "%Y-%m-%d %H:%M:%S"

PLANT = """
shop = "Invented Sweets at scale"
zone = "UTC"
currency = "EUR"
batch_kg = 22.7

[[shifts]]
id = "early"
start = 06:00:00
end = 14:00:00
breaks = [{ start = 09:00:00, end = 09:15:00 }, { start = 11:30:00, end = 12:00:00 }]

[[shifts]]
id = "late"
start = 14:00:00
end = 22:00:00
breaks = [{ start = 17:00:00, end = 17:15:00 }, { start = 19:30:00, end = 20:00:00 }]

[[webs]]
id = "wax"
kind = "wax paper"
cut_length_mm = 50
width_mm = 40
grammage_g_m2 = 38
reel_outer_mm = 300
reel_core_mm = 76
reel_length_m = 1470
splice_m = 1.0
start_m = 2.0
end_m = 5.0
price_per_reel = 9.4
lead_time_days = 14
lead_time_sd_days = 2
"""
PRODUCT = """
[[webs]]
id = "film-{id}"
kind = "film"
cut_length_mm = 56
width_mm = 76
thickness_um = 23
density_g_cm3 = 1.35
reel_outer_mm = 300
reel_core_mm = 76
reel_length_m = 2875
splice_m = 1.2
start_m = 3.0
end_m = 8.0
price_per_reel = 34.0
lead_time_days = 21
lead_time_sd_days = 4

[[products]]
id = "{id}"
flavour = "{flavour}"
mass_g = 6.6
mass_tolerance_g = 0.45
diameter_mm = 15.0
diameter_tolerance_mm = 0.35
cut_length_mm = 31.65
density_g_cm3 = 1.18
price_per_kg = 3.4
bag_g = [250]
webs = ["film-{id}", "wax"]
"""
LINE = """
[[lines]]
id = "{line}"

[[machines]]
id = "sizer{line}"
kind = "sizer"
line = "{line}"
counters = [{{ id = "rope", counts = "rope", modulus = 1000000, fastest_per_min = 200, unit_value = 0.1 }}]
gauges = [
  {{ id = "diameter", measures = "rope diameter", unit = "mm", position_mm = 450 }},
  {{ id = "temperature", measures = "rope temperature", unit = "°C" }},
]

[[machines]]
id = "wrap{line}"
kind = "cut-and-wrap machine"
line = "{line}"
nominal_per_min = [300, 400]
set_per_min = 352
counters = [
  {{ id = "pieces", counts = "pieces", modulus = 65536, fastest_per_min = 450 }},
  {{ id = "rejects", counts = "rejects", modulus = 65536, fastest_per_min = 450 }},
  {{ id = "blanks", counts = "blank wraps", modulus = 65536, fastest_per_min = 450 }},
  {{ id = "film", counts = "film", modulus = 65536, fastest_per_min = 500, unit_value = 0.1 }},
  {{ id = "paper", counts = "wax paper", modulus = 65536, fastest_per_min = 500, unit_value = 0.1 }},
]

[[layouts]]
id = "sizer{line}"
files = "sizer{line}_*.csv"
machine = "sizer{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "rope" = {{ to = "rope" }}, "mm" = {{ to = "diameter", unit = "mm" }}, "C" = {{ to = "temperature", unit = "°C" }} }}

[[layouts]]
id = "wrap{line}"
files = "wrap{line}_*.csv"
machine = "wrap{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "pieces" = {{ to = "pieces" }}, "rejects" = {{ to = "rejects" }}, "blanks" = {{ to = "blanks" }}, "film" = {{ to = "film" }}, "paper" = {{ to = "paper" }} }}

[[layouts]]
id = "weights{line}"
kind = "weights"
files = "weights{line}_*.csv"
machine = "wrap{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "g" = {{ to = "mass_g", unit = "g" }}, "batch" = {{ to = "batch" }}, "sample" = {{ to = "sample" }} }}

[[layouts]]
id = "stops{line}"
kind = "stops"
files = "stops{line}_*.csv"
machine_column = "machine"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "end" = {{ to = "end" }}, "reason" = {{ to = "reason" }} }}

[[layouts]]
id = "batches{line}"
kind = "batches"
files = "batches{line}_*.csv"
line = "{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "batch" = {{ to = "batch" }}, "product" = {{ to = "product" }}, "end" = {{ to = "end" }}, "kg" = {{ to = "mass_in_kg", unit = "kg" }} }}

[[layouts]]
id = "reels{line}"
kind = "reels"
files = "reels{line}_*.csv"
machine = "wrap{line}"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = {{ "web" = {{ to = "web" }}, "reel" = {{ to = "reel" }}, "length" = {{ to = "length_m", unit = "m" }}, "left" = {{ to = "left_m", unit = "m" }}, "splices" = {{ to = "splices" }} }}
"""  # noqa: E501 - an inline table of TOML stands on one line
WORKS = """
[[layouts]]
id = "stock"
kind = "stock"
files = "stock_*.csv"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
columns = { "web" = { to = "web" }, "whole" = { to = "whole_reels" } }

[[layouts]]
id = "plan"
kind = "plan"
files = "plan_*.csv"
time = "time"
time_format = "%Y-%m-%d"
decimal = "."
columns = { "line" = { to = "line" }, "product" = { to = "product" }, "end" = { to = "end" }, "pieces" = { to = "pieces" } }
"""  # noqa: E501 - likewise

STOPS = ("jam at knife", "film ran out", "rope broke", "paper tore", "waiting for rope")


@dataclass
class LineDays:
    """What a line's machines stand at as its days go on, and the rows written down of them so far."""

    line: str
    rng: np.random.Generator
    total: Floats = field(default_factory=lambda: np.zeros(6))
    wear_h: float = 0.0
    flavour: int = 0
    left_m: dict[str, float] = field(default_factory=lambda: {"film": 0.0, "paper": 0.0})
    reels: int = 0
    rows: dict[str, list[pl.DataFrame]] = field(default_factory=dict)

    def note(self, kind: str, frame: pl.DataFrame) -> None:
        """Keep rows for the export of a kind."""
        if frame.height:
            self.rows.setdefault(kind, []).append(frame)


def working_days(days: int) -> list[date]:
    """Weekdays of so many calendar days."""
    every = (FIRST + timedelta(days=n) for n in range(days))
    return [day for day in every if day.weekday() < 5]


def write_works(folder: Path, days: int, seed: int = 1) -> None:
    """Write plant.toml and exports/ of so many calendar days, an export a machine, kind and month."""
    exports = folder / "exports"
    exports.mkdir(parents=True)
    named = [(flavour.lower(), flavour) for flavour in FLAVOURS]
    plant = PLANT + "".join(PRODUCT.format(id=name, flavour=flavour) for name, flavour in named)
    plant += "".join(LINE.format(line=line) for line in LINES) + WORKS
    (folder / "plant.toml").write_text(plant, encoding="utf-8")
    for number, line in enumerate(LINES):
        lived = LineDays(line, np.random.default_rng([seed, number]), flavour=number)
        month = ""
        for day in working_days(days):
            if month not in ("", f"{day:%Y-%m}"):
                _flush(lived, exports, month)
            month = f"{day:%Y-%m}"
            _live(lived, day)
        _flush(lived, exports, month)
    _stock_and_plan(exports, days)


def _flush(lived: LineDays, folder: Path, month: str) -> None:
    for kind, frames in lived.rows.items():
        path = folder / f"{kind}{lived.line}_{month}.csv"
        pl.concat(frames).write_csv(path, datetime_format=STAMP, float_precision=3)
    lived.rows.clear()


def _live(lived: LineDays, day: date) -> None:
    """Live through one day of one line and note what is read and written down."""
    rng, start = lived.rng, datetime(day.year, day.month, day.day, 6)  # noqa: DTZ001 - wall time, as a machine writes it
    stops = _stops(rng)
    runs = np.ones(DAY_S + 1)
    for begun, end, _ in stops:
        runs[begun:end] = 0.0
    for begun, end in BREAKS:
        runs[begun:end] = 0.0
    made = np.concatenate([[0.0], np.cumsum(runs[:-1] * RATE_PER_S * rng.normal(1, 0.01))])
    at = np.arange(0, DAY_S + 1, EVERY_S)
    counts = np.floor(lived.total[:5, None] + made[at] * np.array([[1, REJECTED, BLANK, FILM_M * 10, PAPER_M * 10]]).T)
    time = pl.datetime_range(start, start + timedelta(seconds=DAY_S), f"{EVERY_S}s", eager=True, time_unit="us")
    names = ("pieces", "rejects", "blanks", "film", "paper")
    wrapped = {n: pl.Series(c.astype(np.int64) % 65536) for n, c in zip(names, counts, strict=True)}
    lived.note("wrap", pl.DataFrame({"time": time, **wrapped}))
    batch_at = _batches(lived, start, made)
    _rope(lived, time, made, runs, at, batch_at)
    _logs(lived, start, stops, made)
    lived.total[:5] += made[-1] * A_PIECE
    lived.wear_h += float(runs.sum()) / 3600


def _stops(rng: np.random.Generator) -> list[tuple[int, int, str]]:
    """Stops and changeovers of a day [s since its start], in order and apart."""
    found, at = [], 0.0
    while True:
        at += 180 + rng.exponential(900)
        long = rng.random() < 0.12
        lasts = 420 + rng.exponential(120) if long else 8 + rng.exponential(90)
        if at + lasts > DAY_S - 60:
            return found
        reason = "changeover" if long else STOPS[int(rng.integers(len(STOPS)))]
        found.append((int(at), int(at + lasts), reason))
        at += lasts


def _batches(lived: LineDays, start: datetime, made: Floats) -> Floats:
    """Note the day's batches and their weighings; the batches' first seconds."""
    rng = lived.rng
    numbers = np.arange(int(made[-1] // BATCH_PIECES) + 1)
    begun = np.searchsorted(made, numbers * BATCH_PIECES, side="right") - 1.0
    begun[0] = 0.0
    ends = np.append(begun[1:], float(DAY_S))
    flavours = (lived.flavour + numbers // 6) % len(FLAVOURS)
    lived.flavour = int(flavours[-1])
    ids = [f"L{lived.line}-{start:%m%d}-{n:03d}" for n in numbers]
    names = [FLAVOURS[f].lower() for f in flavours]
    sheet = {
        "time": _moments(start, begun),
        "end": _moments(start, ends),
        "batch": ids,
        "product": names,
        "kg": np.round(rng.normal(22.7, 0.05, numbers.size), 2),
    }
    lived.note("batches", pl.DataFrame(sheet))
    weighed = numbers[::3]
    mass = 6.62 + rng.normal(0, 0.08, weighed.size)[:, None] + rng.normal(0, 0.15, (weighed.size, 6))
    when = (begun[weighed] + 60)[:, None] + np.arange(6) * 15
    rows = {
        "time": _moments(start, when.ravel()),
        "g": mass.ravel(),
        "batch": np.repeat(np.array(ids)[weighed], 6),
        "sample": np.repeat(np.array(ids)[weighed], 6),
    }
    lived.note("weights", pl.DataFrame(rows))
    return begun


def _rope(lived: LineDays, time: pl.Series, made: Floats, runs: Floats, at: NDArray[np.int64], begun: Floats) -> None:
    rng = lived.rng
    level = 15.02 + rng.normal(0, 0.05, begun.size) + 0.0004 * (lived.wear_h % 200)
    batch = np.searchsorted(begun, at, side="right") - 1
    mm = level[batch] + rng.normal(0, 0.05, at.size)
    mm[runs[at] == 0] = 0.0
    metres = lived.total[5] + made[at] * 0.31
    lived.total[5] += made[-1] * 0.31
    warm = 38 + np.sin(at / 9000) + rng.normal(0, 0.1, at.size)
    rope = pl.Series(np.floor(metres).astype(np.int64) % 1_000_000)
    lived.note("sizer", pl.DataFrame({"time": time, "rope": rope, "mm": mm, "C": warm}))


def _logs(lived: LineDays, start: datetime, stops: list[tuple[int, int, str]], made: Floats) -> None:
    """Note stops of a minute and longer, and the reels mounted."""
    written = [(b, e, reason) for b, e, reason in stops if e - b >= 60]
    begun, ends, reasons = (np.array(values) for values in zip(*written, strict=True))
    frame = {"time": _moments(start, begun), "end": _moments(start, ends), "reason": reasons}
    lived.note("stops", pl.DataFrame(frame).with_columns(machine=pl.lit(f"wrap{lived.line}")))
    rows = []
    for web, metres, whole in (("film", FILM_M, FILM_REEL_M), ("paper", PAPER_M, PAPER_REEL_M)):
        used, due = made[-1] * metres, lived.left_m[web]
        while due < used:
            second = float(np.searchsorted(made, due / metres))
            lived.reels += 1
            name = "wax" if web == "paper" else f"film-{FLAVOURS[lived.flavour].lower()}"
            reel = f"{web[0].upper()}{lived.line}-{lived.reels:05d}"
            rows.append((second, name, reel, whole, 4.0, int(lived.rng.random() < 0.3)))
            due += whole - 4.0
        lived.left_m[web] = due - used
    rows.sort()
    names = ("second", "web", "reel", "length", "left", "splices")
    reels = pl.DataFrame(rows, schema=list(names), orient="row")
    time = _moments(start, reels["second"].to_numpy())
    lived.note("reels", reels.drop("second").insert_column(0, time.alias("time")))


def _stock_and_plan(folder: Path, days: int) -> None:
    last = FIRST + timedelta(days=days)
    mondays = [FIRST + timedelta(days=7 * n) for n in range((last - FIRST).days // 7 + 1)]
    webs = [("wax", 900), *((f"film-{flavour.lower()}", 160) for flavour in FLAVOURS)]
    stock = [f"{day} 06:00:00,{web},{whole}" for day in mondays[::2] for web, whole in webs]
    (folder / "stock_all.csv").write_text("\n".join(["time,web,whole", *stock]) + "\n", encoding="utf-8")
    plan = ["time,end,line,product,pieces"]
    for day in [*mondays, *(mondays[-1] + timedelta(days=7 * n) for n in range(1, 5))]:
        end = day + timedelta(days=5)
        plan += [f"{day},{end},{line},{flavour.lower()},150000" for line in LINES for flavour in FLAVOURS]
    (folder / "plan_all.csv").write_text("\n".join(plan) + "\n", encoding="utf-8")


def _moments(start: datetime, seconds: NDArray[np.generic]) -> pl.Series:
    whole = pl.Series(np.asarray(seconds, dtype=np.float64).round().astype(np.int64))
    return pl.select(pl.lit(start) + pl.duration(seconds=whole)).to_series()
