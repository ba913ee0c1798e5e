"""All that a shift's answer tells, worked out in one place from the evidence of one machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from lineview.columns import TAPE
from lineview.measures.clock import calendar, shift_windows
from lineview.measures.machine_tape import machine_tape
from lineview.measures.pace import Projection, pace_needed_per_min, planned_pieces, project, run_stop_cycles
from lineview.measures.pieces import pieces_by_stretch, totals
from lineview.measures.shift_account import ShiftAccount, account, joined
from lineview.measures.stops import StopCount, stop_count
from lineview.plant import Machine, Plant


@dataclass(frozen=True)
class ShiftMeasures:
    """One period of one machine, measured.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    tape : polars.DataFrame
        TAPE of the part of the period that is over.
    windows : polars.DataFrame
        The shifts, as of shift_windows; `accounts` has one each, `so_far` is their sum.
    left_min : float
        Planned minutes still to come [min].
    planned : float or None
        Pieces planned; None without a plan.
    pace_needed_per_min : float or None
        For the rest [pieces/min].
    rest : Projection or None
        Of the planned minutes left.
    cycles : int
        Runs with what stood after them, seen so far.
    stops : StopCount
        Of the tape.
    """

    machine: Machine
    tape: pl.DataFrame
    windows: pl.DataFrame
    accounts: tuple[ShiftAccount, ...]
    so_far: ShiftAccount
    left_min: float
    planned: float | None
    pace_needed_per_min: float | None
    rest: Projection | None
    cycles: int
    stops: StopCount

    @property
    def unexplained_stops(self) -> int:
        """Stops, short ones aside, that have no reason."""
        return self.tape.filter((pl.col("state") == "stop") & pl.col("reason").is_null()).height


def nominal_per_min(machine: Machine) -> float:
    """Give the rate the ladder starts from [pieces/min]: the set rate, else the middle of the band."""
    return machine.set_per_min or sum(machine.nominal_per_min) / 2


def measure_shift(
    plant: Plant,
    machine: Machine,
    start: datetime,
    end: datetime,
    now: datetime,
    *,
    readings: pl.DataFrame,
    batches: pl.DataFrame,
    stop_log: pl.DataFrame,
    plan: pl.DataFrame,
) -> ShiftMeasures:
    """Measure a period of a machine.

    Parameters
    ----------
    plant : Plant
        Shifts, zone and limits.
    machine : Machine
        The cut-and-wrap machine.
    start, end : datetime
        The period [UTC].
    now : datetime
        Latest moment known [UTC]; what comes after it is not unseen but still to come.
    readings, batches, stop_log, plan : polars.DataFrame
        READINGS of the machine, BATCHES, STOP_LOG and PLAN.

    Returns
    -------
    ShiftMeasures
        Sums over the shifts of the period. A period outside every shift is planned as it stands.
    """
    whole = calendar(plant.shifts, plant.zone, start, end)
    if not whole.height:
        whole = calendar((), plant.zone, start, end)
    reach = min(max(now, start), end)
    past = whole.filter(pl.col("start") < reach).with_columns(pl.min_horizontal("end", pl.lit(reach)))
    tape = machine_tape(
        machine,
        readings,
        batches,
        stop_log,
        past,
        short_stop_min=plant.short_stop_min,
        gap_s=plant.gap_s,
    )
    windows = shift_windows(past)
    accounts = tuple(_accounts(machine, readings, past, windows, tape))
    so_far = joined(accounts, nominal_per_min(machine))
    left = float(shift_windows(whole)["planned_min"].sum()) - so_far.planned_min
    planned = planned_pieces(plan, machine.line, start, end)
    needed = None if planned is None else pace_needed_per_min(planned, so_far.good_used, left)
    cycles = run_stop_cycles(tape)
    rest = project(cycles, left) if left > 1e-6 else None
    return ShiftMeasures(
        machine, tape, windows, accounts, so_far, left, planned, needed, rest, cycles.height, stop_count(tape)
    )


def _accounts(
    machine: Machine, readings: pl.DataFrame, past: pl.DataFrame, windows: pl.DataFrame, tape: pl.DataFrame
) -> Sequence[ShiftAccount]:
    """Give one account a shift."""
    rate = nominal_per_min(machine)
    counted = totals(pieces_by_stretch(machine, readings, windows.select("start", "end")))
    edges = windows.select("start", "end").rows()
    parts = [tape.filter((pl.col("start") >= a) & (pl.col("end") <= b)) for a, b in edges]
    return [account(part, pieces, nominal_per_min=rate) for part, pieces in zip(parts, counted, strict=True)]


def rate_by_minute(
    machine: Machine, readings: pl.DataFrame, tape: pl.DataFrame, *, step_s: float = 60.0
) -> pl.DataFrame:
    """Give the rate along the clock for a drawing: about a minute a step, cut at the tape's edges.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    readings : polars.DataFrame
        READINGS of the machine.
    tape : polars.DataFrame
        TAPE by time.
    step_s : float
        Longest step [s].

    Returns
    -------
    polars.DataFrame
        Columns at, rate_per_min [pieces/min]; a rate holds until the next row; null where unseen.
    """
    if not tape.height:
        return pl.DataFrame(schema={"at": TAPE["start"], "rate_per_min": pl.Float64})
    starts, ends, unseen = [], [], []
    for row in tape.select("start", "end", "state").iter_rows(named=True):
        seconds = (row["end"] - row["start"]).total_seconds()
        runs = row["state"] in ("running", "slow", "break")
        steps = max(1, round(seconds / step_s)) if runs else 1
        edges = [row["start"] + timedelta(seconds=seconds * k / steps) for k in range(steps)] + [row["end"]]
        starts += edges[:-1]
        ends += edges[1:]
        unseen += [row["state"] == "unseen"] * steps
    frame = pl.DataFrame({"start": starts, "end": ends}).cast(TAPE["start"])
    made = pieces_by_stretch(machine, readings, frame)
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    rate = made.with_columns(unseen=pl.Series(unseen)).select(
        at="start", rate_per_min=pl.when(~pl.col("unseen")).then(pl.col("made") / minutes)
    )
    last = pl.DataFrame({"at": ends[-1:], "rate_per_min": [None]}, schema=rate.schema)
    gaps = [a for a, b in zip(ends, starts[1:], strict=False) if b > a]
    between = pl.DataFrame({"at": gaps, "rate_per_min": [None] * len(gaps)}, schema=rate.schema)
    return pl.concat([rate, between, last]).sort("at")
