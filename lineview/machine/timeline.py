"""The shift's timeline: a machine's clock laid over the calendar, each minute in one state."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineview.core.frames import CALENDAR, STATE_TIMELINE, STOP_LOG, UTC_US, empty, require
from lineview.core.language import mark
from lineview.machine.activity import RUNNING, SLOW, STANDING, UNSEEN, Activity
from lineview.machine.changeovers import LIKELY, cut_clock, find_changeovers, has_marks, mark_changes, rope_changeovers
from lineview.machine.pieces import MachineCounts
from lineview.machine.speed import Bools, Floats, Ints
from lineview.machine.state_codes import CHANGEOVER_CODE, LATE_US, MEANINGS, NO_STATES, RUNNING_CODE, StateIntervals

#: Reasons that say the product was changed.
CHANGEOVER_WORDS = re.compile(
    r"change[ -]?over|(change|switch)( of| to)? (\w+ )?(flavou?r|product|colou?r|recipe|base)"
    r"|(flavou?r|product|colou?r|recipe) (change|switch)|sortenwechsel|produktwechsel|umr[üu]st",
    re.IGNORECASE,
)
#: A log is written by hand: its times may be off by this much [µs].
LOG_LATE_US = 120_000_000


def reason_of(begins: Ints, ends: Ints, stop_log: pl.DataFrame) -> list[str | None]:
    """The logged reason of each stretch, or None."""
    log = stop_log.drop_nulls(["start", "reason"]).sort("start") if stop_log.height else stop_log
    if not log.height:
        return [None] * len(begins)
    start = log["start"].dt.epoch("us").to_numpy()
    end = log["end"].fill_null(log["start"]).dt.epoch("us").to_numpy()
    end = np.maximum(end, start)
    longest = int((end - start).max())
    words, elsewhere = log["reason"].to_list(), _overlaps_any(start, end, begins, ends).tolist()
    first = np.searchsorted(start, begins - LOG_LATE_US - longest)
    last = np.searchsorted(start, ends + LOG_LATE_US, side="right")
    starts, stops = start.tolist(), end.tolist()
    reasons: list[str | None] = [None] * len(begins)
    for i in np.flatnonzero(last > first).tolist():
        a, b, most = int(begins[i]), int(ends[i]), -LOG_LATE_US - 1
        for row in range(int(first[i]), int(last[i])):
            meet = min(stops[row], b) - max(starts[row], a)
            if meet > most and (meet >= 0 or not elsewhere[row]):
                reasons[i], most = words[row], meet
    return reasons


def _overlaps_any(start: Ints, end: Ints, begins: Ints, ends: Ints) -> Bools:
    """Which rows overlap a stretch; the stretches are in order and apart."""
    if not len(begins):
        return np.zeros(len(start), dtype=bool)
    next_end = np.searchsorted(ends, start, side="right")
    inside = next_end < len(ends)
    return np.asarray(inside & (begins[np.minimum(next_end, len(ends) - 1)] < end))


@dataclass(frozen=True)
class StandingRows:
    """Rows of a timeline before its states are named: the stretch of the clock each lies in, whether the machine stood.

    `says` is the state of the channel, as a place in MEANINGS, -1 where nothing; `planned_us` is their length
    outside breaks [µs].
    """

    stretch: Ints
    stands: Bools
    says: Ints
    long_us: Ints
    planned_us: Ints

    def groups(self) -> Iterator[Ints]:
        """The rows of each standing stretch in which some code speaks of standing."""
        has_code = self.stands & (self.says >= 0) & (self.says != RUNNING_CODE)
        standing = np.flatnonzero(self.stands)
        stretch = self.stretch[standing]
        stretches = np.unique(self.stretch[has_code])
        first, last = (np.searchsorted(stretch, stretches, side=side) for side in ("left", "right"))
        for a, b in zip(first.tolist(), last.tolist(), strict=True):
            yield standing[a:b]


def steady_states(rows: StandingRows) -> Ints:
    """What each standing row is, once lags of the code are taken out."""
    says = np.where(rows.stands & (rows.says != RUNNING_CODE), rows.says, -1)
    for group in rows.groups():
        with_code = group[says[group] >= 0]
        for row in group[(says[group] < 0) & (rows.long_us[group] <= LATE_US)].tolist():
            after = np.searchsorted(with_code, row)
            says[row] = says[with_code[after if after < len(with_code) else after - 1]]
    return says


def with_code_kinds(rows: StandingRows, says: Ints, kind: Ints, names: tuple[int, int, int], short_us: float) -> Ints:
    """The rows' states where a code separates changeovers from stops."""
    short, stop, changeover = names
    kind = kind.copy()
    for group in rows.groups():
        changes = says[group] == CHANGEOVER_CODE
        if not changes.any():
            continue
        kind[group[changes]] = changeover
        stops = group[~changes & ((says[group] >= 0) | (kind[group] != changeover))]
        kind[stops] = short if rows.planned_us[stops].sum() < short_us else stop
    return kind


