"""The truth beside the exports: what counters stand at, shifts, stops, batches, webs, reels, stock."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lineview.demo.line import LineTruth
from lineview.demo.reels import Mount
from lineview.demo.spec import BLANK, GOOD, MOVING, REJECT, LineSpec, ShiftTruth, Stretch
from lineview.demo.weighing import BatchPieces
from lineview.plant import Plant, Web

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

    `spec`: the line; `shifts`: in order; `before`: what the counters stood at when the first of them began.
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
        cycle = np.floor(cycles + 1e-6).astype(np.int64)
        good = self._cum[GOOD][cycle] + self.before.good
        rejects = self._cum[REJECT][cycle] + self.before.rejects
        return {
            "good": good.astype(float),
            "rejects": rejects.astype(float),
            "pieces": (good + rejects).astype(float),
            "blanks": (self._cum[BLANK][cycle] + self.before.blanks).astype(float),
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
    counts_at_reset: dict[str, int]
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


STATES = ("running", "slow", "short stop", "stop", "changeover", "break")
#: What the truth's words mean; written beside it.
DEFINITIONS = {
    "times": "UTC, ISO 8601; wrap machine's own moments (the rope passes its gauge 8 s earlier)",
    "running, slow": "cycles are made; slow while the set rate is 262 to 288 a minute, else about 352",
    "short stop, stop": "no cycles and no changeover, cut at the edges of shifts and breaks; short under "
    "300 s by the length of the part itself; a run of a few seconds between two stops parts them",
    "changeover": "from the last cycle of one flavour to the first cycle of the next, breaks left out",
    "break": "exactly as planned; machines stand",
    "unseen_s": "seconds of the shift in which exports lack readings; the states count through them",
    "good, rejects, blanks": "cycles; a blank wrap has film and paper and no piece; both web counters turn",
    "sd_within_g, sd_between_g": "of piece mass: pooled within batches; between true batch means about the "
    "product's target, wear and adjustments included",
}


def moment(at_s: float) -> str:
    """A moment as ISO 8601 in UTC, to the millisecond."""
    return datetime.fromtimestamp(round(at_s, 3), UTC).isoformat(timespec="milliseconds")


@dataclass
class TruthRows:
    """Rows of the truth tables, gathered day by day."""

    shifts: list[dict[str, object]] = field(default_factory=list)
    stops: list[dict[str, object]] = field(default_factory=list)
    webs: list[dict[str, object]] = field(default_factory=list)
    pieces: dict[str, list[BatchPieces]] = field(default_factory=dict)

    def add(self, day: LineDay, gaps: Sequence[tuple[float, float]], pieces: Sequence[BatchPieces]) -> None:
        """Take in a day of one line."""
        self.pieces.setdefault(day.spec.line, []).extend(pieces)
        for shift in day.shifts:
            self.shifts.append(_shift_row(day.spec, shift, gaps))
            self.stops += list(_stop_rows(day.spec, shift))
            self.webs += list(_web_rows(day, shift))


def _shift_row(spec: LineSpec, shift: ShiftTruth, gaps: Sequence[tuple[float, float]]) -> dict[str, object]:
    w = shift.window
    unseen = sum(max(0.0, min(b, w.end_s) - max(a, w.start_s)) for a, b in gaps)
    return {
        "line": spec.line, "machine": spec.wrap, "date": w.date.isoformat(), "shift": w.shift,
        "start": moment(w.start_s), "end": moment(w.end_s),
        "good": shift.count(GOOD), "rejects": shift.count(REJECT), "blanks": shift.count(BLANK),
        **{f"{state.replace(' ', '_')}_s": round(shift.seconds(state), 3) for state in STATES},
        "sizer_running_s": round(sum(s.seconds for s in shift.stretches if s.rope_m > 0), 3),
        "unseen_s": round(unseen, 1),
    }  # fmt: skip


def _stop_rows(spec: LineSpec, shift: ShiftTruth) -> Iterable[dict[str, object]]:
    for s in shift.stretches:
        if s.state in ("short stop", "stop", "changeover"):
            yield {
                "machine": spec.wrap, "date": shift.window.date.isoformat(), "shift": shift.window.shift,
                "start": moment(s.t0), "end": moment(s.t1), "seconds": round(s.seconds, 3),
                "state": s.state, "reason": s.reason, "batch": s.batch,
            }  # fmt: skip


def _web_rows(day: LineDay, shift: ShiftTruth) -> Iterable[dict[str, object]]:
    """The metres of each web by cause: cycles from the counters' own sums, feeds one by one."""
    metres_by_cause: dict[tuple[str, str, str], float] = {}

    def add(web: str, kind: str, cause: str, metres: float) -> None:
        metres_by_cause[web, kind, cause] = metres_by_cause.get((web, kind, cause), 0.0) + metres

    for s in shift.stretches:
        if s.state not in MOVING:
            continue
        product = next(p for p in day.spec.products if p.id == day.products[s.batch])
        kinds = shift.kinds[s.first : s.first + s.cycles]
        counts = {
            "good pieces": (kinds == GOOD).sum(),
            "rejects": (kinds == REJECT).sum(),
            "blank wraps": (kinds == BLANK).sum(),
        }
        for web in (day.spec.film_of(product), day.spec.paper_of(product)):
            cut = web.cut_length_mm / 1000.0
            for cause, n in counts.items():
                add(web.id, web.kind, cause, float(n) * cut)
            add(web.id, web.kind, "slip", s.cycles * (day.counters.per_cycle_m(web.kind) - cut))
    for feed in shift.feeds:
        add(feed.web, feed.kind, feed.cause, feed.metres)
    for (web_id, kind, cause), metres in sorted(metres_by_cause.items()):
        yield {
            "machine": day.spec.wrap, "date": shift.window.date.isoformat(), "shift": shift.window.shift,
            "web": web_id, "kind": kind, "cause": cause, "metres": round(metres, 3),
        }  # fmt: skip


