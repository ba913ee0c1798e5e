"""What the rest of the shift must run at, and where it ends if it goes on as it went."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from lineview.core.frames import PLAN, require
from lineview.core.language import tr
from lineview.machine.calendar import calendar
from lineview.machine.likeliest import planned_time
from lineview.machine.pieces import MachineCounts
from lineview.plant import Plant, Shift
from lineview.shift.past import RestOfShift
from lineview.wrap.reels import full_reel_m

#: A plan may leave up to a shift free between two of its rows; a longer gap is time without a plan [s].
LONGEST_FREE_S = 9 * 3600.0
#: With less of the shift left than this there is no rest to run [min].
LEAST_LEFT_MIN = 1 / 60


def planned_pieces(
    plan: pl.DataFrame, line: str, start: datetime, end: datetime, *, shifts: Sequence[Shift], zone: str
) -> float | None:
    """The pieces planned for a line in a period."""
    require(plan, PLAN, "plan")
    of_line = plan.filter((pl.col("line") == line) & pl.col("pieces").is_finite()).filter(
        (pl.col("start") < end) & (pl.col("end").fill_null(end) > start)
    )
    if not of_line.height:
        return None
    begins, finishes = of_line["start"].to_list(), of_line["end"].fill_null(end).to_list()
    inner = [max(at, start) for at in begins], [min(at, end) for at in finishes]
    planned_s, inside = np.split(_planned_s(shifts, zone, begins + inner[0], finishes + inner[1]), 2)
    share = np.where(planned_s > 0, inside / np.where(planned_s > 0, planned_s, 1.0), 1.0)
    return float(of_line["pieces"].to_numpy() @ share)


def plan_covers(
    plan: pl.DataFrame, line: str, start: datetime, end: datetime, *, shifts: Sequence[Shift], zone: str
) -> bool:
    """Whether a line's plan covers the planned time of a period; only then may the two be compared."""
    rows = plan.filter((pl.col("line") == line) & (pl.col("start") < end)).with_columns(pl.col("end").fill_null(end))
    stretches = calendar(shifts, zone, start, end)
    plan_time = planned_time(stretches if stretches.height else calendar((), zone, start, end))

    def free_s(begins: datetime, finishes: datetime) -> float:
        first, last = plan_time.before(np.array([begins.timestamp(), finishes.timestamp()]))
        return float(last - first)

    until = start
    for begins, finishes in rows.filter(pl.col("end") > start).sort("start").select("start", "end").rows():
        if free_s(until, begins) > (1.0 if until == start else LONGEST_FREE_S):
            return False
        until = max(until, finishes)
    return until > start and free_s(until, end) <= 1.0


def _planned_s(shifts: Sequence[Shift], zone: str, starts: Sequence[datetime], ends: Sequence[datetime]) -> np.ndarray:
    """Planned seconds between pairs of moments; all of them where no shift is planned there."""
    begin = np.array([at.timestamp() for at in starts])
    length = np.maximum(np.array([at.timestamp() for at in ends]) - begin, 0.0)
    first, last = min(starts), max([*starts, *ends])
    cal = calendar(shifts, zone, first, last) if last > first else calendar((), zone, first, first)
    plan_time = planned_time(cal)
    spent = plan_time.before(begin + length) - plan_time.before(begin)
    return np.where(spent > 0, spent, length)


def pace_needed_per_min(planned: float, good: float, left_min: float) -> float | None:
    """The rate that the rest of a shift must run at."""
    return None if left_min < LEAST_LEFT_MIN else max(0.0, planned - good) / left_min


@dataclass(frozen=True)
class NextEvent:
    """Something that ends soon: `at` with `earliest` (it never stops) and `latest`; None with `why`.

    `web` is that of a reel, "" of a batch. `latest` is None where it may be after the period. `working` holds the sum.
    """

    event: str
    web: str
    at: datetime | None
    earliest: datetime | None
    latest: datetime | None
    working: str
    why: str = ""


@dataclass(frozen=True)
class Pace:
    """Pieces a planned minute as it went, as if it never stopped, and how the rest may go."""

    usual_per_min: float
    running_per_min: float
    rest: RestOfShift | None
    to_come: Sequence[tuple[datetime, datetime]]

    def when(self, pieces: float) -> tuple[datetime | None, datetime | None, datetime | None]:
        """When so many more pieces are made: as it went, at the earliest, at the latest (90 %)."""
        usual, soonest = (
            self._after(pieces / rate) if rate > 0 else None for rate in (self.usual_per_min, self.running_per_min)
        )
        return usual, soonest, self._latest(pieces)

    def _latest(self, pieces: float) -> datetime | None:
        """When the low end of the projection reaches the pieces; None where it does not."""
        if self.usual_per_min <= 0 or self.rest is None:
            return None
        minutes = pieces / self.usual_per_min
        for _ in range(60):
            ahead = self.rest.project(minutes)
            if ahead.low is None:
                return None
            if ahead.low >= pieces:
                return self._after(minutes)
            minutes *= 1.05
        return None

    def _after(self, minutes: float) -> datetime | None:
        """The moment after so many more planned minutes; None where the period ends before."""
        for start, end in self.to_come:
            long = (end - start).total_seconds() / 60.0
            if minutes <= long:
                return start + timedelta(minutes=minutes)
            minutes -= long
        return None


