"""A line simulated apart from the package's own simulator, in plain numpy: its truth, to write exports of."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

Seconds = NDArray[np.float64]


class Line:
    """A wrapper and its sizer over some hours from a moment on; moments are seconds since then."""

    def __init__(self, seed: int, start: datetime, hours: int, drift_mm_h: float, rejects: float) -> None:
        self.rng = np.random.default_rng(seed)
        self.start, self.end_s, self.drift_mm_h, self.rejects_share = (start, hours * 3600.0, drift_mm_h, rejects)
        self.film_m_a_piece = 0.0536
        self.within_mm, self.between_mm, self.within_g, self.between_g = 0.04, 0.06, 0.14, 0.10
        self.stops: list[tuple[float, float]] = []
        at = 300.0
        while at + 1500 < self.end_s:
            at += 90 + self.rng.exponential(700)
            short = self.rng.random() < 0.4  # too short to matter, or 75 seconds and longer
            lasts = self.rng.uniform(10, 40) if short else 75 + self.rng.exponential(180)
            self.stops.append((at, at + lasts))
            at += lasts
        edges = np.array([0.0, *[moment for stop in self.stops for moment in stop], self.end_s])
        runs = (np.arange(edges.size - 1) % 2 == 0) * np.diff(edges)
        rates = 355 / 60 * self.rng.uniform(0.97, 1.03, runs.size)
        self._edges = edges
        self._pieces = np.concatenate([[0.0], np.cumsum(runs * rates)])
        self._run_s = np.concatenate([[0.0], np.cumsum(runs)])
        self.batches = np.arange(0, self.end_s, 1500.0)
        self._diameter = 12.2 + self.rng.normal(0, self.between_mm, self.batches.size)
        self._mass = 6.6 + self.rng.normal(0, self.between_g, self.batches.size)

    def wall(self, seconds: float) -> datetime:
        """Give the moment as the works' wall clock shows it."""
        return self.start + timedelta(seconds=float(seconds))

    def pieces(self, at: Seconds) -> NDArray[np.int64]:
        """Give the pieces made since the start."""
        return np.floor(np.interp(at, self._edges, self._pieces) + 1e-9).astype(np.int64)

    def rejects(self, at: Seconds) -> NDArray[np.int64]:
        """Give the rejects among them."""
        return np.floor(self.pieces(at) * self.rejects_share + 1e-9).astype(np.int64)

    def film_m(self, at: Seconds) -> Seconds:
        """Give the film fed [m]."""
        return np.interp(at, self._edges, self._pieces) * self.film_m_a_piece

    def run_s(self, at: Seconds) -> Seconds:
        """Give the seconds run since the start."""
        return np.interp(at, self._edges, self._run_s)

    def runs(self, at: Seconds) -> NDArray[np.bool_]:
        """Tell whether it runs."""
        return ~np.array([((at >= a) & (at < b)) for a, b in self.stops]).any(axis=0)

    def batch(self, at: Seconds) -> NDArray[np.int64]:
        """Give the place of the batch that runs."""
        return np.searchsorted(self.batches, at, side="right") - 1

    def diameter(self, at: Seconds) -> Seconds:
        """Draw a diameter of the rope each moment [mm]."""
        wear = self.drift_mm_h * self.run_s(at) / 3600
        return self._diameter[self.batch(at)] + wear + self.rng.normal(0, self.within_mm, at.size)

    def mass(self, at: Seconds) -> Seconds:
        """Draw a piece each moment and give its weight [g]."""
        return self._mass[self.batch(at)] + self.rng.normal(0, self.within_g, at.size)
