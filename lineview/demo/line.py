"""A simulated line: shift after shift with everything known."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from lineview.demo.reels import Mount, Rack
from lineview.demo.rope import Batch, new_batch
from lineview.demo.shift import ShiftRun, Sizer
from lineview.demo.spec import LineSpec, ShiftTruth, Window
from lineview.plant import Product


@dataclass(frozen=True)
class DoneAdjustment:
    """An adjustment as it happened: when, after which running hour, how far, and whether written down."""

    machine: str
    at_s: float
    run_h: float
    step_mm: float
    recorded: bool
    what: str


@dataclass
class LineTruth:
    """Everything about a simulated line: shifts, batches, reel changes, adjustments."""

    spec: LineSpec
    shifts: list[ShiftTruth] = field(default_factory=list)
    batches: list[Batch] = field(default_factory=list)
    mounts: list[Mount] = field(default_factory=list)
    adjustments: list[DoneAdjustment] = field(default_factory=list)


class LineRun:
    """A line of these physics that can be run shift by shift, so that long periods need not be held whole.

    The same `seed` gives the same line.
    """

    def __init__(self, spec: LineSpec, seed: int) -> None:
        self.spec = spec
        self.rng = np.random.default_rng([seed, *spec.line.encode()])
        self.rack = Rack(spec, self.rng)
        self.sizer = Sizer()
        self.truth = LineTruth(spec, mounts=self.rack.mounts)
        self.product: Product = spec.products[0]
        self.to_go = int(self.rng.integers(*spec.campaign_batches, endpoint=True))
        self.shifts_done = 0

    def shift(self, window: Window) -> ShiftTruth:
        """Run one shift and give what happened."""
        run = ShiftRun(self.spec, self.rng, self.rack, self.sizer, window, self._slow_stretches(window))
        if not self.rack.mounted:
            self.rack.mount(self.spec.film_of(self.product), window.start_s + 30.0)
            self.rack.mount(self.spec.paper_of(self.product), window.start_s + 90.0)
            for reel in list(self.rack.mounted.values()):
                run.start_reel(reel.web, window.start_s + 100.0)
        run.idle(float(self.rng.uniform(340.0, 560.0)), "stop", "start-up")
        closing = window.end_s - float(self.rng.uniform(400.0, 640.0))
        while run.now < closing - 500.0:
            run.set_per_min = float(self.rng.normal(self.spec.set_per_min, 2.5))
            self._batch(run)
            if run.now < closing - 500.0:
                self._between(run, closing)
        if not run.over:
            run.idle(window.end_s - run.now, "stop", "cleaning at end of shift", past_break=True)
        self.shifts_done += 1
        return run.finish()

    def _batch(self, run: ShiftRun) -> None:
        number = len(self.truth.batches) + 1
        name = f"{self.spec.line[-1]}{number:05d}"
        level = self.sizer.level_mm(self.spec)
        batch = new_batch(self.spec, self.rng, name, self.product, level)
        run.run(batch)
        batch.cut_short = batch.pieces_cut < batch.pieces
        if batch.pieces_cut:
            self.truth.batches.append(batch)
        self.to_go -= 1

    def _between(self, run: ShiftRun, closing: float) -> None:
        due = self._due()
        if self.to_go <= 0 and self._changeover(run, closing):
            if due is not None and not self.spec.adjustments[due].recorded:
                self._adjust(run.now - 60.0)
        elif due is not None and self.spec.adjustments[due].recorded:
            what = self.spec.adjustments[due].what
            at = run.stop(what, 270.0, 0.2, least_s=150.0)
            self._adjust(min(at + 120.0, (at + run.now) / 2.0))
        else:
            run.stop("next batch", self.spec.pause_s, 0.35)

    def _due(self) -> int | None:
        which = self.sizer.next_adjustment
        planned = self.spec.adjustments
        due = which < len(planned) and self.sizer.run_s / 3600.0 >= planned[which].after_h
        return which if due else None

    def _adjust(self, at_s: float) -> None:
        adjustment = self.spec.adjustments[self.sizer.next_adjustment]
        self.sizer.steps_mm += adjustment.step_mm
        self.sizer.next_adjustment += 1
        run_h = self.sizer.run_s / 3600.0
        self.truth.adjustments.append(
            DoneAdjustment(self.spec.sizer, at_s, run_h, adjustment.step_mm, adjustment.recorded, adjustment.what)
        )

    def _changeover(self, run: ShiftRun, closing: float) -> bool:
        """Change to another flavour; not where the shift would end before its first batch did."""
        others = [p for p in self.spec.products if p.id != self.product.id] or [self.product]
        following = others[int(self.rng.integers(len(others)))]
        seconds = self.spec.changeover_s * math.exp(0.3 * float(self.rng.normal()))
        if following.base != self.product.base:
            seconds *= self.spec.base_change_factor
        if set(self.product.allergens) - set(following.allergens):
            seconds *= self.spec.clean_down_factor
        seconds = max(seconds, 120.0)
        pauses = sum(end - start for start, end in run.window.breaks if run.now <= start <= run.now + seconds)
        if run.now + seconds + pauses > closing - 600.0:
            return False
        at = run.idle(seconds, "changeover", f"{self.product.flavour} to {following.flavour}", past_break=True)
        film = self.spec.film_of(following)
        if film.id != self.rack.mounted["film"].web.id:
            self.rack.mount(film, at + 30.0)
            run.start_reel(film, at + 32.0)
        run.feed("film", self.spec.register_m, "changeovers", at + 60.0)
        self.product = following
        self.to_go = int(self.rng.integers(*self.spec.campaign_batches, endpoint=True))
        return True

    def _slow_stretches(self, window: Window) -> list[tuple[float, float, float]]:
        slow = [
            (window.start_s + stretch.after_h * 3600.0, stretch.minutes * 60.0, stretch.per_min)
            for stretch in self.spec.slow_stretches
            if stretch.shift == self.shifts_done
        ]
        length = window.end_s - window.start_s
        if not slow and self.rng.random() < self.spec.slow_stretches_per_shift:
            begin = window.start_s + float(self.rng.uniform(0.1, 0.85)) * length
            slow = [(begin, float(self.rng.uniform(20.0, 40.0)) * 60.0, float(self.rng.uniform(262.0, 288.0)))]
        return [(begin, begin + seconds, per_min) for begin, seconds, per_min in slow]
