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
    """How often and for how long [min] the state channel contradicts the counter."""

    count: int
    minutes: float


def contradictions(activity: Activity, spells: StateIntervals) -> Contradictions:
    """Count the spells that the counter contradicts for longer than a code may lag.

    Parameters
    ----------
    activity : Clock
        By the counter alone.
    spells : Spells
        Of the same machine.

    Returns
    -------
    Contradictions
        Running while the counter stood, or standing while it counted; pieces counted in maintenance are no
        contradiction.
    """
    if not spells.has_rows or not len(activity.code):
        return Contradictions(0, 0.0)
    length = np.diff(activity.edge).astype(float)
    stood_us = np.concatenate(([0.0], np.cumsum(length * (activity.code == STANDING))))
    ran = np.concatenate(([0.0], np.cumsum(length * np.isin(activity.code, (RUNNING, SLOW)))))
    runs = spells.meaning == RUNNING_CODE
    against = np.where(runs, *(_between(spells, activity.edge, until) for until in (stood_us, ran)))
    against = against[~np.isin(spells.meaning, [MEANINGS.index(name) for name in SET_ASIDE])]
    lengths = against[against > LATE_US]
    return Contradictions(len(lengths), float(lengths.sum()) / 6e7)


def _between(spells: StateIntervals, edge: Ints, until: Floats) -> Floats:
    return np.asarray(np.interp(spells.end, edge, until) - np.interp(spells.start, edge, until))


def activity_with_states(activity: Activity, spells: StateIntervals, band: tuple[float, float]) -> Activity:
    """Fill the unseen stretches of a clock with the states of the channel.

    Takes `band` [pieces/min].

    Source: derived-timeline
    """
    before_until = spells.start < spells.until
    if not before_until.any():
        return activity
    start, end = spells.start[before_until], np.minimum(spells.end[before_until], spells.until)
    code_of = np.where(spells.meaning[before_until] == RUNNING_CODE, RUNNING, STANDING)
    outer = (
        (start[:1], end[-1:])
        if not len(activity.edge)
        else (np.minimum(start[:1], activity.edge[:1]), np.maximum(end[-1:], activity.edge[-1:]))
    )
    edge = np.unique(np.concatenate((start, end, activity.edge, _within(activity), *outer)))
    begins, ends = edge[:-1], edge[1:]
    code = _code_at(activity, begins)
    place = np.maximum(np.searchsorted(start, begins, side="right") - 1, 0)
    says = np.where((begins >= start[place]) & (begins < end[place]), code_of[place], -1)
    fill = (code == UNSEEN) & (says >= 0)
    fills = _Fills(begins, ends, says, fill)
    activity, fill, slow = _lay_pieces(activity, fills, band)
    code = np.where(fill, says, code)
    code = np.where(slow & fill & (says == RUNNING), SLOW, code)
    turn = np.flatnonzero(np.concatenate(([True], code[1:] != code[:-1])))
    stretches = np.stack((begins[fill], ends[fill]), axis=1)
    return replace(activity, edge=np.append(edge[turn], edge[-1]), code=code[turn].astype(np.int64), coded=stretches)


@dataclass(frozen=True)
class _Fills:
    """Pieces of the clock: where they begin and end [µs], what the states say, and which may be filled."""

    begins: Ints
    ends: Ints
    says: Ints
    fill: Bools


def _within(activity: Activity) -> Ints:
    """The readings at which a silence begins or ends, so that each is filled by itself."""
    silent = activity.code == UNSEEN
    if not silent.any():
        return np.empty(0, dtype=np.int64)
    return np.asarray(activity.span[_code_at(activity, activity.span) == UNSEEN])


def _code_at(activity: Activity, moments: Ints) -> Ints:
    if not len(activity.code):
        return np.full(len(moments), UNSEEN)
    place = np.searchsorted(activity.edge, moments, side="right") - 1
    inside = (place >= 0) & (place < len(activity.code))
    return np.where(inside, activity.code[np.clip(place, 0, len(activity.code) - 1)], UNSEEN)


