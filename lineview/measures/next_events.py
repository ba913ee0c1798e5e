"""When the next reel change is due and when the batch ends, if the line goes on as it went."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from lineview.machine.pieces import MachineCounts
from lineview.measures.pace import project
from lineview.measures.reel_length import full_reel_m
from lineview.plant import Plant


@dataclass(frozen=True)
class NextEvent:
    """Something that ends soon: `at` with `earliest` (it never stops) and `latest`; None with `why`.

    `latest` is None where it may be after the period. `working` holds the sum.
    """

    event: str
    at: datetime | None
    earliest: datetime | None
    latest: datetime | None
    working: str
    why: str = ""


@dataclass(frozen=True)
class Pace:
    """Pieces a planned minute as it went, as if it never stopped, and the runs and stops behind it."""

    usual_per_min: float
    running_per_min: float
    cycles: pl.DataFrame
    to_come: Sequence[tuple[datetime, datetime]]

    def when(self, pieces: float) -> tuple[datetime | None, datetime | None, datetime | None]:
        """Give when so many more pieces are made: as it went, at the earliest, at the latest (90 %)."""
        usual, soonest = (
            self._after(pieces / rate) if rate > 0 else None
            for rate in (self.usual_per_min, self.running_per_min)
        )
        return usual, soonest, self._latest(pieces)

    def _latest(self, pieces: float) -> datetime | None:
        """Give when the low end of the projection reaches the pieces; None where it does not."""
        if self.usual_per_min <= 0:
            return None
        minutes = pieces / self.usual_per_min
        for _ in range(60):
            rest = project(self.cycles, minutes)
            if rest is None:
                return None
            if rest.low >= pieces:
                return self._after(minutes)
            minutes *= 1.05
        return None

    def _after(self, minutes: float) -> datetime | None:
        """Give the moment after so many more planned minutes; None where the period ends before."""
        for start, end in self.to_come:
            long = (end - start).total_seconds() / 60.0
            if minutes <= long:
                return start + timedelta(minutes=minutes)
            minutes -= long
        return None


def reel_ends(
    plant: Plant, counts: MachineCounts, reels: pl.DataFrame, now: datetime, pace: Pace
) -> list[NextEvent]:
    """Give when each web's reel ends on a machine.

    Parameters
    ----------
    plant : Plant
        Its webs.
    counts : MachineCounts
        Of the machine.
    reels : polars.DataFrame
        REELS.
    now : datetime
        Latest moment known [UTC].
    pace : Pace
        Of the machine.

    Returns
    -------
    list of NextEvent
        One a web with a reel on the machine. Use is the cut length a piece and the web's running waste.

    Notes
    -----
    Source: derived-projection
    """
    own = reels.filter((pl.col("machine") == counts.machine.id) & (pl.col("at") <= now)).sort("at")
    events = []
    for row in own.unique("web", keep="last", maintain_order=True).iter_rows(named=True):
        web = plant.web(row["web"] or "")
        name = f"{(web.name or web.kind) if web else row['web']} reel ends"
        held = row["length_m"] or (full_reel_m(web) if web else None)
        made = _made(counts, row["at"], now)
        if web is None or held is None or made is None:
            why = (
                "its length is not known" if made is not None else "pieces since it was put on are not known"
            )
            events.append(NextEvent(name, None, None, None, "", f"cannot be told: {why}"))
            continue
        each_m = web.cut_length_mm / 1000.0 * (1.0 + web.running_waste_percent / 100.0)
        left_m = held - web.start_m - web.end_m - made * each_m
        working = (
            f"({held:,.0f} m on it − {made * each_m:,.0f} m for {made:,.0f} pieces) ÷ {each_m * 1000:.1f} mm"
        )
        events.append(_event(name, max(0.0, left_m) / each_m, working, pace))
    return events


def batch_end(
    plant: Plant, counts: MachineCounts, batches: pl.DataFrame, now: datetime, pace: Pace
) -> list[NextEvent]:
    """Give when the batch on the line ends.

    Parameters
    ----------
    plant : Plant
        Its products and usual batch mass.
    counts : MachineCounts
        Of the machine.
    batches : polars.DataFrame
        BATCHES.
    now : datetime
        Latest moment known [UTC].
    pace : Pace
        Of the machine.

    Returns
    -------
    list of NextEvent
        One, or none without a batch sheet.
    """
    own = batches.filter((pl.col("line") == counts.machine.line) & (pl.col("start") <= now)).sort("start")
    if not own.height:
        return []
    row = own.row(-1, named=True)
    product = plant.product(row["product"] or "")
    name = f"batch ends{f', {product.flavour}' if product else ''}"
    made = _made(counts, row["start"], now)
    if product is None or made is None:
        why = (
            "its product is not in plant.toml" if product is None else "pieces since its start are not known"
        )
        return [NextEvent(name, None, None, None, "", f"cannot be told: {why}")]
    kilos = row["mass_in_kg"] or plant.batch_kg
    holds = kilos * 1000.0 / product.mass_g
    working = f"{kilos:g} kg ÷ {product.mass_g:g} g − {made:,.0f} pieces"
    return [_event(name, max(0.0, holds - made), working, pace)]


def _made(counts: MachineCounts, start: datetime, end: datetime) -> float | None:
    """Give the pieces made between two moments; None where they cannot be told."""
    made = counts.between([start, end]).made
    return None if made is None else made.at(0).value


def _event(name: str, pieces: float, working: str, pace: Pace) -> NextEvent:
    at, earliest, latest = pace.when(pieces)
    told = f"{working} = {pieces:,.0f} pieces left at {pace.usual_per_min:,.0f} a planned minute"
    return NextEvent(name, at, earliest, latest, told, "" if at else "after the period's end")