def write_truth(
    folder: Path, rows: TruthRows, lines: Sequence[LineTruth], counts: Sequence[StockCount], scenario: dict[str, object]
) -> None:
    """Write every truth table and truth.json."""
    write_rows(folder / "shifts.csv", rows.shifts)
    write_rows(folder / "stops.csv", rows.stops)
    write_rows(folder / "web_use.csv", rows.webs)
    write_rows(folder / "batches.csv", [r for line in lines for r in _batch_rows(line, rows)])
    write_rows(folder / "reels.csv", [_reel_row(m) for line in lines for m in line.mounts])
    write_rows(folder / "adjustments.csv", [
        {"machine": a.machine, "at": moment(a.at_s), "what": a.what, "step_mm": a.step_mm,
         "running_h": round(a.run_h, 4), "recorded": a.recorded}
        for line in lines for a in line.adjustments
    ])  # fmt: skip
    write_rows(folder / "stock.csv", [
        {"at": moment(c.at_s), "web": c.web, "whole_reels": c.whole_reels,
         "part_left_m": c.part_left_m and round(c.part_left_m, 2), "on_order_reels": c.on_order,
         "expected_on": moment(c.expected_s) if c.expected_s else ""}
        for c in counts
    ])  # fmt: skip
    sums = {line.spec.line: _line_truth(line, rows.pieces.get(line.spec.line, [])) for line in lines}
    document = {"invented": True, "definitions": DEFINITIONS, **scenario, "lines": sums}
    (folder / "truth.json").write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _batch_rows(line: LineTruth, rows: TruthRows) -> Iterable[dict[str, object]]:
    pieces = {p.batch: p for p in rows.pieces.get(line.spec.line, [])}
    for b in line.batches:
        if b.id not in pieces:
            continue
        p = pieces[b.id]
        yield {
            "line": line.spec.line, "batch": b.id, "product": b.product.id,
            "start": moment(b.start_s or 0.0), "end": moment(b.end_s or 0.0), "mass_in_kg": b.mass_in_kg,
            "good": p.good, "rejects": p.rejects, "pieces_kg": round(p.total_kg, 4),
            "mean_g": round(p.mean_g, 5), "sd_g": round(p.sd_g, 5),
            "diameter_mm": round(p.diameter_mm, 5), "sd_diameter_mm": round(p.sd_diameter_mm, 5),
            "temperature_c": round(p.temperature_c, 3), "batch_shift_mm": round(b.shift_mm, 5),
            "density_g_cm3": round(b.density, 5), "running_h": round(b.run_h, 4), "cut_short": b.cut_short,
        }  # fmt: skip


def _reel_row(m: Mount) -> dict[str, object]:
    return {
        "machine": m.machine, "at": moment(m.at_s), "web": m.web, "kind": m.kind, "reel": m.reel,
        "new": m.new,
        "label_m": m.label_m, "true_m": round(m.true_m, 2), "splices": m.splices, "old_reel": m.old_reel,
        "old_left_m": "" if m.old_left_m is None else round(m.old_left_m, 2),
        "old_left_noted_m": "" if m.noted_left_m is None else m.noted_left_m,
    }  # fmt: skip


