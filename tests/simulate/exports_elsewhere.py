"""Exports of a French and an American works by the line of `elsewhere`, in their own headers, units and clocks."""

from __future__ import annotations

import gzip
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from tests.simulate.elsewhere import Line

PLANT = """
shop = "Invented elsewhere"
zone = "{zone}"
units = "{units}"
shifts = [{{ id = "all", start = 05:00:00, end = 05:00:00, days = ["sat"] }}]
lines = [{{ id = "A" }}]

[[machines]]
id = "wrapper"
kind = "cut-and-wrap machine"
line = "A"
counters = [
  {{ id = "made", counts = "{made}", modulus = {modulus}, fastest_per_min = 450 }},
  {{ id = "bad", counts = "rejects", modulus = 1000, fastest_per_min = 450 }},
  {{ id = "web", counts = "film", modulus = 10000, fastest_per_min = 300, unit_value = {count_m} }},
]

[[machines]]
id = "sizer"
kind = "sizer"
line = "A"
gauges = [{{ id = "rope", measures = "rope diameter", unit = "{length}" }}]

[[products]]
id = "lemon"
flavour = "Lemon"
mass_g = 6.6
mass_tolerance_g = 0.5
diameter_mm = 12.2
diameter_tolerance_mm = 2.0
cut_length_mm = 40
webs = ["clear"]

[[webs]]
id = "clear"
kind = "film"
cut_length_mm = 52
width_mm = 60
reel_outer_mm = 300
reel_core_mm = 76
grammage_g_m2 = 23
"""


def _text(columns: dict[str, list[str]], separator: str) -> str:
    lines = zip(*columns.values(), strict=True)
    return "\n".join([separator.join(columns), *map(separator.join, lines), ""])


def french(folder: Path) -> Line:
    """Write a night of the October clock change: decimal comma, UTF-16, counters of four digits."""
    zone = ZoneInfo("Europe/Paris")
    line = Line(11, datetime(2026, 10, 24, 3, tzinfo=ZoneInfo("UTC")), 25, 0.04, 0.02)

    def wall(at: float, form: str) -> str:
        return line.wall(at).astimezone(zone).strftime(form)

    def comma(value: float, places: int) -> str:
        return f"{value:.{places}f}".replace(".", ",")

    at = np.arange(0, line.end_s + 1, 10.0)
    at = at[(at < 18000) | (at >= 21600)]  # an hour was never exported
    made, bad = (line.pieces(at) + 9500) % 10000, (line.rejects(at) + 40) % 1000
    film = np.floor(line.film_m(at) * 10).astype(int) % 10000
    log = {
        "Film (dm)": [str(v) for v in film], "Compteur pièces": [str(v) for v in made],
        "Date": [wall(s, "%d/%m/%Y") for s in at], "Heure": [wall(s, "%H:%M:%S") for s in at],
        "Rebuts": [str(v) for v in bad],
    }  # fmt: skip
    (folder / "emballeuse wrapper.txt").write_text(_text(log, "\t"), encoding="cp1252")
    at = np.arange(30, line.end_s, 60.0)
    at = at[line.runs(at)]
    rope = {
        "Horodatage": [wall(s, "%d.%m.%Y %H:%M:%S") for s in at],
        "Diamètre corde [mm]": [comma(v, 3) for v in line.diameter(at)],
    }
    (folder / "sizer.csv").write_text(_text(rope, ";"), encoding="utf-16")
    at = line.batches
    lots = {"Lot": [f"L{k}" for k in range(at.size)], "Début": [wall(s, "%d/%m/%Y %H:%M") for s in at]}
    (folder / "lots.csv").write_text(_text(lots | {"Parfum": ["Lemon"] * at.size}, ";"), encoding="utf-8-sig")
    at = (line.batches[:, None] + 300 + 10 * np.arange(8)).ravel()
    at = at[at < line.end_s]
    weights = {
        "Poids (g)": [comma(v, 3) for v in line.mass(at)], "Lot": [f"L{k}" for k in line.batch(at)],
        "Horodatage": [wall(s, "%Y-%m-%d %H:%M:%S") for s in at],
    }  # fmt: skip
    (folder / "pesees.csv.gz").write_bytes(gzip.compress(_text(weights, "|").encode()))
    plant = PLANT.format(zone=zone.key, units="metric", made="pieces", modulus=10000, count_m=0.1, length="mm")
    (folder / "plant.toml").write_text(plant, encoding="utf-8")
    return line


def american(folder: Path) -> Line:
    """Write a day in inches, ounces and feet, month first."""
    zone = ZoneInfo("America/New_York")
    line = Line(21, datetime(2026, 10, 24, 9, tzinfo=ZoneInfo("UTC")), 24, -0.03, 0.03)

    def wall(at: float) -> str:
        return line.wall(at).astimezone(zone).strftime('"%m/%d/%Y","%I:%M:%S %p"')

    def write(name: str, header: str, cells: list[list[str]], at: np.ndarray) -> None:
        rows = [f"{wall(s)},{','.join(c)}" for s, *c in zip(at, *cells, strict=True)]
        (folder / name).write_text("\n".join([f'"Date","Time",{header}', *rows, ""]), encoding="utf-8")

    at = np.arange(0, line.end_s + 1, 5.0)
    good, bad = (line.pieces(at) - line.rejects(at) + 65000) % 65536, line.rejects(at) % 1000
    film = np.floor(line.film_m(at) / 0.3048).astype(int) % 10000
    cells = [[str(v) for v in column] for column in (bad, good, film)]
    write("wrapper.csv", "Rejects,Good pieces,Film (ft)", cells, at)
    at = at[:-1][line.runs(at[:-1])][::6]
    write("sizer.csv", '"Rope dia, in"', [[f"{v / 25.4:.5f}" for v in line.diameter(at)]], at)
    at = line.batches
    write("batches.csv", "Batch,Flavor", [[str(k) for k in range(at.size)], ["Lemon"] * at.size], at)
    at = (line.batches[:, None] + 300 + 10 * np.arange(8)).ravel()
    at = at[at < line.end_s]
    ounces = [f"{v / 28.349523125:.5f}" for v in line.mass(at)]
    write("weights.csv", "Weight (oz),Batch", [ounces, [str(k) for k in line.batch(at)]], at)
    plant = PLANT.format(zone=zone.key, units="US", made="good pieces", modulus=65536, count_m=0.3048, length="in")
    (folder / "plant.toml").write_text(plant, encoding="utf-8")
    return line
