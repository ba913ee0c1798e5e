"""What one machine lost, shift by shift and cause by cause, in minutes and pieces of its nominal rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from lineview.core.frames import STATES, UTC_US
from lineview.core.language import mark, tr
from lineview.machine.counters import Counted, Floats, Ints
from lineview.machine.pieces import MachineCounts, Pieces
from lineview.machine.timeline import timeline_of
from lineview.plant import Plant, WebKind
from lineview.shift.measures import nominal_per_min

#: A shift of one machine, or the part of one that was asked for: `seen_min` are its planned minutes with
#: readings, `good` the likeliest count between its bounds; `open_rejects` what is taken for rejects while their
#: counter is not read; `open_pieces` what unread minutes would make at the nominal rate; `film_m` and `paper_m` fed,
#: null where nothing counts them. Minutes [min], rate [pieces/min], webs [m].
SHIFTS: dict[str, pl.DataType] = {
    "machine": pl.String(),
    "line": pl.String(),
    "shift": pl.String(),
    "date": pl.Date(),
    "start": UTC_US,
    "end": UTC_US,
    "planned_min": pl.Float64(),
    "run_min": pl.Float64(),
    "seen_min": pl.Float64(),
    "nominal_per_min": pl.Float64(),
    "stops": pl.Int64(),
    "good": pl.Float64(),
    "open_rejects": pl.Float64(),
    "good_low": pl.Float64(),
    "good_high": pl.Float64(),
    "open_pieces": pl.Float64(),
    "film_m": pl.Float64(),
    "paper_m": pl.Float64(),
}

#: What a shift of a machine lost to one cause: `clock_min` by the clock [min], `pieces` at the nominal rate,
#: `events` stretches of it. Over a shift the pieces of all causes add up to planned time at the nominal rate
#: less good pieces.
LOSSES: dict[str, pl.DataType] = {
    "machine": pl.String(),
    "start": UTC_US,
    "cause": pl.String(),
    "clock_min": pl.Float64(),
    "pieces": pl.Float64(),
    "events": pl.Int64(),
}

CHANGEOVERS, UNSEEN, SLOW = mark("changeovers"), mark("no readings"), mark("slow running")
PACE, BLANKS, REJECTS = mark("running off the nominal rate"), mark("blank wraps"), mark("rejects")
BREAKS, UNEXPLAINED = mark("made in breaks"), mark("not explained")
#: A stop with a reason, short or long; and what those of each kind without one are called.
REASONED = "stops: {}"
BARE = {"stop": mark("stops without a reason"), "short stop": mark("short stops without a reason")}


def cause_cell(cause: str) -> str:
    """A cause as a table's cell: put together here where a reason is part of it, a message else."""
    reason = cause.removeprefix(REASONED.format(""))
    return cause if reason == cause else tr("stops: {reason}", reason=tr(reason))


def cause_words(cause: str) -> str:
    """A cause as people read it."""
    return tr(cause_cell(cause))


@dataclass(frozen=True)
class MachineLosses:
    """The shifts of one machine (SHIFTS), what each lost (LOSSES), and the timeline behind them while it is used."""

    shifts: pl.DataFrame
    losses: pl.DataFrame
    timeline: pl.DataFrame = field(default_factory=pl.DataFrame)

    @property
    def without_timeline(self) -> MachineLosses:
        """The same without the timeline, which is ten times as large."""
        return MachineLosses(self.shifts, self.losses)


def cells_of(cal: pl.DataFrame) -> pl.DataFrame:
    """The shifts of a calendar, each with its planned minutes, in order of time; two parts apart are two rows."""
    minutes = (pl.col("end") - pl.col("start")).dt.total_microseconds() / 6e7
    return (
        cal.with_columns(part_of=(pl.col("start") != pl.col("end").shift(1)).fill_null(value=True).cum_sum())
        .with_columns(part_of=pl.struct("shift", "date", "part_of").rle_id())
        .group_by("part_of", maintain_order=True)
        .agg(
            pl.col("shift").first(),
            pl.col("date").first(),
            pl.col("start").min(),
            pl.col("end").max(),
            planned_min=minutes.filter(pl.col("part") == "planned").sum(),
        )
        .filter(pl.col("planned_min") > 0)
    )