def _line_truth(line: LineTruth, pieces: Sequence[BatchPieces]) -> dict[str, object]:
    spec = line.spec
    targets = {b.id: b.product.mass_g for b in line.batches}
    many = sum(p.good + p.rejects - 1 for p in pieces)
    within = sum(p.sd_g**2 * (p.good + p.rejects - 1) for p in pieces) / max(many, 1)
    off = [p.mean_g - targets[p.batch] for p in pieces]
    mean = sum(off) / max(len(off), 1)
    between = sum((o - mean) ** 2 for o in off) / max(len(off) - 1, 1)
    return {
        "sizer": spec.sizer, "wrap": spec.wrap, "drift_mm_per_running_h": spec.wear_mm_per_h,
        "level_mm": spec.level_mm, "taper_mm": spec.taper_mm, "mm_per_c": spec.mm_per_c,
        "sd_batch_mm": spec.sd_batch_mm, "sd_noise_mm": spec.sd_noise_mm, "phi_per_20s": spec.phi_per_20s,
        "sd_gauge_mm": spec.sd_gauge_mm, "sd_density_batch": spec.sd_density_batch,
        "sd_density_piece": spec.sd_density_piece, "sd_cut": spec.sd_cut, "transport_s": spec.transport_s,
        "blanks_per_restart": spec.blanks_per_restart, "slip_film": spec.slip_film,
        "slip_paper": spec.slip_paper,
        "register_m": spec.register_m, "rethread_m": spec.rethread_m,
        "mislabelled": [list(m) for m in spec.mislabelled],
        "sd_within_g": round(within**0.5, 5), "sd_between_g": round(between**0.5, 5),
        "mean_minus_target_g": round(mean, 5), "batches": len(pieces),
    }  # fmt: skip


def write_rows(path: Path, rows: Sequence[dict[str, object]]) -> None:
    """Write dictionaries as plain CSV (commas, UTF-8, points)."""
    with path.open("w", encoding="utf-8", newline="") as out:
        if rows:
            writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


@dataclass(frozen=True)
class StockCount:
    """One line of a stock count."""

    at_s: float
    web: str
    whole_reels: int
    part_left_m: float | None
    part_outer_mm: float | None
    on_order: int
    expected_s: float | None


def outer_mm(web: Web, left_m: float) -> float:
    """A reel's outer diameter [mm] from what is left on it: L = pi (D2 - d2) / 4t turned round."""
    return math.sqrt(web.reel_core_mm**2 + 4.0 * left_m * 1000.0 * (web.thickness_um or 0.0) / 1000.0 / math.pi)


def count_stock(plant: Plant, mounts: Sequence[Mount], start_s: float, at_s: float) -> list[StockCount]:
    """Count the shelf at a moment, from the reel changes before it and the deliveries of the scenario."""
    rows = []
    for k, web in enumerate(plant.webs):
        reels_used = sum(m.new for m in mounts if m.web == web.id and m.at_s <= at_s)
        first, every, reels = _deliveries(k, web)
        due = start_s + first * 86400.0
        came = 0
        while due <= at_s:
            came += reels
            due += every * 86400.0
        full_reels = (72 if web.kind == "wax paper" else 14) + came - reels_used
        parts = _parts(web, mounts, at_s) or [None]
        for i, length_m in enumerate(parts):
            outer = round(outer_mm(web, length_m)) if length_m else None
            rows.append(StockCount(at_s, web.id, full_reels if i == 0 else 0, length_m, outer,
                                reels if i == 0 else 0, due if i == 0 else None))  # fmt: skip
    return rows


def _deliveries(k: int, web: Web) -> tuple[float, float, int]:
    """Give days to the first delivery, days between deliveries, reels each."""
    if web.kind == "wax paper":
        return 3.2, 7.0, 144
    return 9.2 + k, 21.0, 36


def _parts(web: Web, mounts: Sequence[Mount], at_s: float) -> list[float | None]:
    waiting: list[tuple[str, float]] = []
    for mount in sorted(mounts, key=lambda m: m.at_s):
        if mount.at_s > at_s:
            break
        if mount.web == web.id and not mount.new:
            waiting.remove(next(w for w in waiting if w[0] == mount.machine))
        previous = mount.old_left_m
        if mount.old_web == web.id and previous is not None and previous > web.end_m + 1.0:
            waiting.append((mount.machine, previous))
    return [length_m for _, length_m in waiting]