def code_reasons(says: Ints) -> np.ndarray:
    """The codes' meanings as reasons; "stop" gives none."""
    words = np.array([None if name in ("running", "stop", "changeover") else name for name in MEANINGS] + [None])
    return np.asarray(words[says], dtype=object)


_SHORT, _STOP, _CHANGEOVER, _BREAK = 4, 5, 6, 7
_NAMES = {
    RUNNING: mark("running"),
    SLOW: mark("slow"),
    UNSEEN: mark("unseen"),
    _SHORT: mark("short stop"),
    _STOP: mark("stop"),
    _CHANGEOVER: mark("changeover"),
    _BREAK: mark("break"),
}

_CODE_COLUMNS: dict[str, pl.DataType] = {"code": pl.String(), "coded": pl.Boolean()}


def classify_intervals(
    activity: Activity,
    calendar: pl.DataFrame,
    *,
    short_stop_min: float,
    changeovers: pl.DataFrame,
    stop_log: pl.DataFrame,
    spells: StateIntervals = NO_STATES,
) -> pl.DataFrame:
    """Split the calendar's clock into the machine's states, which add up to it exactly.

    Where a shift or break begins within an interval, its pieces are split by running time within it.
    Source: derived-timeline, trade-practice
    """
    require(calendar, CALENDAR, "calendar")
    if not calendar.height:
        return empty(STATE_TIMELINE | _CODE_COLUMNS)
    start, end, stretch, row = _cut_calendar(activity, calendar.sort("start"), spells)
    pause = calendar.sort("start")["part"].to_numpy()[row] == "break"
    code = np.where(stretch < 0, UNSEEN, np.concatenate((activity.code, [UNSEEN]))[stretch])
    standing = code == STANDING
    reason = np.full(len(code), None, dtype=object)
    rows = StandingRows(stretch, standing, spells.at(start), end - start, (end - start) * ~pause)
    says = steady_states(rows) if spells.has_rows else np.full(len(code), -1)
    if standing.any():
        kind, why = _standing(activity, rows, short_stop_min, changeovers, stop_log)
        kind = with_code_kinds(rows, says, kind, (_SHORT, _STOP, _CHANGEOVER), short_stop_min * 6e7)
        code = np.where(standing, kind, code)
        why = np.where(why == None, code_reasons(says), why)  # noqa: E711 - an array of objects, compared one by one
        reason = np.where(standing & ~pause, why, reason)
    code = np.where(pause, _BREAK, code)
    says = np.where(pause, -1, says)
    parts = _Parts(start, end, code, reason, row, stretch, says)
    return _frame(activity, parts)


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


def _cut_calendar(activity: Activity, calendar: pl.DataFrame, spells: StateIntervals) -> tuple[Ints, Ints, Ints, Ints]:
    """Cut the calendar's rows at the clock's edges; give start, end, stretch (-1: outside), row."""
    begins = calendar["start"].dt.epoch("us").to_numpy()
    finishes = calendar["end"].dt.epoch("us").to_numpy()
    edge = np.unique(
        np.concatenate((begins, finishes, activity.edge, spells.start, spells.end, activity.coded.ravel()))
    )
    start, end = edge[:-1], edge[1:]
    row = np.searchsorted(begins, start, side="right") - 1
    inside = (row >= 0) & (start < finishes[np.maximum(row, 0)])
    start, end, row = start[inside], end[inside], row[inside]
    stretch = np.searchsorted(activity.edge, start, side="right") - 1
    stretch = np.where(stretch >= len(activity.code), -1, stretch)
    return start, end, stretch, row


