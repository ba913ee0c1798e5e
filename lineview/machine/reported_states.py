"""A machine's clock where its counter is silent and its state channel is not; and where the two disagree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from lineview.machine.activity import RUNNING, SLOW, STANDING, UNSEEN, Activity
from lineview.machine.speed import Bools, Floats, Ints
from lineview.machine.state_codes import LATE_US, MEANINGS, RUNNING_CODE, SET_ASIDE, StateIntervals
from lineview.machine.stops import with_kinds

#: Pieces known over a silence must fit the minutes that the states call running: from this share of the
#: band's low end up to this multiple of its high end.
_LEAST_PACE, _MOST_PACE = 0.5, 1.5


@dataclass(frozen=True)
class Contradictions:
    """How often and for how long [min] the state channel said otherwise than the counter showed."""

    count: int
    minutes: float


def contradictions(seen: Activity, spells: StateIntervals) -> Contradictions:
    """Count the spells that the counter contradicts for longer than a code may lag.

    Parameters
    ----------
    seen : Clock
        By the counter alone.
    spells : Spells
        Of the same machine.

    Returns
    -------
    Contradictions
        Running while the counter stood, or standing while it counted; pieces counted in maintenance are no
        contradiction.
    """
    if not spells.any or not len(seen.code):
        return Contradictions(0, 0.0)
    length = np.diff(seen.edge).astype(float)
    stood = np.concatenate(([0.0], np.cumsum(length * (seen.code == STANDING))))
    ran = np.concatenate(([0.0], np.cumsum(length * np.isin(seen.code, (RUNNING, SLOW)))))
    runs = spells.meaning == RUNNING_CODE
    against = np.where(runs, *(_between(spells, seen.edge, until) for until in (stood, ran)))
    against = against[~np.isin(spells.meaning, [MEANINGS.index(name) for name in SET_ASIDE])]
    hit = against[against > LATE_US]
    return Contradictions(len(hit), float(hit.sum()) / 6e7)


def _between(spells: StateIntervals, edge: Ints, until: Floats) -> Floats:
    return np.asarray(np.interp(spells.end, edge, until) - np.interp(spells.start, edge, until))


def activity_with_states(seen: Activity, spells: StateIntervals, band: tuple[float, float]) -> Activity:
    """Fill the unseen stretches of a clock with what the state channel said.

    Takes `band` [pieces/min].

    Source: derived-tape
    """
    own = spells.start < spells.until
    if not own.any():
        return seen
    start, end = spells.start[own], np.minimum(spells.end[own], spells.until)
    told = np.where(spells.meaning[own] == RUNNING_CODE, RUNNING, STANDING)
    outer = (
        (start[:1], end[-1:])
        if not len(seen.edge)
        else (np.minimum(start[:1], seen.edge[:1]), np.maximum(end[-1:], seen.edge[-1:]))
    )
    edge = np.unique(np.concatenate((start, end, seen.edge, _within(seen), *outer)))
    begins, ends = edge[:-1], edge[1:]
    code = _code_at(seen, begins)
    place = np.maximum(np.searchsorted(start, begins, side="right") - 1, 0)
    says = np.where((begins >= start[place]) & (begins < end[place]), told[place], -1)
    fill = (code == UNSEEN) & (says >= 0)
    fills = _Fills(begins, ends, says, fill)
    seen, fill, slow = _counted(seen, fills, band)
    code = np.where(fill, says, code)
    code = np.where(slow & fill & (says == RUNNING), SLOW, code)
    turn = np.flatnonzero(np.concatenate(([True], code[1:] != code[:-1])))
    coded = np.stack((begins[fill], ends[fill]), axis=1)
    return replace(seen, edge=np.append(edge[turn], edge[-1]), code=code[turn].astype(np.int64), coded=coded)


@dataclass(frozen=True)
class _Fills:
    """Pieces of the clock: where they begin and end [µs], what the states say, and which may be filled."""

    begins: Ints
    ends: Ints
    says: Ints
    fill: Bools


def _within(seen: Activity) -> Ints:
    """The readings at which a silence begins or ends, so that each is filled by itself."""
    silent = seen.code == UNSEEN
    if not silent.any():
        return np.empty(0, dtype=np.int64)
    return np.asarray(seen.span[_code_at(seen, seen.span) == UNSEEN])


def _code_at(seen: Activity, moments: Ints) -> Ints:
    if not len(seen.code):
        return np.full(len(moments), UNSEEN)
    place = np.searchsorted(seen.edge, moments, side="right") - 1
    inside = (place >= 0) & (place < len(seen.code))
    return np.where(inside, seen.code[np.clip(place, 0, len(seen.code) - 1)], UNSEEN)


def _counted(seen: Activity, fills: _Fills, band: tuple[float, float]) -> tuple[Activity, Bools, Bools]:
    """Lay pieces known over a silence along its running minutes; give the clock, and rows filled and slow."""
    fill, slow = fills.fill.copy(), np.zeros(len(fills.fill), dtype=bool)
    if len(seen.span) < 2:
        return seen, fill, slow
    interval = np.searchsorted(seen.span, fills.begins, side="right") - 1
    low, high = np.diff(seen.low), np.diff(seen.high)
    known = (low == high) & (np.diff(seen.unbounded) == 0)
    length = fills.ends - fills.begins
    moments: list[int] = []
    made: list[float] = []
    for j in np.unique(interval[fill]).tolist():
        if not 0 <= j < len(low) or not known[j]:
            continue
        rows = np.flatnonzero(interval == j)
        runs_us = float(length[rows][fills.fill[rows] & (fills.says[rows] == RUNNING)].sum())
        pace = low[j] / max(runs_us / 6e7, 1e-9)
        whole = bool(fills.fill[rows].all())
        fits = _LEAST_PACE * band[0] <= pace <= _MOST_PACE * band[1] if runs_us else low[j] < 1
        if whole and fits:
            at, until = _along(fills, rows, low[j], runs_us)
            moments += at
            made += until
            low[j] = high[j] = 0.0
            slow[rows] = pace < band[0]
        elif whole or low[j] < 1:
            fill[rows] = False
    if not moments:
        return seen, fill, slow
    return _with_pieces(seen, np.array(moments), np.array(made), low, high), fill, slow


def _along(fills: _Fills, rows: Ints, pieces: float, runs_us: float) -> tuple[list[int], list[float]]:
    """Give moments of a silence and the pieces made between each and the one before."""
    at, made = [], []
    for row in rows.tolist():
        own = fills.says[row] == RUNNING and runs_us > 0
        at.append(int(fills.ends[row]))
        made.append(pieces * float(fills.ends[row] - fills.begins[row]) / runs_us if own else 0.0)
    return at, made


def _with_pieces(seen: Activity, at: Ints, made: Floats, low: Floats, high: Floats) -> Activity:
    """Add pieces within silences to a clock's pieces so far."""
    more = np.cumsum(made)
    before = np.interp(at, seen.at, seen.pieces)
    place = np.searchsorted(at, seen.at, side="right") - 1
    until = seen.pieces + np.where(place >= 0, more[np.maximum(place, 0)], 0.0)
    moments = np.concatenate((seen.at, at))
    pieces = np.concatenate((until, before + more))
    order = np.lexsort((pieces, moments))
    sums = [np.concatenate(([0.0], np.cumsum(part))) for part in (low, high)]
    return replace(seen, at=moments[order], pieces=pieces[order], low=sums[0], high=sums[1])


