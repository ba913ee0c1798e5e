"""What a line's counters and gauges truly stand at, at any moment of a stretch of shifts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from lineview.demo.spec import LineSpec
from lineview.demo.stretches import BLANK, GOOD, MOVING, REJECT, ShiftTruth, Stretch

Floats = NDArray[np.float64]


@dataclass
class Totals:
    """Everything counted before: cycles by kind, metres of film, paper and rope."""

    good: int = 0
    rejects: int = 0
    blanks: int = 0
    film_m: float = 0.0
    paper_m: float = 0.0
    rope_m: float = 0.0


@dataclass
class CounterTruth:
    """Counters as exact integrals over some shifts, on top of what was counted before.

    Parameters
    ----------
    spec : LineSpec
        The line.
    shifts : sequence of ShiftTruth
        In order.
    before : Totals
        What the counters stood at when the first of them began.
    """

    spec: LineSpec
    shifts: Sequence[ShiftTruth]
    before: Totals = field(default_factory=Totals)

    def __post_init__(self) -> None:
        self.moving = [s for shift in self.shifts for s in shift.stretches if s.state in MOVING]
        self.starts = np.array([s.t0 for s in self.moving])
        kinds = [s.kinds for s in self.shifts]
        all_kinds = np.concatenate(kinds) if kinds else np.empty(0, np.uint8)
        self._cum = {
            kind: np.concatenate([[0], np.cumsum(all_kinds == kind, dtype=np.int64)]) for kind in (GOOD, REJECT, BLANK)
        }

    def cycles(self, at_s: Floats) -> Floats:
        """The cycles made by each moment since the first shift began, fractions included."""
        return self._integral(at_s, [(s.t0, s.t1, float(s.cycles)) for s in self.moving])

    def at(self, at_s: Floats) -> dict[str, Floats]:
        """What every counter truly stands at: pieces whole, metres with fractions.

        Gives [m].
        """
        cycles = self.cycles(at_s)
        whole = np.floor(cycles + 1e-6).astype(np.int64)
        good = self._cum[GOOD][whole] + self.before.good
        rejects = self._cum[REJECT][whole] + self.before.rejects
        return {
            "good": good.astype(float),
            "rejects": rejects.astype(float),
            "pieces": (good + rejects).astype(float),
            "blanks": (self._cum[BLANK][whole] + self.before.blanks).astype(float),
            "film": self.before.film_m + self._web(at_s, cycles, "film"),
            "paper": self.before.paper_m + self._web(at_s, cycles, "wax paper"),
            "rope": self.before.rope_m + self._integral(at_s, self._rope_parts()),
        }

    def totals(self) -> Totals:
        """What the counters stand at when everything has been counted."""
        end = self.at(np.array([np.inf]))
        return Totals(
            *(int(end[c][0]) for c in ("good", "rejects", "blanks")),
            *(float(end[c][0]) for c in ("film", "paper", "rope")),
        )

    def per_cycle_m(self, kind: str) -> float:
        """The web drawn by one cycle, slip included [m]."""
        product = self.spec.products[0]
        web = self.spec.film_of(product) if kind == "film" else self.spec.paper_of(product)
        slip = self.spec.slip_film if kind == "film" else self.spec.slip_paper
        return web.cut_length_mm / 1000.0 * (1.0 + slip)

    def gauges(self, at_s: Floats) -> dict[str, Floats]:
        """Give rope diameter [mm], temperature [°C] and speed [m/min] at the sizer; nan where it stands.

        The rope passes the gauge `transport_s` before it is cut.
        """
        gauges = {name: np.full(len(at_s), np.nan) for name in ("diameter", "temperature", "speed")}
        later = at_s + self.spec.transport_s
        which = np.searchsorted(self.starts, later, side="right") - 1
        for i in np.unique(which[which >= 0]):
            stretch: Stretch = self.moving[i]
            here = (which == i) & (later < stretch.t1)
            if stretch.diameter_mm is None or stretch.temperature_c is None or not stretch.rope_m or not here.any():
                continue
            seconds, grid = later[here] - stretch.t0, np.arange(len(stretch.diameter_mm))
            gauges["diameter"][here] = np.interp(seconds, grid, stretch.diameter_mm)
            gauges["temperature"][here] = np.interp(seconds, grid, stretch.temperature_c)
            gauges["speed"][here] = stretch.rope_m / stretch.seconds * 60.0
        return gauges

    def _web(self, at_s: Floats, cycles: Floats, kind: str) -> Floats:
        fed = cycles * self.per_cycle_m(kind)
        for shift in self.shifts:
            for feed in shift.feeds:
                if feed.kind == kind and feed.metres > 0:
                    fed = fed + feed.metres * np.clip((at_s - feed.t0) / feed.seconds, 0.0, 1.0)
        return fed

    def _rope_parts(self) -> list[tuple[float, float, float]]:
        lag = self.spec.transport_s
        return [
            (s.t0 + s.seconds * s.blanks / s.cycles - lag, s.t1 - lag, s.rope_m) for s in self.moving if s.rope_m > 0
        ]

    @staticmethod
    def _integral(at_s: Floats, parts: list[tuple[float, float, float]]) -> Floats:
        if not parts:
            return np.zeros(len(at_s))
        times = np.array([edge for a, b, _ in parts for edge in (a, b)])
        sums = np.cumsum([amount for _, _, n in parts for amount in (0.0, n)])
        return np.asarray(np.interp(at_s, times, sums))


@dataclass
class LineDay:
    """One line's day: its shifts, its counters, and which day it is from 0."""

    spec: LineSpec
    number: int
    date: date
    counters: CounterTruth
    rng: np.random.Generator
    #: What counters stood at when they were last set back to 0, by channel; kept from day to day.
    lost: dict[str, int]
    #: The product's id of each batch so far.
    products: dict[str, str]

    @property
    def shifts(self) -> list[ShiftTruth]:
        """The day's shifts."""
        return list(self.counters.shifts)

    @property
    def start_s(self) -> float:
        """When its first shift starts."""
        return self.shifts[0].window.start_s

    @property
    def end_s(self) -> float:
        """When its last shift ends."""
        return self.shifts[-1].window.end_s

    def times(self, every_s: float, before_s: float = 0.0, after_s: float = 0.0) -> Floats:
        """Give evenly spaced moments over the day's shifts, and some seconds before and after."""
        return np.arange(self.start_s - before_s, self.end_s + after_s + 0.5, every_s)

    def stretches(self) -> Iterator[Stretch]:
        """Every stretch of the day in order."""
        for shift in self.shifts:
            yield from shift.stretches