def reel_ends(plant: Plant, counts: MachineCounts, reels: pl.DataFrame, now: datetime, pace: Pace) -> list[NextEvent]:
    """When each reel on a machine ends.

    Source: derived-projection
    """
    machine_reels = reels.filter((pl.col("machine") == counts.machine.id) & (pl.col("at") <= now)).sort("at", "row")
    events = []
    for row in _reels_on(plant, machine_reels):
        web = plant.web(row["web"] or "")
        name = (web.name or tr(web.kind)) if web else row["web"]
        words = tr("{web} reel ends", web=name)
        held_m = row["length_m"] or (full_reel_m(web) if web else None)
        pieces = _pieces_made(counts, row["at"], now)
        if web is None or held_m is None or pieces is None:
            no_length, no_pieces = tr("its length is not known"), tr("pieces since it was put on are not known")
            why = no_length if pieces is not None else no_pieces
            events.append(_unknown(words, name, why))
            continue
        each_m = web.cut_length_mm / 1000.0 * (1.0 + web.running_waste_percent / 100.0)
        left_m = held_m - web.start_m - web.end_m - pieces * each_m
        working = tr(
            "({held:,.0f} m on it − {used:,.0f} m for {pieces:,.0f} pieces) ÷ {each:.1f} mm",
            held=held_m,
            used=pieces * each_m,
            pieces=pieces,
            each=each_m * 1000,
        )
        events.append(_event(words, name, max(0.0, left_m) / each_m, working, pace))
    return events


def _reels_on(plant: Plant, changes: pl.DataFrame) -> list[dict[str, Any]]:
    """The reels that are on a machine after these changes: of each kind of web the last mounted."""
    kinds = {text.casefold(): web.kind for web in plant.webs for text in (web.id, web.name, web.kind) if text}
    last: dict[str, dict[str, Any]] = {}
    for row in changes.iter_rows(named=True):
        # Webs of one kind take turns on one spindle: the film of the next flavour takes this one's place.
        name = (row["web"] or "").strip().casefold()
        last[kinds.get(name, name)] = row
    return list(last.values())


def batch_end(plant: Plant, counts: MachineCounts, batches: pl.DataFrame, now: datetime, pace: Pace) -> list[NextEvent]:
    """When the batch on the line ends."""
    line_batches = batches.filter((pl.col("line") == counts.machine.line) & (pl.col("start") <= now)).sort("start")
    if not line_batches.height:
        return []
    row = line_batches.row(-1, named=True)
    product = plant.product(row["product"] or "")
    name = tr("batch ends, {flavour}", flavour=product.flavour) if product else tr("batch ends")
    pieces = _pieces_made(counts, row["start"], now)
    if product is None or pieces is None:
        no_product, no_pieces = tr("its product is not in plant.toml"), tr("pieces since its start are not known")
        why = no_product if product is None else no_pieces
        return [_unknown(name, "", why)]
    kilos = row["mass_in_kg"] or plant.batch_kg
    batch_pieces = kilos * 1000.0 / product.mass_g
    words = {"kilos": kilos, "mass": product.mass_g, "pieces": pieces}
    working = tr("{kilos:g} kg ÷ {mass:g} g − {pieces:,.0f} pieces", **words)
    return [_event(name, "", max(0.0, batch_pieces - pieces), working, pace)]


def _pieces_made(counts: MachineCounts, start: datetime, end: datetime) -> float | None:
    """The pieces made between two moments; None where they are not known."""
    pieces = counts.between([start, end]).total
    return None if pieces is None else pieces.at(0).value


def _unknown(name: str, web: str, why: str) -> NextEvent:
    return NextEvent(name, web, None, None, None, "", tr("not known: {why}", why=why))


def _event(name: str, web: str, pieces: float, working: str, pace: Pace) -> NextEvent:
    at, earliest, latest = pace.when(pieces)
    words = tr(
        "{sum} = {pieces:,.0f} pieces left at {rate:,.0f} a planned minute",
        sum=working,
        pieces=pieces,
        rate=pace.usual_per_min,
    )
    return NextEvent(name, web, at, earliest, latest, words, "" if at else tr("after the period's end"))
