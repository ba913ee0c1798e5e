"""The simulated rope: its diameter second by second, and the pieces cut from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineview.demo.spec import LineSpec
from lineview.plant import Product

Floats = NDArray[np.float64]


@dataclass
class Batch:
    """A batch being cut: its own shifts, how many pieces it gives, how far it is."""

    id: str
    product: Product
    mass_in_kg: float
    shift_mm: float
    density: float
    temperature_c: float
    pieces: int
    pieces_cut: int = 0
    noise_mm: float = 0.0
    start_s: float | None = None
    end_s: float | None = None
    run_h: float = 0.0
    cut_short: bool = False


def new_batch(spec: LineSpec, rng: np.random.Generator, batch_id: str, product: Product, level: float) -> Batch:
    """Draw a batch; `level` [mm] is the sizer's present deviation, which sets how many pieces it gives.

    Takes `level` [mm].
    """
    mass_in = float(rng.normal(spec.batch_kg, 0.12))
    shift = float(rng.normal(0.0, spec.sd_batch_mm))
    density = (product.density_g_cm3 or 1.2) * (1.0 + float(rng.normal(0.0, spec.sd_density_batch)))
    temperature = spec.temperature_c + float(rng.normal(0.0, 0.8))
    thick = level + shift + spec.mm_per_c * (temperature - spec.temperature_c)
    mass_g = piece_mass_g(density, product.diameter_mm + thick, product.cut_length_mm)
    scrap = max(0.0, float(rng.normal(spec.scrap_share, 0.003)))
    pieces = int(mass_in * 1000.0 * (1.0 - scrap) / mass_g)
    noise = float(rng.normal(0.0, spec.sd_noise_mm))
    return Batch(batch_id, product, round(mass_in, 2), shift, density, temperature, pieces, noise_mm=noise)


def piece_mass_g(density: Floats | float, diameter_mm: Floats | float, cut_mm: Floats | float) -> Floats | float:
    """Give density [g/cm3] times pi/4 d2 L, in g.

    Takes `density` [g/cm³]. Gives [g].
    """
    return density * np.pi / 4.0 * diameter_mm**2 * cut_mm / 1000.0


def rope_seconds(
    spec: LineSpec, rng: np.random.Generator, batch: Batch, level: float, seconds: float, pieces: int
) -> tuple[Floats, Floats]:
    """Give diameter [mm] and temperature [°C] at each second of a running stretch, both ends included.

    The noise is a first-order autoregression on the seconds that the rope runs.

    Takes `level` [mm], `seconds` [s].
    """
    n = int(np.ceil(seconds)) + 1
    step = spec.phi_per_20s ** (1.0 / 20.0)
    kicks = rng.normal(0.0, spec.sd_noise_mm * np.sqrt(1.0 - step**2), n)
    noise = np.empty(n)
    last = batch.noise_mm
    for i in range(n):
        last = step * last + kicks[i]
        noise[i] = last
    batch.noise_mm = float(last)
    share = (batch.pieces_cut + pieces * np.linspace(0.0, 1.0, n)) / max(batch.pieces, 1)
    temperature = batch.temperature_c - 1.2 * (share - 0.5)
    diameter = (
        batch.product.diameter_mm
        + level
        + batch.shift_mm
        + spec.taper_mm * (share - 0.5)
        + spec.mm_per_c * (temperature - spec.temperature_c)
        + noise
        + spec.wear_mm_per_h * np.arange(n) / 3600.0
    )
    return diameter, temperature


def piece_masses_g(spec: LineSpec, rng: np.random.Generator, batch: Batch, diameter: Floats, pieces: int) -> Floats:
    """The mass [g] of each piece cut from a stretch of rope.

    Takes `diameter` [mm].
    """
    if pieces == 0:
        return np.empty(0)
    at = (np.arange(pieces) + 0.5) / pieces * (len(diameter) - 1)
    thick = np.interp(at, np.arange(len(diameter)), diameter)
    density = batch.density * (1.0 + rng.normal(0.0, spec.sd_density_piece, pieces))
    cut = batch.product.cut_length_mm * (1.0 + rng.normal(0.0, spec.sd_cut, pieces))
    return np.asarray(piece_mass_g(density, thick, cut))
