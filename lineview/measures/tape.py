"""The shift's tape: a machine's clock laid over the calendar, each minute in one state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.columns import CALENDAR, TAPE, UTC_US, empty, require
from lineview.measures.rate import Bools, Floats, Ints
from lineview.measures.reasons import CHANGEOVER_WORDS, reason_of
from lineview.measures.state_codes import MEANINGS
from lineview.measures.state_spells import NO_SPELLS, Spells
from lineview.measures.states import RUNNING, SLOW, STANDING, UNSEEN, Clock
from lineview.measures.tape_codes import StandingRows, reason_said, steadied, with_code_kinds

_SHORT, _STOP, _CHANGEOVER, _BREAK = 4, 5, 6, 7
_NAMES = {
    RUNNING: "running",
    SLOW: "slow",
    UNSEEN: "unseen",
    _SHORT: "short stop",
    _STOP: "stop",
    _CHANGEOVER: "changeover",
    _BREAK: "break",
}

_SAID: dict[str, pl.DataType] = {"code": pl.String(), "coded": pl.Boolean()}


def lay(
    seen: Clock,
    calendar: pl.DataFrame,
    *,
    short_stop_min: float,
    changeovers: pl.DataFrame,
    stop_log: pl.DataFrame,
    spells: Spells = NO_SPELLS,
) -> pl.DataFrame:
    """Split the calendar's clock into the machine's states, which add up to it exactly.

    Parameters
    ----------
    seen : Clock
        The machine's clock.
    calendar : polars.DataFrame
        CALENDAR.
    short_stop_min : float
        A stop shorter than this is a short stop [min]. A stop is measured whole, over shift ends too, by
        its planned minutes.
    changeovers : polars.DataFrame
        Columns start, end: standing that overlaps them is changeover.
    stop_log : polars.DataFrame
        STOP_LOG of this machine; gives reasons. A reason that says changeover makes it one.
    spells : Spells, optional
        What the machine's own states said: they split its stops by kind, and stand as their reason where
        the stop log has none.

    Returns
    -------
    polars.DataFrame
        TAPE by time; breaks override what the machine did, but keep its pieces. Two columns more: `code`,
        what the machine's state said while it stood, one of MEANINGS or null; `coded`, whether the state
        alone says what the stretch was, for want of counter readings.

    Raises
    ------
    MeasureError
        Where a column is missing.

    Notes
    -----
    Where a shift or break begins within an interval, its pieces are split by running time within it.
    Source: derived-tape, trade-practice
    """
    require(calendar, CALENDAR, "calendar")
    if not calendar.height:
        return empty(TAPE | _SAID)
    start, end, stretch, row = _cut(seen, calendar.sort("start"), spells)
    pause = calendar.sort("start")["part"].to_numpy()[row] == "break"
    code = np.where(stretch < 0, UNSEEN, np.concatenate((seen.code, [UNSEEN]))[stretch])
    stands = code == STANDING
    reason = np.full(len(code), None, dtype=object)
    rows = StandingRows(stretch, stands, spells.at(start), end - start, (end - start) * ~pause)
    says = steadied(rows) if spells.any else np.full(len(code), -1)
    if stands.any():
        kind, why = _standing(seen, rows, short_stop_min, changeovers, stop_log)
        kind = with_code_kinds(rows, says, kind, (_SHORT, _STOP, _CHANGEOVER), short_stop_min * 6e7)
        code = np.where(stands, kind, code)
        why = np.where(why == None, reason_said(says), why)  # noqa: E711 - an array of objects, compared one by one
        reason = np.where(stands & ~pause, why, reason)
    code = np.where(pause, _BREAK, code)
    says = np.where(pause, -1, says)
    parts = _Parts(start, end, code, reason, row, stretch, says)
    return _frame(seen, parts)


@dataclass(frozen=True)
class _Parts:
    """Pieces of the calendar cut at every edge, one array a column."""

    start: Ints
    end: Ints
    code: Ints
    reason: np.ndarray
    row: Ints
    stretch: Ints
    says: Ints


def _cut(seen: Clock, calendar: pl.DataFrame, spells: Spells) -> tuple[Ints, Ints, Ints, Ints]:
    """Cut the calendar's rows at the clock's edges; give start, end, stretch (-1: outside), row."""
    begins = calendar["start"].dt.epoch("us").to_numpy()
    finishes = calendar["end"].dt.epoch("us").to_numpy()
    edge = np.unique(
        np.concatenate((begins, finishes, seen.edge, spells.start, spells.end, seen.coded.ravel()))
    )
    start, end = edge[:-1], edge[1:]
    row = np.searchsorted(begins, start, side="right") - 1
    inside = (row >= 0) & (start < finishes[np.maximum(row, 0)])
    start, end, row = start[inside], end[inside], row[inside]
    stretch = np.searchsorted(seen.edge, start, side="right") - 1
    stretch = np.where(stretch >= len(seen.code), -1, stretch)
    return start, end, stretch, row


def _standing(
    seen: Clock,
    rows: StandingRows,
    short_stop_min: float,
    changeovers: pl.DataFrame,
    stop_log: pl.DataFrame,
) -> tuple[Ints, np.ndarray]:
    """Give the state and reason of each standing row (other rows hold anything)."""
    stretch, stands = rows.stretch, rows.stands
    whole = np.bincount(stretch[stands], rows.planned_us[stands], minlength=len(seen.code) + 1)
    kind = np.where(whole[stretch] < short_stop_min * 6e7, _SHORT, _STOP)
    used = np.unique(stretch[stands])
    why = np.full(len(seen.code) + 1, None, dtype=object)
    begins, ends = seen.edge[used], seen.edge[used + 1]
    why[used] = reason_of(begins, ends, stop_log)
    changes = np.zeros(len(seen.code) + 1, dtype=bool)
    changes[used] = _overlaps(begins, ends, changeovers)
    said = [i for i in used.tolist() if why[i] is not None and CHANGEOVER_WORDS.search(why[i])]
    changes[said] = True
    return np.where(changes[stretch], _CHANGEOVER, kind), why[stretch]


def _overlaps(begins: Ints, ends: Ints, changeovers: pl.DataFrame) -> Bools:
    """Tell which stretches overlap a changeover."""
    if not changeovers.height:
        return np.zeros(len(begins), dtype=bool)
    ordered = changeovers.select("start", "end").drop_nulls().sort("start")
    start = ordered["start"].dt.epoch("us").to_numpy()
    reach = np.maximum.accumulate(ordered["end"].dt.epoch("us").to_numpy())
    last = np.searchsorted(start, ends, side="left") - 1
    return np.asarray((last >= 0) & (reach[np.maximum(last, 0)] > begins))


def _frame(seen: Clock, parts: _Parts) -> pl.DataFrame:
    """Join rows of one state and stretch, and give them their pieces."""
    start, end, code, row, says = parts.start, parts.end, parts.code, parts.row, parts.says
    coded = _covered(start, seen.coded) & (code != _BREAK)
    # A break is one row whatever the machine did in it.
    group = np.where(code == _BREAK, -2 - row, parts.stretch)
    turns = (group[1:] != group[:-1]) | (row[1:] != row[:-1]) | (start[1:] != end[:-1])
    turns |= (says[1:] != says[:-1]) | (code[1:] != code[:-1]) | (coded[1:] != coded[:-1])
    new = np.concatenate(([True], turns))
    first = np.flatnonzero(new)
    last = np.concatenate((first[1:], [len(start)])) - 1
    begins, ends, codes = start[first], end[last], code[first]
    made = _pieces_between(seen, begins, ends)
    low, high = _unseen_between(seen, begins, ends)
    exact = (high == 0) & (codes != UNSEEN)
    states = pl.Series(codes).replace_strict(_NAMES, return_dtype=pl.String)
    top = pl.Series(made + high)
    return pl.DataFrame(
        {
            "start": pl.Series(begins).cast(UTC_US),
            "end": pl.Series(ends).cast(UTC_US),
            "state": states,
            "pieces": pl.Series(made).set(pl.Series(~exact), None),
            "pieces_low": made + low,
            "pieces_high": top.set(pl.Series(~np.isfinite(high)), None),
            "reason": pl.Series(parts.reason[first].tolist(), dtype=pl.String),
            "code": pl.Series([*MEANINGS, None], dtype=pl.String).gather(says[first] % (len(MEANINGS) + 1)),
            "coded": coded[first],
        }
    )


def _covered(moments: Ints, stretches: Ints) -> Bools:
    """Tell which moments lie in one of the stretches."""
    if not len(stretches):
        return np.zeros(len(moments), dtype=bool)
    place = np.searchsorted(stretches[:, 0], moments, side="right") - 1
    return np.asarray((place >= 0) & (moments < stretches[np.maximum(place, 0), 1]))


def _pieces_between(seen: Clock, start: Ints, end: Ints) -> Floats:
    """Give the pieces of seen intervals between two moments [µs]."""
    if not len(seen.at):
        return np.zeros(len(start))
    a = np.interp(start, seen.at, seen.pieces)
    b = np.interp(end, seen.at, seen.pieces)
    # Whole counts that meet a reading are told exactly, whatever the division leaves behind.
    return np.round(b - a, 6)


def _unseen_between(seen: Clock, start: Ints, end: Ints) -> tuple[Floats, Floats]:
    """Give the least and most pieces of unseen time between two moments [µs]; inf: unbounded."""
    if not len(seen.span):
        return np.zeros(len(start)), np.where(end > start, np.inf, 0.0)
    span, top = seen.span, len(seen.span) - 1
    outside = (start < span[0]) | (end > span[-1])
    if not (seen.high[-1] or seen.unbounded[-1]):  # running sums: nothing was unseen at all
        return np.zeros(len(start)), np.where(outside, np.inf, 0.0)
    inner_a = np.clip(np.searchsorted(span, start), 0, top)
    inner_b = np.clip(np.searchsorted(span, end, side="right") - 1, 0, top)
    outer_a = np.clip(np.searchsorted(span, start, side="right") - 1, 0, top)
    outer_b = np.clip(np.searchsorted(span, end), 0, top)
    low = np.where(inner_b > inner_a, seen.low[inner_b] - seen.low[inner_a], 0.0)
    most = seen.high[outer_b] - seen.high[outer_a]
    unbounded = (seen.unbounded[outer_b] > seen.unbounded[outer_a]) | outside
    return low, np.where(unbounded, np.inf, most)