@dataclass(frozen=True)
class CodedSums:
    """By the place of the shift.

    Parameters
    ----------
    kinds : mapping
        Of each shift, (state, kind of stop) to minutes [min] and pieces; without the machine's own stops.
    run_min, stand_min : mapping
        Minutes run and stood that the states alone tell [min].
    uncounted_min : mapping
        Running minutes whose pieces no counter tells [min].
    """

    kinds: Mapping[int, Mapping[tuple[str, str], tuple[float, float]]]
    run_min: Mapping[int, float]
    stand_min: Mapping[int, float]
    uncounted_min: Mapping[int, float]


def coded_sums(rows: pl.DataFrame) -> CodedSums:
    """Sum the kinds of stop, and what is told by states alone.

    Parameters
    ----------
    rows : polars.DataFrame
        STATE_TIMELINE with columns us [µs] and shift, the shift's place.

    Returns
    -------
    CodedSums
        Without a key where there is nothing.
    """
    kinds, runs = _kinds(rows), pl.col("state").is_in(["running", "slow"])
    if "coded" not in rows.columns or not rows["coded"].any():
        uncounted = _minutes(rows, runs & pl.col("pieces").is_null()) if rows["pieces"].null_count() else {}
        return CodedSums(kinds, {}, {}, uncounted)
    stands = pl.col("coded") & ~runs & ~pl.col("state").is_in(["unseen", "break"])
    return CodedSums(
        kinds,
        _minutes(rows, pl.col("coded") & runs),
        _minutes(rows, stands),
        _minutes(rows, runs & pl.col("pieces").is_null()),
    )


def _kinds(rows: pl.DataFrame) -> dict[int, dict[tuple[str, str], tuple[float, float]]]:
    said = [name for name in ("reason", "code") if name in rows.columns and rows[name].count()]
    if not said:
        return {}
    kinds: dict[int, dict[tuple[str, str], tuple[float, float]]] = {}
    stops = with_kinds(rows.filter(pl.col("state").is_in(["stop", "short stop"])))
    others = stops.filter(pl.col("kind") != "own")
    by_kind = others.group_by("shift", "state", "kind", maintain_order=True).agg(
        pl.col("us").sum(), pl.col("pieces").sum()
    )
    for shift, state, kind, us, made in by_kind.sort("shift", "state", "kind").iter_rows():
        kinds.setdefault(shift, {})[state, kind] = (us / 6e7, float(made or 0.0))
    return kinds


def _minutes(rows: pl.DataFrame, which: pl.Expr) -> dict[int, float]:
    own = rows.filter(which)
    if not own.height:
        return {}
    return {
        shift: us / 6e7 for shift, us in own.group_by("shift", maintain_order=True).agg(pl.col("us").sum()).iter_rows()
    }