def _standing(
    activity: Activity, rows: StandingRows, short_stop_min: float, changeovers: pl.DataFrame, stop_log: pl.DataFrame
) -> tuple[Ints, np.ndarray]:
    """The state and reason of each standing row (other rows hold anything)."""
    stretch, standing = rows.stretch, rows.stands
    planned_us = np.bincount(stretch[standing], rows.planned_us[standing], minlength=len(activity.code) + 1)
    kind = np.where(planned_us[stretch] < short_stop_min * 6e7, _SHORT, _STOP)
    stretches = np.unique(stretch[standing])
    why = np.full(len(activity.code) + 1, None, dtype=object)
    begins, ends = activity.edge[stretches], activity.edge[stretches + 1]
    why[stretches] = reason_of(begins, ends, stop_log)
    changes = np.zeros(len(activity.code) + 1, dtype=bool)
    changes[stretches] = _overlaps(begins, ends, changeovers)
    say_so = {text for text in {*why[stretches]} - {None} if CHANGEOVER_WORDS.search(text)}
    changes[[i for i in stretches.tolist() if why[i] in say_so]] = True
    return np.where(changes[stretch], _CHANGEOVER, kind), why[stretch]


def _overlaps(begins: Ints, ends: Ints, changeovers: pl.DataFrame) -> Bools:
    """Which stretches overlap a changeover."""
    if not changeovers.height:
        return np.zeros(len(begins), dtype=bool)
    sorted_rows = changeovers.select("start", "end").drop_nulls().sort("start")
    start = sorted_rows["start"].dt.epoch("us").to_numpy()
    reach = np.maximum.accumulate(sorted_rows["end"].dt.epoch("us").to_numpy())
    last = np.searchsorted(start, ends, side="left") - 1
    return np.asarray((last >= 0) & (reach[np.maximum(last, 0)] > begins))


def _frame(activity: Activity, parts: _Parts) -> pl.DataFrame:
    """Join rows of one state and stretch, and give them their pieces."""
    start, end, code, row, says = parts.start, parts.end, parts.code, parts.row, parts.says
    coded = _lie_within(start, activity.coded) & (code != _BREAK)
    # A break is one row whatever the machine did in it.
    group = np.where(code == _BREAK, -2 - row, parts.stretch)
    turns = (group[1:] != group[:-1]) | (row[1:] != row[:-1])  # of one row of the calendar all parts meet
    turns |= (says[1:] != says[:-1]) | (code[1:] != code[:-1]) | (coded[1:] != coded[:-1])
    new = np.concatenate(([True], turns))
    first = np.flatnonzero(new)
    last = np.concatenate((first[1:], [len(start)])) - 1
    begins, ends, codes = start[first], end[last], code[first]
    pieces_in = _pieces_between(activity, begins, ends)
    low, high = _unseen_between(activity, begins, ends)
    exact = (high == 0) & (codes != UNSEEN)
    states = pl.Series(codes).replace_strict(_NAMES, return_dtype=pl.String)
    top = pl.Series(pieces_in + high)
    return pl.DataFrame(
        {
            "start": pl.Series(begins).cast(UTC_US),
            "end": pl.Series(ends).cast(UTC_US),
            "state": states,
            "pieces": pl.Series(pieces_in).set(pl.Series(~exact), None),
            "pieces_low": pieces_in + low,
            "pieces_high": top.set(pl.Series(~np.isfinite(high)), None),
            "reason": pl.Series(parts.reason[first].tolist(), dtype=pl.String),
            "code": pl.Series([*MEANINGS, None], dtype=pl.String).gather(says[first] % (len(MEANINGS) + 1)),
            "coded": coded[first],
        }
    )


def _lie_within(moments: Ints, stretches: Ints) -> Bools:
    """Which moments lie in one of the stretches."""
    if not len(stretches):
        return np.zeros(len(moments), dtype=bool)
    place = np.searchsorted(stretches[:, 0], moments, side="right") - 1
    return np.asarray((place >= 0) & (moments < stretches[np.maximum(place, 0), 1]))