def machine_losses(
    plant: Plant, counts: MachineCounts, batches: pl.DataFrame, stop_log: pl.DataFrame, cal: pl.DataFrame
) -> MachineLosses | None:
    """Work out what a cut-and-wrap machine lost in each shift of a CALENDAR; None where no counter counts its pieces.

    Takes BATCHES and STOP_LOG. A state's loss is its minutes at the nominal rate less the pieces made in it.
    Source: derived-ladder
    """
    cells = cells_of(cal)
    if not cells.height:
        return None
    begins, ends = (cells[side].dt.epoch("us").to_numpy() for side in ("start", "end"))
    pieces = counts.pieces(begins, ends)
    if pieces.good is None or pieces.total is None:
        return None
    timeline = timeline_of(counts, batches, stop_log, cal, short_stop_min=plant.short_stop_min)
    stretches = _stretches(timeline, begins)
    by_state = _ByState.of(stretches, cells.height)
    sums = _LedgerPieces.of(pieces, by_state)
    rate = nominal_per_min(counts.machine)
    losses = _losses(cells, stretches, by_state, sums, rate)
    machine = pl.lit(counts.machine.id).alias("machine")
    shifts = cells.select(
        machine,
        pl.lit(counts.machine.line).alias("line"),
        "shift",
        "date",
        "start",
        "end",
        "planned_min",
        run_min=pl.Series(by_state.minutes["running"] + by_state.minutes["slow"]),
        seen_min=cells["planned_min"] - by_state.minutes["unseen"],
        # a column, not one number for all: polars would multiply by its inverse, which rounds otherwise
        nominal_per_min=pl.Series(np.full(cells.height, rate)),
        stops=pl.Series(by_state.stops),
        good=pl.Series(sums.good),
        open_rejects=pl.Series(sums.rejects - _least(pieces.rejects, cells.height)),
        good_low=pl.Series(pieces.good.low),
        good_high=pl.Series(pieces.good.high),
        film_m=_metres_fed(counts, "film", begins, ends),
        paper_m=_metres_fed(counts, "wax paper", begins, ends),
        open_pieces=pl.Series((by_state.minutes["unseen"] + by_state.uncounted_min) * rate),
    ).select(list(SHIFTS))
    return MachineLosses(shifts, losses.select(machine, *list(LOSSES)[1:]), timeline)


def _metres_fed(counts: MachineCounts, kind: WebKind, begins: Ints, ends: Ints) -> pl.Series:
    """What was fed of a web in each shift [m]; null where its counter was not read."""
    metres = counts.count(kind, begins, ends) if counts.has_read(kind) else None
    nothing = pl.Series([None] * len(begins), dtype=pl.Float64)
    return nothing if metres is None else pl.Series(metres.value, dtype=pl.Float64).fill_nan(None)


def _stretches(timeline: pl.DataFrame, begins: Ints) -> pl.DataFrame:
    """The rows of a timeline with the shift they lie in, their length and whether one begins in them."""
    place = np.searchsorted(begins, timeline["start"].dt.epoch("us").to_numpy(), side="right") - 1
    goes_on = (
        (pl.col("state") == pl.col("state").shift(1))
        & (pl.col("start") == pl.col("end").shift(1))
        & (pl.col("place") == pl.col("place").shift(1))
    )
    rows = timeline.with_columns(place=pl.Series(place)).filter(pl.col("place") >= 0)
    return rows.select(
        "place",
        "state",
        "pieces",
        reason=pl.col("reason").str.strip_chars().str.to_lowercase().replace("", None),
        us=(pl.col("end") - pl.col("start")).dt.total_microseconds(),
        new=~goes_on.fill_null(value=False),
    )


@dataclass(frozen=True)
class _ByState:
    """By state, minutes [min] and pieces seen in each shift; `uncounted_min` ran without a count [min]."""

    minutes: dict[str, Floats]
    pieces: dict[str, Floats]
    uncounted_min: Floats
    stops: Ints

    @classmethod
    def of(cls, stretches: pl.DataFrame, n: int) -> _ByState:
        place = stretches["place"].to_numpy()
        minutes = stretches["us"].to_numpy() / 6e7
        pieces = stretches["pieces"].fill_null(0.0).to_numpy()
        state = stretches["state"]
        masks = {name: (state == name).to_numpy() for name in STATES}
        blind = (masks["running"] | masks["slow"]) & stretches["pieces"].is_null().to_numpy()
        began = (masks["stop"] | masks["short stop"]) & stretches["new"].to_numpy()
        return cls(
            {s: _sums(place[m], minutes[m], n) for s, m in masks.items()},
            {s: _sums(place[m], pieces[m], n) for s, m in masks.items()},
            _sums(place[blind], minutes[blind], n),
            np.bincount(place[began], minlength=n).astype(np.int64),
        )


def _sums(place: Ints, values: Floats, n: int) -> Floats:
    return np.bincount(place, values, minlength=n).astype(np.float64)  # of nothing it gives whole numbers


