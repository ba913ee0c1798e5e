"""Pieces weighed at the bench: which, when, what the scale showed; and the true masses of each batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from lineview.demo.files import Cell, wall, write_ods
from lineview.demo.spec import BLANK, GOOD, MOVING, LineSpec, ShiftTruth, Stretch
from lineview.plant import Product, Web


@dataclass(frozen=True)
class BenchWeighing:
    """One piece on the scale."""

    at_s: float
    mass_g: float
    batch: str
    sample: str


@dataclass(frozen=True)
class BatchPieces:
    """What a batch truly gave: pieces, their mass, and the rope over its running time."""

    batch: str
    good: int
    rejects: int
    mean_g: float
    sd_g: float
    total_kg: float
    diameter_mm: float
    sd_diameter_mm: float
    temperature_c: float


def wrap_mass_g(spec: LineSpec, product: Product) -> float:
    """The mass of one piece's film and wax paper [g]."""
    return _web_g(spec.film_of(product)) + _web_g(spec.paper_of(product))


def _web_g(web: Web) -> float:
    grammage = web.grammage_g_m2 or (web.thickness_um or 0.0) * (web.density_g_cm3 or 0.0)
    return web.cut_length_mm * web.width_mm * 1e-6 * grammage


def by_batch(shift: ShiftTruth) -> dict[str, list[Stretch]]:
    """A shift's moving stretches by batch, in order."""
    batches: dict[str, list[Stretch]] = {}
    for stretch in shift.stretches:
        if stretch.state in MOVING:
            batches.setdefault(stretch.batch, []).append(stretch)
    return batches


def batch_pieces(shift: ShiftTruth) -> list[BatchPieces]:
    """The truth of each batch of a shift."""
    batches = []
    for batch, parts in by_batch(shift).items():
        kinds = np.concatenate([shift.kinds[p.first : p.first + p.cycles] for p in parts])
        masses = np.concatenate([shift.masses_g[p.first : p.first + p.cycles] for p in parts])
        piece_masses = masses[kinds != BLANK]
        if len(piece_masses) < 2:
            continue
        diameter = np.concatenate([p.diameter_mm[:-1] for p in parts if p.diameter_mm is not None])
        temperature = np.concatenate([p.temperature_c[:-1] for p in parts if p.temperature_c is not None])
        good = int(np.count_nonzero(kinds == GOOD))
        mass = float(piece_masses.mean()), float(piece_masses.std(ddof=1)), float(piece_masses.sum()) / 1000.0
        rope = float(diameter.mean()), float(diameter.std(ddof=1)), float(temperature.mean())
        batches.append(BatchPieces(batch, good, len(piece_masses) - good, *mass, *rope))
    return batches


def weigh(
    shift: ShiftTruth,
    rng: np.random.Generator,
    *,
    scattered: int = 0,
    runs: tuple[int, int] = (0, 0),
    tare_g: float = 0.0,
) -> list[BenchWeighing]:
    """Weigh good pieces of every second batch."""
    weighed: list[BenchWeighing] = []
    for batch, parts in list(by_batch(shift).items())[::2]:
        where = np.concatenate([np.arange(p.first, p.first + p.cycles) for p in parts])
        when = np.concatenate([p.t0 + (np.arange(p.cycles) + 0.5) * p.seconds / p.cycles for p in parts])
        good = shift.kinds[where] == GOOD
        where, when = where[good], when[good]
        if len(where) < 200:
            continue
        picks = [("1", [i]) for i in sorted(rng.choice(len(where), scattered, replace=False))]
        for k in range(runs[0]):
            first = int(rng.integers(k * len(where) // runs[0], (k + 1) * len(where) // runs[0] - runs[1]))
            picks.append((str(k + 1), list(range(first, first + runs[1]))))
        for sample, pieces in picks:
            for i in pieces:
                reading_g = shift.masses_g[where[i]] + tare_g + rng.normal(0.0, 0.004)
                weighed.append(BenchWeighing(float(when[pieces[-1]]), round(float(reading_g), 2), batch, sample))
    return weighed


def write_weights1(rows: Sequence[BenchWeighing], path: Path, zone: ZoneInfo) -> None:
    """Write the first line's weighings: bars, a preamble, an average at the end, two bad rows."""
    lines = ["Bench scale, line 1 | invented data", "", "when|grams|n|batch|sample"]
    for i, row in enumerate(rows):
        grams = "E-02" if i % 211 == 100 else f"{row.mass_g:.2f}"
        lines.append(f"{wall(row.at_s, zone):%Y-%m-%d %H:%M:%S}|{grams}|1|{row.batch}|{row.sample}")
    mean = sum(r.mass_g for r in rows) / max(len(rows), 1)
    lines.append(f"Average|{mean:.3f}|||")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_weights2(rows: Sequence[BenchWeighing], path: Path, zone: ZoneInfo) -> None:
    """Write the second line's weighings to an open document sheet."""
    cells: list[Sequence[Cell]] = [["Zeit", "Gramm", "Anzahl", "Charge", "Probe"]]
    cells += [[wall(r.at_s, zone).replace(microsecond=0), r.mass_g, 1, r.batch, r.sample] for r in rows]
    write_ods(path, "Waage", cells)