def _pieces_between(activity: Activity, start: Ints, end: Ints) -> Floats:
    """The pieces of seen intervals between two moments [µs]."""
    if not len(activity.at):
        return np.zeros(len(start))
    a = activity.pieces_until(start)
    b = activity.pieces_until(end)
    # Whole counts that meet a reading are exact, whatever the division leaves behind.
    return np.round(b - a, 6)


def _unseen_between(activity: Activity, start: Ints, end: Ints) -> tuple[Floats, Floats]:
    """The least and most pieces of unseen time between two moments [µs]; inf: unbounded."""
    if not len(activity.span):
        return np.zeros(len(start)), np.where(end > start, np.inf, 0.0)
    span, top = activity.span, len(activity.span) - 1
    outside = (start < span[0]) | (end > span[-1])
    if not (activity.high[-1] or activity.unbounded[-1]):  # running sums: nothing was unseen at all
        return np.zeros(len(start)), np.where(outside, np.inf, 0.0)
    inner_a = np.clip(np.searchsorted(span, start), 0, top)
    inner_b = np.clip(np.searchsorted(span, end, side="right") - 1, 0, top)
    outer_a = np.clip(np.searchsorted(span, start, side="right") - 1, 0, top)
    outer_b = np.clip(np.searchsorted(span, end), 0, top)
    low = np.where(inner_b > inner_a, activity.low[inner_b] - activity.low[inner_a], 0.0)
    most = activity.high[outer_b] - activity.high[outer_a]
    unbounded = (activity.unbounded[outer_b] > activity.unbounded[outer_a]) | outside
    return low, np.where(unbounded, np.inf, most)


#: What stands as the reason of a changeover that nobody marked.
FOUND_REASON = mark("changeover found, not recorded")


def line_changeovers(
    counts: MachineCounts, batches: pl.DataFrame, cal: pl.DataFrame, gauges: Sequence[pl.DataFrame] = ()
) -> pl.DataFrame:
    """A machine's changeovers: by its marks, or found in the rope where there are none.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    batches : polars.DataFrame
        BATCHES; changes of product make standing a changeover.
    cal : polars.DataFrame
        CALENDAR.
    gauges : sequence of polars.DataFrame, optional
        Columns at, value of the rope's gauges on the line.

    Returns
    -------
    polars.DataFrame
        LIKELY; `sure` is null where they are marked.
    """
    if has_marks(counts.machine, counts.marks, batches):
        changes = mark_changes(counts.machine, counts.marks, batches)
        changeovers = find_changeovers(counts.activity, changes)
        return changeovers.with_columns(sure=pl.lit(None, pl.Float64))
    return rope_changeovers(counts.activity, gauges, cal) if gauges else empty(LIKELY)


def timeline_of(
    counts: MachineCounts,
    batches: pl.DataFrame,
    stop_log: pl.DataFrame,
    cal: pl.DataFrame,
    *,
    short_stop_min: float,
    changeovers: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """The timeline of a machine whose counters are worked out.

    Parameters
    ----------
    counts : MachineCounts
        Of the machine.
    batches : polars.DataFrame
        BATCHES; changes of product make standing a changeover.
    stop_log : polars.DataFrame
        STOP_LOG; rows of other machines are passed over.
    cal : polars.DataFrame
        CALENDAR.
    short_stop_min : float
        A stop shorter than this is a short one [min].
    changeovers : polars.DataFrame, optional
        As of line_changeovers; by default those of its marks.

    Returns
    -------
    polars.DataFrame
        As by classify_intervals; changeovers that were found say so as their reason.
    """
    require(stop_log, STOP_LOG, "stop_log")
    machine = counts.machine
    if changeovers is None:
        changeovers = line_changeovers(counts, batches, cal)
    timeline = classify_intervals(
        cut_clock(counts.activity, changeovers["start"]),
        cal,
        short_stop_min=short_stop_min,
        changeovers=changeovers,
        stop_log=stop_log.filter(pl.col("machine") == machine.id),
        spells=counts.spells,
    )
    if not changeovers["sure"].is_not_null().any():
        return timeline
    by_evidence = (pl.col("state") == "changeover") & pl.col("reason").is_null() & pl.col("code").is_null()
    return timeline.with_columns(reason=pl.when(by_evidence).then(pl.lit(FOUND_REASON)).otherwise("reason"))
