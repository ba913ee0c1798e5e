"""The account of a shift: minutes and pieces by state, summed, never averaged."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.estimate import Estimate
from lineview.core.frames import STATE_TIMELINE, STATES, require
from lineview.core.language import mark, tr
from lineview.machine.pieces import StretchPieces
from lineview.machine.reported_states import coded_sums
from lineview.machine.stops import KINDS


@dataclass(frozen=True)
class ShiftAccount:
    """What one stretch of a machine came to: `minutes`, `state_pieces` and the number of `stretches` by state.

    `pieces` are those of the whole stretch from the counters; `nominal_per_min` is where the ladder starts; `kinds` is
    (state, kind of stop) to minutes and pieces, of stops and short stops but the machine's own. `coded_run_min` and
    `coded_stand_min` are known from states alone, and in `minutes`; no counter shows the pieces of `uncounted_min`.
    """

    minutes: Mapping[str, float]
    state_pieces: Mapping[str, float]
    stretches: Mapping[str, int]
    pieces: StretchPieces
    nominal_per_min: float
    kinds: Mapping[tuple[str, str], tuple[float, float]]
    coded_run_min: float
    coded_stand_min: float
    uncounted_min: float

    @property
    def planned_min(self) -> float:
        """Planned minutes: all but breaks [min]."""
        return sum(self.minutes[state] for state in STATES if state != "break")

    @property
    def run_min(self) -> float:
        """Running and slow minutes [min]."""
        return self.minutes["running"] + self.minutes["slow"]

    @property
    def unseen_min(self) -> float:
        """Minutes without readings [min]."""
        return self.minutes["unseen"]

    @property
    def is_all_unseen(self) -> bool:
        """Whether none of the planned minutes was seen: what is summed over them is then not known, and no 0."""
        return 0 < self.planned_min <= self.unseen_min + 1e-9

    @property
    def stand_min(self) -> float:
        """Minutes of stops, short stops and changeovers [min]."""
        return self.minutes["stop"] + self.minutes["short stop"] + self.minutes["changeover"]

    @property
    def counted_run_min(self) -> float:
        """Running and slow minutes whose pieces are known [min]."""
        return max(0.0, self.run_min - self.uncounted_min)

    def stop_minutes(self, *kinds: str) -> float:
        """The minutes of stops and short stops of these kinds [min]."""
        others = {kind for _, kind in self.kinds} - set(kinds) if "own" in kinds else set(kinds)
        others_min = sum(minutes for (_, kind), (minutes, _) in self.kinds.items() if kind in others)
        # What nothing puts down to another cause is the machine's own.
        return self.minutes["stop"] + self.minutes["short stop"] - others_min if "own" in kinds else others_min

    @property
    def good(self) -> Estimate:
        """Good pieces; nothing known where no counter counts them."""
        return self.pieces.good or Estimate(None, 0.0, None)

    @property
    def is_good_known(self) -> bool:
        """Whether the number of good pieces is known."""
        return self.good.value is not None

    @property
    def good_used(self) -> float:
        """Good pieces, or the least they can be."""
        return self.good.least

    @property
    def pieces_used(self) -> float:
        """Pieces made, or the least they can be."""
        return 0.0 if self.pieces.total is None else self.pieces.total.least

    @property
    def counts_rejects(self) -> bool:
        """Whether anything counts rejects."""
        return self.pieces.rejects is not None

    @property
    def has_open_rejects(self) -> bool:
        """Whether the pieces made are known, and how many of them were rejects is not."""
        return self.pieces.total is not None and self.pieces.total.value is not None and not self.is_good_known

    @property
    def rejects_used(self) -> float:
        """Rejects; where they are not known, pieces made less good ones."""
        rejects = self.pieces.rejects
        if rejects is None:
            return 0.0
        if rejects.value is None or not self.is_good_known:
            return max(0.0, self.pieces_used - self.good_used)
        return rejects.value

    @property
    def counters_differ(self) -> float:
        """Good pieces less what pieces made and rejects would leave."""
        return self.good_used - (self.pieces_used - self.rejects_used)

    def pieces_in(self, state: str) -> float:
        """The pieces made in a state; in unseen time what is left of the total."""
        if state != "unseen":
            return self.state_pieces[state]
        return self.pieces_used - sum(self.state_pieces[s] for s in STATES if s != "unseen")


def add_up(accounts: Sequence[ShiftAccount], nominal_per_min: float) -> ShiftAccount:
    """Add accounts up: minutes and pieces are summed.

    Takes `nominal_per_min` [pieces/min].
    """
    return ShiftAccount(
        minutes={state: sum(a.minutes[state] for a in accounts) for state in STATES},
        state_pieces={state: sum(a.state_pieces[state] for a in accounts) for state in STATES},
        stretches={state: sum(a.stretches[state] for a in accounts) for state in STATES},
        pieces=StretchPieces(
            _sum([a.pieces.good for a in accounts]),
            _sum([a.pieces.total for a in accounts]),
            _sum([a.pieces.rejects for a in accounts]),
        ),
        nominal_per_min=nominal_per_min,
        kinds=_sum_kinds(accounts),
        coded_run_min=sum(a.coded_run_min for a in accounts),
        coded_stand_min=sum(a.coded_stand_min for a in accounts),
        uncounted_min=sum(a.uncounted_min for a in accounts),
    )


def _sum_kinds(accounts: Sequence[ShiftAccount]) -> dict[tuple[str, str], tuple[float, float]]:
    sums: dict[tuple[str, str], tuple[float, float]] = {}
    for account in accounts:
        for key, (minutes, pieces) in account.kinds.items():
            before = sums.get(key, (0.0, 0.0))
            sums[key] = (before[0] + minutes, before[1] + pieces)
    return sums


def _sum(parts: Sequence[Estimate | None]) -> Estimate | None:
    """Add counts up; None where nothing counts them."""
    counts = [part for part in parts if part is not None]
    return None if len(counts) < len(parts) or not parts else Estimate.sum(counts)


def accounts(
    timeline: pl.DataFrame, windows: pl.DataFrame, pieces: Sequence[StretchPieces], *, nominal_per_min: float
) -> tuple[ShiftAccount, ...]:
    """Sum a timeline up, shift by shift.

    Takes `nominal_per_min` [pieces/min].
    """
    require(timeline, STATE_TIMELINE, "timeline")
    begins = windows["start"].dt.epoch("us").to_numpy()
    row = np.searchsorted(begins, timeline["start"].dt.epoch("us").to_numpy(), side="right") - 1
    # A stop split where its code changes is one stop.
    goes_on = (pl.col("state") == pl.col("state").shift(1)) & (pl.col("start") == pl.col("end").shift(1))
    rows = timeline.with_columns(
        us=(pl.col("end") - pl.col("start")).dt.total_microseconds(), shift=pl.Series(row)
    ).with_columns(new=~(goes_on & (pl.col("shift") == pl.col("shift").shift(1))).fill_null(value=False))
    state_sums = rows.group_by("shift", "state", maintain_order=True).agg(
        pl.col("us").sum(), pl.col("pieces").sum(), pl.col("new").sum()
    )
    sums = {(shift, state): sums_of for shift, state, *sums_of in state_sums.iter_rows()}
    nothing, sums_of_states = [0, 0.0, 0], coded_sums(rows)
    result = []
    for k, pieces_of in enumerate(pieces):
        by_state = {state: sums.get((k, state), nothing) for state in STATES}
        result.append(
            ShiftAccount(
                minutes={state: us / 6e7 for state, (us, _, _) in by_state.items()},
                state_pieces={state: float(pieces_made or 0.0) for state, (_, pieces_made, _) in by_state.items()},
                stretches={state: int(n) for state, (_, _, n) in by_state.items()},
                pieces=pieces_of,
                nominal_per_min=nominal_per_min,
                kinds=sums_of_states.kinds.get(k, {}),
                coded_run_min=sums_of_states.run_min.get(k, 0.0),
                coded_stand_min=sums_of_states.stand_min.get(k, 0.0),
                uncounted_min=sums_of_states.uncounted_min.get(k, 0.0),
            )
        )
    return tuple(result)


_KIND_WORDS = {"outside": mark("caused elsewhere")}


@dataclass(frozen=True)
class Rung:
    """One step of the ladder: a cause, its minutes (None: takes none), the pieces it adds or takes."""

    cause: str
    minutes: float | None
    pieces: int
    kind: str = "loss"


#: Cause, key of the pieces lost, and states whose minutes it takes.
CAUSES: tuple[tuple[str, str, str], ...] = (
    (mark("changeovers"), "changeover", "changeover"),
    (mark("stops"), "stop", "stop"),
    (mark("short stops"), "short_stop", "short stop"),
    (mark("not seen"), "unseen", "unseen"),
    (mark("slow stretches"), "slow", "slow"),
    (mark("running above or below that rate"), "running", "running"),
)


def loss_waterfall(account: ShiftAccount, *, good_counted: bool = True) -> tuple[Rung, ...]:
    """The ladder of a shift, or of several summed.

    A state's loss is its minutes at the nominal rate, less the pieces made in it.
    Source: derived-ladder
    """
    rate = account.nominal_per_min
    steps: list[tuple[str, float | None, float]] = []
    for cause, _, state in CAUSES:
        minutes, pieces = cause_sums(account, state)
        kind_steps: list[tuple[str, float | None, float]] = []
        for kind in KINDS[1:]:
            part, of_it = account.kinds.get((state, kind), (0.0, 0.0))
            if part > 0:
                kind_steps.append((f"{tr(cause)}: {tr(_KIND_WORDS.get(kind, kind))}", part, of_it - part * rate))
                minutes, pieces = minutes - part, pieces - of_it
        name = tr("{cause}: the machine's own", cause=tr(cause)) if kind_steps else cause
        steps += [(name, minutes, pieces - minutes * rate), *kind_steps]
    steps.append((mark("made in breaks"), None, account.pieces_in("break")))
    steps.append((mark("rejects"), None, -account.rejects_used))
    steps.append((mark("counters differ"), None, account.counters_differ))
    return _round_steps(account, steps, tr("good pieces") if good_counted else tr("pieces, rejects not counted"))


def cause_sums(account: ShiftAccount, state: str) -> tuple[float, float]:
    """The minutes [min] that the ladder counts to a state, and the pieces made in them."""
    minutes, pieces = account.minutes.get(state, 0.0), account.pieces_in(state)
    if state == "unseen":
        return minutes + account.uncounted_min, pieces
    if state == "running":
        return max(0.0, minutes - account.uncounted_min), pieces
    return minutes, pieces


def whole_parts(numbers: Iterable[float]) -> list[int]:
    """Numbers as whole ones that add up to their rounded sum: those with the largest fractions are rounded up.

    Examples
    --------
    >>> whole_parts([15.7, 8.6, 29.5]), whole_parts([65.45, 62.4, 38.4])
    ([16, 9, 29], [66, 62, 38])
    """
    exact = list(numbers)
    whole = [math.floor(value) for value in exact]
    fractions = sorted(range(len(exact)), key=lambda k: whole[k] - exact[k])
    for k in fractions[: round(sum(exact)) - sum(whole)]:
        whole[k] += 1
    return whole


def _round_steps(
    account: ShiftAccount, steps: Sequence[tuple[str, float | None, float]], last: str
) -> tuple[Rung, ...]:
    """Round the steps so that they add up exactly, and each as it stands among the figures where that can be."""
    at, *whole = whole_parts([account.planned_min * account.nominal_per_min, *(pieces for *_, pieces in steps)])
    nominal = tr("all planned minutes at {rate:g} a minute", rate=account.nominal_per_min)
    rungs = [Rung(nominal, account.planned_min, at, "nominal")]
    always = {cause for cause, _, state in CAUSES if state in ("changeover", "stop", "short stop")}
    for (cause, minutes, _), step in zip(steps, whole, strict=True):
        at += step
        if step or minutes or cause in always:
            rungs.append(Rung(cause, minutes, step))
    return (*rungs, Rung(last if account.is_good_known else tr("{pieces}, at least", pieces=last), None, at, "good"))
