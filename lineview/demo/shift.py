"""One shift of one line, event by event: run, stop, change reels, pause, break."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineview.demo.reels import Rack, Reel
from lineview.demo.rope import Batch, piece_masses_g, rope_seconds
from lineview.demo.spec import BLANK, REJECT, Feed, LineSpec, ShiftTruth, StopCause, Stretch, Window
from lineview.plant import Web

FEED_M_PER_S = 0.3


@dataclass
class Sizer:
    """The sizer's wear: running hours so far and the steps that adjustments have pieces."""

    run_s: float = 0.0
    steps_mm: float = 0.0
    next_adjustment: int = 0

    def level_mm(self, spec: LineSpec) -> float:
        """The present deviation from the target, batches and noise aside."""
        return spec.level_mm + self.steps_mm + spec.wear_mm_per_h * self.run_s / 3600.0


@dataclass
class ShiftRun:
    """The moving state of one shift; `truth` fills as it goes."""

    spec: LineSpec
    rng: np.random.Generator
    rack: Rack
    sizer: Sizer
    window: Window
    slow: list[tuple[float, float, float]]
    now: float = 0.0
    pending_blanks: int = 0
    since_restart: int = 0
    set_per_min: float = 350.0
    rate_factor: float = 1.0
    next_stop_s: float = math.inf
    truth: ShiftTruth = field(init=False)
    kinds: list[NDArray[np.uint8]] = field(default_factory=list)
    masses: list[NDArray[np.float64]] = field(default_factory=list)
    cycles: int = 0

    def __post_init__(self) -> None:
        self.truth = ShiftTruth(self.window)
        self.now = self.window.start_s
        self._draw_stop()

    @property
    def over(self) -> bool:
        """Whether the shift has ended."""
        return self.now >= self.window.end_s

    def span_end(self) -> float:
        """When the present stretch between breaks ends."""
        return next((s for s, _ in self.window.breaks if s > self.now + 1e-6), self.window.end_s)

    def idle(self, seconds: float, state: str, reason: str, batch: str = "", *, past_break: bool = False) -> float:
        """Stand still; cut off at a break, or (whole) carried on after it. Gives when it began."""
        began = self.now
        remaining_s = seconds
        while remaining_s > 1e-3 and not self.over:
            edge = self.span_end()
            end = min(self.now + remaining_s, edge)
            remaining_s -= end - self.now
            self.truth.stretches.append(Stretch(self.now, end, state, reason, batch))
            self.now = end
            if end == edge:
                self._break(restart=not (past_break and remaining_s > 1e-3))
                remaining_s = remaining_s if past_break else 0.0
        self.pending_blanks = int(self.rng.poisson(self.spec.blanks_per_restart))
        self.since_restart = 0
        return began

    def stop(self, reason: str, median_s: float, sigma: float, batch: str = "", least_s: float = 8.0) -> float:
        """Stand still for a lognormal time, short stop or stop by its length."""
        seconds = max(least_s, median_s * math.exp(sigma * float(self.rng.normal())))
        return self.idle(seconds, "stop", reason, batch)

    def feed(self, kind: str, metres: float, cause: str, at_s: float) -> None:
        """Pull web through without cycles."""
        reel = self.rack.mounted[kind]
        metres = min(metres, max(reel.left_m, 0.0))
        reel.left_m -= metres
        self.truth.feeds.append(Feed(at_s, metres / FEED_M_PER_S, kind, metres, cause, reel.web.id))

    def start_reel(self, web: Web, at_s: float) -> None:
        """Pull the start of a new reel through."""
        self.feed(web.kind, self._varied(web.start_m, self.spec.sd_start_m), "reel starts", at_s)

    def _varied(self, metres: float, sd_m: float) -> float:
        return max(0.0, metres + sd_m * float(self.rng.normal())) if sd_m else metres

    def _break(self, *, restart: bool) -> None:
        spans = [(s, e) for s, e in self.window.breaks if s == self.now]
        if not spans:
            return
        self.truth.stretches.append(Stretch(self.now, spans[0][1], "break"))
        self.now = spans[0][1]
        if restart:
            self.stop("restart after break", 35.0, 0.5)

    def _draw_stop(self) -> None:
        total = sum(self._rate(c) for c in self.spec.stop_causes)
        after_s = float(self.rng.exponential(3600.0 / total)) if total > 0 else math.inf
        self.next_stop_s = max(after_s, self.spec.least_run_s)
        if self.spec.sd_rate:
            self.rate_factor = 1.0 + self.spec.sd_rate * float(self.rng.normal())

    def _rate(self, cause: StopCause) -> float:
        return cause.per_hour * (1.0 + cause.growth_per_h * self.sizer.run_s / 3600.0)

    def _speed(self) -> tuple[float, bool, float]:
        """Give cycles a second now, whether slow, and until when that holds."""
        for start, end, per_min in self.slow:
            if start <= self.now < end:
                return per_min / 60.0, True, end
        following = min((s for s, _, _ in self.slow if s > self.now), default=math.inf)
        return self.set_per_min * self.rate_factor / 60.0, False, following

    def run(self, batch: Batch) -> None:
        """Cut and wrap until the batch is used up or the shift ends."""
        while batch.pieces_cut < batch.pieces and not self.over:
            if self._change_empty_reels(batch):
                continue
            rate, slow, until = self._speed()
            limit = min(self.span_end(), until)
            in_time = math.floor((limit - self.now) * rate + 1e-9)
            in_stop = max(1, math.ceil(self.next_stop_s * rate))
            in_batch = self.pending_blanks + batch.pieces - batch.pieces_cut
            n = min(in_time, in_stop, in_batch, self._cycles_on_reels(batch))
            # What is left before an edge is less than a cycle: the stretch takes it in.
            to_edge = n == in_time
            t1 = limit if to_edge else self.now + n / rate
            self._stretch(batch, n, t1, slow)
            if to_edge and t1 == self.window.end_s:
                return
            if to_edge and any(s == t1 for s, _ in self.window.breaks):
                self._break(restart=True)
            elif n == in_stop:
                self._stop_for_cause(batch)

    def _stretch(self, batch: Batch, n: int, t1: float, slow: bool) -> None:
        blanks = min(self.pending_blanks, n)
        pieces = n - blanks
        seconds = t1 - self.now
        level = self.sizer.level_mm(self.spec)
        diameter, temperature = rope_seconds(self.spec, self.rng, batch, level, seconds, pieces)
        masses = np.full(n, np.nan)
        masses[blanks:] = piece_masses_g(self.spec, self.rng, batch, diameter, pieces)
        if batch.start_s is None and pieces:
            batch.start_s = self.now + seconds * blanks / n
            batch.run_h = self.sizer.run_s / 3600.0
        rope_m = pieces * batch.product.cut_length_mm / 1000.0
        when, what = (self.now, t1), ("slow" if slow else "running", "", batch.id)
        self.truth.stretches.append(Stretch(*when, *what, self.cycles, n, blanks, rope_m, diameter, temperature))
        self.kinds.append(self._kinds(n, blanks))
        self.masses.append(masses)
        self._use_web(batch, n)
        self.cycles += n
        self.pending_blanks -= blanks
        batch.pieces_cut += pieces
        batch.end_s = t1
        self.sizer.run_s += seconds
        self.next_stop_s -= seconds
        self.now = t1

    def _kinds(self, n: int, blanks: int) -> NDArray[np.uint8]:
        kinds = np.zeros(n, np.uint8)
        kinds[:blanks] = BLANK
        pieces = n - blanks
        early = np.arange(self.since_restart, self.since_restart + pieces) < self.spec.restart_pieces
        share = np.where(early, self.spec.reject_share_restart, self.spec.reject_share)
        kinds[blanks:][self.rng.random(pieces) < share] = REJECT
        self.since_restart += pieces
        return kinds

    def _per_cycle_m(self, reel: Reel) -> float:
        slip = self.spec.slip_film if reel.web.kind == "film" else self.spec.slip_paper
        return reel.web.cut_length_mm / 1000.0 * (1.0 + slip)

    def _use_web(self, batch: Batch, n: int) -> None:
        for kind in ("film", "wax paper"):
            reel = self.rack.mounted[kind]
            reel.left_m -= n * self._per_cycle_m(reel)

    def _cycles_on_reels(self, batch: Batch) -> int:
        """How many cycles until a reel ends or a splice comes (at least one)."""
        most = []
        for reel in self.rack.mounted.values():
            until = reel.splices_left_m[-1] if reel.splices_left_m else reel.end_m
            most.append(math.ceil((reel.left_m - until) / self._per_cycle_m(reel)))
        return max(1, min(most))

    def _change_empty_reels(self, batch: Batch) -> bool:
        for kind, reel in self.rack.mounted.items():
            if reel.splices_left_m and reel.left_m <= reel.splices_left_m[-1]:
                reel.splices_left_m.pop()
                at = self.stop(f"splice in {kind}", self.spec.splice_stop_s, 0.3, batch.id, least_s=15.0)
                self.feed(kind, self._varied(reel.web.splice_m, self.spec.sd_splice_m), "splices", at + 2.0)
                return True
            if reel.left_m <= reel.end_m:
                at = self.stop(f"reel change {kind}", 115.0, 0.3, batch.id, least_s=40.0)
                self.rack.mount(reel.web, at + 5.0)
                self.start_reel(reel.web, at + 6.0)
                return True
        return False

    def _stop_for_cause(self, batch: Batch) -> None:
        causes = self.spec.stop_causes
        rates = np.array([self._rate(c) for c in causes])
        cause = causes[int(self.rng.choice(len(causes), p=rates / rates.sum()))]
        at = self.stop(cause.reason, cause.median_s, cause.sigma, batch.id, self.spec.least_stop_s)
        kind = {"film break": "film", "paper break": "wax paper"}.get(cause.reason)
        if kind:
            self.feed(kind, self.spec.rethread_m, "rethreading after breaks", at + 2.0)
        self._draw_stop()

    def finish(self) -> ShiftTruth:
        """Close the shift: join stops that touch, name short ones, gather the cycles."""
        self.truth.stretches = join_stops(self.truth.stretches)
        if self.kinds:
            self.truth.kinds = np.concatenate(self.kinds)
            self.truth.masses_g = np.concatenate(self.masses)
        return self.truth


def join_stops(stretches: list[Stretch], short_s: float = 300.0) -> list[Stretch]:
    """Join stops that touch, let a changeover take in the stops at its edges, and separate short from long."""
    still = ("stop", "short stop", "changeover")
    merged: list[Stretch] = []
    for stretch in stretches:
        before = merged[-1] if merged else None
        if before and before.state in still and stretch.state in still:
            state = "changeover" if "changeover" in (before.state, stretch.state) else "stop"
            longer = max(before, stretch, key=lambda s: (s.state == "changeover", s.seconds))
            merged[-1] = Stretch(before.t0, stretch.t1, state, longer.reason, longer.batch)
        elif stretch.seconds > 0:
            merged.append(stretch)
    for stretch in merged:
        if stretch.state == "stop" and stretch.seconds < short_s:
            stretch.state = "short stop"
    return merged