@dataclass(frozen=True)
class _LedgerPieces:
    """Pieces of each shift as the ledger takes them: the value, or the least where it is not known."""

    good: Floats
    total: Floats
    rejects: Floats
    blanks: Floats
    unseen: Floats

    @classmethod
    def of(cls, pieces: Pieces, by_state: _ByState) -> _LedgerPieces:
        good, all_pieces = _least(pieces.good), _least(pieces.total)
        rejects = np.zeros(len(good))
        if pieces.rejects is not None:
            open_count = np.isnan(pieces.rejects.value)
            rejects = np.where(open_count, np.maximum(all_pieces - good, 0.0), pieces.rejects.value)
        in_states = sum(by_state.pieces[state] for state in STATES if state != "unseen")
        return cls(good, all_pieces, rejects, _least(pieces.blanks, len(good)), all_pieces - in_states)


def _least(estimate: Counted | None, n: int = 0) -> Floats:
    if estimate is None:
        return np.zeros(n)
    return np.where(np.isnan(estimate.value), np.maximum(estimate.low, 0.0), estimate.value)


def _losses(
    cells: pl.DataFrame, stretches: pl.DataFrame, by_state: _ByState, sums: _LedgerPieces, rate: float
) -> pl.DataFrame:
    minutes, pieces_in, blind = by_state.minutes, by_state.pieces, by_state.uncounted_min
    ran = np.maximum(minutes["running"] - blind, 0.0)
    # What running without a count takes from running it adds to time without readings.
    over = blind - (minutes["running"] - ran)
    zero = np.zeros(cells.height)
    unread = minutes["unseen"] + blind > 0
    causes: list[tuple[str, Floats, Floats]] = [
        (SLOW, minutes["slow"], minutes["slow"] * rate - pieces_in["slow"]),
        (PACE, ran, ran * rate - pieces_in["running"] - sums.blanks),
        (
            UNSEEN,
            minutes["unseen"] + blind,
            np.where(unread, (minutes["unseen"] + blind - over) * rate - sums.unseen, 0.0),
        ),
        (BLANKS, zero, sums.blanks),
        (REJECTS, zero, sums.rejects),
        (BREAKS, zero, -pieces_in["break"]),
        (UNEXPLAINED, zero, sums.total - sums.rejects - sums.good - np.where(unread, 0.0, sums.unseen)),
    ]
    place = pl.Series("place", np.arange(cells.height), dtype=pl.Int64)
    parts = [
        pl.DataFrame({"place": place, "clock_min": clock, "pieces": pieces})
        .with_columns(cause=pl.lit(cause), events=pl.lit(0, pl.Int64))
        .filter((pl.col("pieces").abs() > 1e-9) | (pl.col("clock_min") > 0))
        for cause, clock, pieces in causes
    ]
    rows = pl.concat([_standing(stretches, rate), *(p.select(_ROW) for p in parts)])
    starts = cells["start"].gather(rows["place"])
    return rows.with_columns(start=starts).sort("start", "cause")


_ROW = ("place", "cause", "clock_min", "pieces", "events")


def _standing(stretches: pl.DataFrame, rate: float) -> pl.DataFrame:
    """What stood, by shift and cause: changeovers, and stops and short stops by their reasons."""
    cause = pl.lit(CHANGEOVERS)
    for state, bare in BARE.items():
        cause_text = pl.when(pl.col("reason").is_null()).then(pl.lit(bare)).otherwise(pl.format(REASONED, "reason"))
        cause = pl.when(pl.col("state") == state).then(cause_text).otherwise(cause)
    standstills = stretches.filter(pl.col("state").is_in(["changeover", *BARE])).with_columns(cause=cause)
    return (
        standstills.group_by("place", "cause", maintain_order=True)
        .agg(clock_min=pl.col("us").sum() / 6e7, made=pl.col("pieces").sum(), events=pl.col("new").sum().cast(pl.Int64))
        .with_columns(pieces=pl.col("clock_min") * rate - pl.col("made"), place=pl.col("place").cast(pl.Int64))
        .select(_ROW)
    )


#: So many reasons of stops have a row of their own; the others share one.
MOST_REASONS = 8
OTHER_REASONS = REASONED.format(mark("other reasons"))


def rare_reasons(parts: Sequence[MachineLosses]) -> set[str]:
    """The stops whose reasons are too rare for a row of their own: all but those that cost most."""
    if not parts:
        return set()
    start = REASONED.format("")
    rows = pl.concat([part.losses for part in parts]).filter(pl.col("cause").str.starts_with(start))
    summed = (
        rows.group_by("cause", maintain_order=True)
        .agg(pl.col("pieces").sum())
        .sort("pieces", "cause", descending=[True, False])
    )
    return set(summed["cause"][MOST_REASONS:].to_list())


def with_rare_together(part: MachineLosses, rare: set[str]) -> MachineLosses:
    """The losses with stops of rare reasons in one row."""
    if not rare:
        return part
    cause = pl.when(pl.col("cause").is_in(list(rare))).then(pl.lit(OTHER_REASONS)).otherwise("cause")
    return replace(part, losses=part.losses.with_columns(cause.alias("cause")))