def _lay_pieces(activity: Activity, fills: _Fills, band: tuple[float, float]) -> tuple[Activity, Bools, Bools]:
    """Lay pieces known over a silence along its running minutes; give the clock, and rows filled and slow."""
    fill, slow = fills.fill.copy(), np.zeros(len(fills.fill), dtype=bool)
    if len(activity.span) < 2:
        return activity, fill, slow
    interval = np.searchsorted(activity.span, fills.begins, side="right") - 1
    low, high = np.diff(activity.low), np.diff(activity.high)
    certain = (low == high) & (np.diff(activity.unbounded) == 0)
    length = fills.ends - fills.begins
    moments: list[int] = []
    pieces_added: list[float] = []
    for j in np.unique(interval[fill]).tolist():
        if not 0 <= j < len(low) or not certain[j]:
            continue
        rows = np.flatnonzero(interval == j)
        runs_us = float(length[rows][fills.fill[rows] & (fills.says[rows] == RUNNING)].sum())
        pace = low[j] / max(runs_us / 6e7, 1e-9)
        fills_all = bool(fills.fill[rows].all())
        fits = _LEAST_PACE * band[0] <= pace <= _MOST_PACE * band[1] if runs_us else low[j] < 1
        if fills_all and fits:
            at, until = _along(fills, rows, low[j], runs_us)
            moments += at
            pieces_added += until
            low[j] = high[j] = 0.0
            slow[rows] = pace < band[0]
        elif fills_all or low[j] < 1:
            fill[rows] = False
    if not moments:
        return activity, fill, slow
    return _with_pieces(activity, np.array(moments), np.array(pieces_added), low, high), fill, slow


def _along(fills: _Fills, rows: Ints, pieces: float, runs_us: float) -> tuple[list[int], list[float]]:
    """Give moments of a silence and the pieces made between each and the one before."""
    at, pieces_of = [], []
    for row in rows.tolist():
        is_running = fills.says[row] == RUNNING and runs_us > 0
        at.append(int(fills.ends[row]))
        pieces_of.append(pieces * float(fills.ends[row] - fills.begins[row]) / runs_us if is_running else 0.0)
    return at, pieces_of


def _with_pieces(activity: Activity, at: Ints, pieces_added: Floats, low: Floats, high: Floats) -> Activity:
    """Add pieces within silences to a clock's pieces so far."""
    more = np.cumsum(pieces_added)
    before = activity.pieces_until(at)
    place = np.searchsorted(at, activity.at, side="right") - 1
    until = activity.pieces + np.where(place >= 0, more[np.maximum(place, 0)], 0.0)
    moments = np.concatenate((activity.at, at))
    pieces = np.concatenate((until, before + more))
    order = np.lexsort((pieces, moments))
    sums = [np.concatenate(([0.0], np.cumsum(part))) for part in (low, high)]
    return replace(activity, at=moments[order], pieces=pieces[order], low=sums[0], high=sums[1])


@dataclass(frozen=True)
class CodedSums:
    """By the place of the shift: (state, kind of stop) to minutes [min] and pieces, without the machine's own stops.

    Minutes run and stood that only the states show, and running ones whose pieces no counter shows [min].
    """

    kinds: Mapping[int, Mapping[tuple[str, str], tuple[float, float]]]
    run_min: Mapping[int, float]
    stand_min: Mapping[int, float]
    uncounted_min: Mapping[int, float]


def coded_sums(rows: pl.DataFrame) -> CodedSums:
    """Sum the kinds of stop, and what only states show.

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
    standing = pl.col("coded") & ~runs & ~pl.col("state").is_in(["unseen", "break"])
    return CodedSums(
        kinds,
        _minutes(rows, pl.col("coded") & runs),
        _minutes(rows, standing),
        _minutes(rows, runs & pl.col("pieces").is_null()),
    )


def _kinds(rows: pl.DataFrame) -> dict[int, dict[tuple[str, str], tuple[float, float]]]:
    columns = [name for name in ("reason", "code") if name in rows.columns and rows[name].count()]
    if not columns:
        return {}
    kinds: dict[int, dict[tuple[str, str], tuple[float, float]]] = {}
    stops = with_kinds(rows.filter(pl.col("state").is_in(["stop", "short stop"])))
    with_cause = stops.filter(pl.col("kind") != "own")
    by_kind = with_cause.group_by("shift", "state", "kind", maintain_order=True).agg(
        pl.col("us").sum(), pl.col("pieces").sum()
    )
    for shift, state, kind, us, pieces_made in by_kind.sort("shift", "state", "kind").iter_rows():
        kinds.setdefault(shift, {})[state, kind] = (us / 6e7, float(pieces_made or 0.0))
    return kinds


def _minutes(rows: pl.DataFrame, condition: pl.Expr) -> dict[int, float]:
    part = rows.filter(condition)
    if not part.height:
        return {}
    return {
        shift: us / 6e7 for shift, us in part.group_by("shift", maintain_order=True).agg(pl.col("us").sum()).iter_rows()
    }
