"""A machine's counts over any period, put together from its records."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property, partial
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl

from lineview.core.frames import UTC_US
from lineview.core.record_frames import COUNTERS, JOINED
from lineview.machine.activity import RUNNING, SLOW, STANDING, UNSEEN, Activity
from lineview.machine.counters import CounterIncrements, Floats, Ints, fastest_per_us
from lineview.machine.likeliest import OpenIntervals, PlannedTime, likeliest
from lineview.machine.pieces import MARKS, PIECE_KINDS, MachineCounts
from lineview.machine.state_codes import NO_STATES, StateIntervals, set_aside
from lineview.machine.steps import NO_STEPS, Steps
from lineview.plant import Counter, Counts, Machine
from lineview.records.seams import Seams, seams_of

#: Since and until when readings are counts where all of a window's are [µs].
_FIRST_US, _LAST_US = np.iinfo(np.int64).min, np.iinfo(np.int64).max


def machine_counts(
    machine: Machine, records: pl.DataFrame, planned: PlannedTime, period: tuple[datetime, datetime], *, gap_s: float
) -> MachineCounts:
    """Put a machine's counts together.

    Parameters
    ----------
    machine : Machine
        As in the plant description.
    records : polars.DataFrame
        Its RECORDS in order of time: those of the period, and the nearest one with readings either side, so
        that what was counted over the period's edges is seen.
    planned : PlannedTime
        When the works meant to run, for what was not read between two windows.
    period : (datetime, datetime)
        Of which the readings are counted [UTC]; windows are cut at its ends.
    gap_s : float
        Longest interval between readings that still shows what happened in it [s].

    Returns
    -------
    MachineCounts
        As if worked out from the readings at once: between two windows stands the interval from the last
        reading of the one to the first of the other.
    """
    counters = {counter.counts: counter for counter in reversed(machine.counters)}
    every = _counter_ends(records)
    ends, none = every.partition_by("counter", as_dict=True), every.clear()
    joined = _joined_rows(records)
    spells = spells_of(records)
    aside = dict.fromkeys(counters, NO_STEPS.frame()) | _aside(records)
    increments: dict[Counts, CounterIncrements] = {}
    seams: dict[Counts, Seams] = {}
    for kind, counter in counters.items():
        counter_ends = ends.get((kind,), none)
        seams[kind] = seams_of(counter, counter_ends, gap_s, planned, spells)
        intervals_apart = spells if kind in PIECE_KINDS else NO_STATES
        # what was counted in maintenance between windows is taken out, and given beside
        between, taken_out = set_aside(seams[kind].steps, intervals_apart)
        inside = _within_windows(counter_ends, seams[kind], joined)
        if seams[kind].unread:
            counter_ends = counter_ends.filter(~pl.int_range(pl.len()).is_in(sorted(seams[kind].unread)))
        increments[kind] = _chain(counter, counter_ends, inside, between, planned)
        if len(taken_out):
            aside[kind] = pl.concat([aside[kind], taken_out.frame()]).sort("start")
    activity = _activity(machine, records, increments, seams, gap_s)
    usual = records["usual_min"].drop_nulls()
    read = records.filter((pl.col("first_read") >= period[0]) & (pl.col("last_read") < period[1]))
    return MachineCounts(
        machine,
        increments,
        activity,
        spells,
        aside,
        float(usual.median()) if len(usual) else None,  # type: ignore[arg-type]  # a float
        int(read["readings"].sum()),
        tuple(sorted(set(read["unknown_states"].explode().drop_nulls().to_list()))),
        _marks(records),
    ).with_states()


def _counter_ends(records: pl.DataFrame) -> pl.DataFrame:
    """One row a window and counter."""
    return (
        records.select("start", "end", *COUNTERS)
        .with_row_index("place")
        .explode(list(COUNTERS))
        .drop_nulls("counter")
        .with_columns(of=pl.int_range(pl.len()).over("place"))
    )


def _joined_rows(records: pl.DataFrame) -> dict[str, Any]:
    """The joined intervals, an array a column, with the window each is of."""
    rows = records.select(list(JOINED)).with_row_index("place").explode(list(JOINED)).drop_nulls("of")
    return {column.name: column.to_numpy() for column in rows}


def _within_windows(rows: pl.DataFrame, seams: Seams, joined: dict[str, Any]) -> dict[str, Any]:
    """One counter's joined intervals, cut to what its seams leave of its windows, which have a row each."""
    since, until = np.full(rows.height, _FIRST_US), np.full(rows.height, _LAST_US)
    for moments, by_place in ((since, seams.begins), (until, seams.cuts)):
        moments[list(by_place)] = list(by_place.values())
    since[list(seams.unread)] = _LAST_US
    place, of = rows["place"].to_numpy(), rows["of"].to_numpy()
    row_of, of_place = np.full((2, max(joined["place"].max(initial=0), place.max(initial=0)) + 1), -1)
    row_of[place], of_place[place] = np.arange(len(place)), of
    counts = np.flatnonzero(of_place[joined["place"]] == joined["of"])
    row, inside = row_of[joined["place"][counts]], {name: column[counts] for name, column in joined.items()}
    since, until = since[row], until[row]
    if seams.begins or seams.cuts or seams.unread:
        left = (inside["to_us"] > since) & (inside["from_us"] < until)
        since, until, inside = since[left], until[left], {name: column[left] for name, column in inside.items()}
    cut = {"from_us": np.maximum(inside["from_us"], since), "to_us": np.minimum(inside["to_us"], until)}
    return inside | cut


def _chain(
    counter: Counter, ends: pl.DataFrame, inside: dict[str, Any], seams: Steps, planned: PlannedTime
) -> CounterIncrements:
    """One counter's intervals within windows and between them, in order."""
    start = np.concatenate((inside["from_us"], seams.start_us))
    order = np.lexsort((np.concatenate((inside["to_us"], seams.end_us)), start))

    def both(name: str, other: Any) -> Any:
        return np.concatenate((inside[name], other))[order]

    value = both("value", seams.n)
    low, high, end = both("low", seams.low), both("high", seams.high), both("to_us", seams.end_us)
    start = start[order]
    open_seams = np.isnan(value)
    is_known = both("known", seams.low == seams.high).astype(bool)
    if open_seams.any():
        turn = (counter.modulus if counter.modulus != "unknown" else np.nan) * counter.unit_value
        none = np.full(len(inside["value"]), np.nan)
        turned = None if seams.turned is None else np.concatenate((none, seams.turned))[order]
        intervals = OpenIntervals(start / 1e6, end / 1e6, value, low, high, turn, counter.unit_value, turned)
        near = _windows_beside(ends, planned, start[open_seams], end[open_seams])
        filled = likeliest(intervals, planned, near)
        value, low, high = filled.value, filled.low, filled.high
        is_known = np.where(open_seams, filled.known, is_known)
    usual = ends["usual_us"].filter(ends["usual_us"] > 0)
    if not len(usual):  # a reading a window, as rows of shift totals are
        usual = pl.Series((end - start).astype(np.float64))
    usual_us = float(usual.median()) if len(usual) else 0.0  # type: ignore[arg-type]  # a float
    counted, joined = (start, end, value, low, high, is_known), both("joined", np.ones(len(seams.start_us), np.int64))
    return CounterIncrements(*counted, joined, usual_us, fastest_per_us(counter), counter.step, planned)


def _windows_beside(ends: pl.DataFrame, planned: PlannedTime, start: Ints, end: Ints) -> tuple[Floats, Floats]:
    """From when and until when the windows on either side of a seam may speak for it [s].

    They reach to the nearest windows with planned time, for a night says nothing of a day's pace.
    """
    first, last = (ends[name].to_numpy() / 1e6 for name in ("first_us", "last_us"))
    before = np.clip(np.searchsorted(last, start / 1e6), 0, len(first) - 1)
    after = np.clip(np.searchsorted(first, end / 1e6), 0, len(first) - 1)
    ran = np.flatnonzero(planned.before(last) > planned.before(first))
    if len(ran):
        earlier = np.searchsorted(ran, before, side="right") - 1
        later = np.searchsorted(ran, after)
        before = np.where(earlier >= 0, ran[np.maximum(earlier, 0)], before)
        after = np.where(later < len(ran), ran[np.minimum(later, len(ran) - 1)], after)
    return first[before], last[after]


def spells_of(records: pl.DataFrame) -> StateIntervals:
    """The machine's states; a window's last one holds until the next window's first."""
    if not records["said_last_us"].is_not_null().any():
        return NO_STATES
    with_states = records.filter(pl.col("said_last_us").is_not_null())
    following = pl.col("said_first_us").shift(-1)
    rows = (
        with_states.select("spell_from_us", "spell_to_us", "spell_meaning", until=following)
        .explode("spell_from_us", "spell_to_us", "spell_meaning")
        .drop_nulls("spell_from_us")
    )
    last_us = int(with_states["said_last_us"][-1])
    if rows.is_empty():
        return replace(NO_STATES, until=last_us)
    start = rows["spell_from_us"].to_numpy()
    end = np.minimum(rows["spell_to_us"].to_numpy(), rows["until"].fill_null(2**62).to_numpy())
    meaning = rows["spell_meaning"].to_numpy()
    same = (meaning[1:] == meaning[:-1]) & (end[:-1] == start[1:])
    first = np.flatnonzero(np.concatenate(([True], ~same)))
    last = np.append(first[1:], len(start)) - 1
    return StateIntervals(start[first], end[last], meaning[first], last_us)


def _marks(records: pl.DataFrame) -> pl.DataFrame:
    names = {"mark_gauge": "gauge", "mark_us": "at", "mark_text": "text"}
    rows = records.select(list(names)).explode(list(names)).drop_nulls("mark_gauge").rename(names)
    return rows.with_columns(pl.col("at").cast(UTC_US)).select(list(MARKS)).sort("gauge", "at", maintain_order=True)


def _aside(records: pl.DataFrame) -> dict[Counts, pl.DataFrame]:
    names = ["aside_of", "aside_from_us", "aside_to_us", "aside_n"]
    rows = records.select(names).explode(names).drop_nulls("aside_of")
    frame = rows.select(
        "aside_of", start=pl.col("aside_from_us").cast(UTC_US), end=pl.col("aside_to_us").cast(UTC_US), n="aside_n"
    )
    return {name: part.drop("aside_of") for (name,), part in frame.group_by(["aside_of"], maintain_order=True)}


def _activity(
    machine: Machine,
    records: pl.DataFrame,
    increments: dict[Counts, CounterIncrements],
    seams: dict[Counts, Seams],
    gap_s: float,
) -> Activity:
    """The machine's activity by its counters: that within windows, joined over the intervals between them."""
    cycles = _cycles(increments)
    parts = _parts(records, cycles, seams.get(cycles))
    if not parts or parts[0].edge[0] == parts[-1].edge[-1]:
        nothing, none = np.empty(0, dtype=np.int64), np.empty(0)
        return Activity(nothing, nothing, nothing, none, nothing, none, none, none)
    return _joined_clock(parts, _unseen_rows(records, seams.get(cycles)), increments[cycles], gap_s)


@dataclass(frozen=True)
class _Part:
    """One window's activity, as Clock holds it; a single reading has an edge and no state.

    `rates` are the pieces a microsecond next to either end while it ran; 0 where it never did.
    """

    edge: Ints
    state: Ints
    at: Ints
    pieces: Floats

    def within(self, start_us: int | None, end_us: int | None) -> _Part:
        """The same from one moment to another [µs]; None for its own ends."""
        if start_us is None and end_us is None:
            return self
        start = max(int(self.edge[0]), start_us or 0)
        end = int(self.edge[-1]) if end_us is None else min(int(self.edge[-1]), end_us)
        if end <= start:
            return _single(start)
        inner = self.edge[(self.edge > start) & (self.edge < end)]
        at = np.concatenate(([start], self.at[(self.at > start) & (self.at < end)], [end]))
        edge = np.concatenate(([start], inner, [end]))
        place = np.searchsorted(self.edge, edge[:-1], side="right") - 1
        return _Part(edge, self.state[place], at, np.interp(at, self.at, self.pieces))

    @cached_property
    def rates(self) -> tuple[float, float]:
        slope = np.diff(self.pieces) / np.maximum(np.diff(self.at), 1)
        runs = np.flatnonzero(slope > 0)
        return (float(slope[runs[0]]), float(slope[runs[-1]])) if len(runs) else (0.0, 0.0)


def _parts(records: pl.DataFrame, cycles: Counts, seams: Seams | None) -> list[_Part]:
    """The activity of each window in which the counter of cycles was read."""
    length = records["state"].list.len().fill_null(0)
    read = records.filter(length > 0)
    whole = zip(*(_arrays(read[name]) for name in ("edge_us", "state", "at_us", "made")), strict=True)
    out = []
    for has_states, names, first_us in zip(
        *(of.to_list() for of in (length, records["counter"], records["first_us"])), strict=True
    ):
        if has_states:
            out.append(_Part(*next(whole)))
        elif names is not None and cycles in names:
            out.append(_single(first_us[names.index(cycles)]))
    if seams is None:
        return out
    parts = [
        part.within(seams.begins.get(place), seams.cuts.get(place))
        for place, part in enumerate(out)
        if place not in seams.unread
    ]
    parts += [_single(at) for at in seams.ends]
    standstills = (np.array([start, end]) for start, end in seams.stood)
    parts += [_Part(edge, np.array([STANDING]), edge, np.zeros(2)) for edge in standstills]
    return sorted(parts, key=lambda part: int(part.edge[0]))


def _arrays(lists: pl.Series) -> list[Any]:
    """Each list of a column as an array."""
    values, ends = lists.explode().to_numpy(), np.cumsum(lists.list.len()).tolist()
    return [values[start:end] for start, end in zip([0, *ends], ends, strict=False)]


def _single(at_us: int) -> _Part:
    at = np.array([at_us])
    return _Part(at, np.empty(0, dtype=np.int64), at, np.zeros(1))


def _unseen_rows(records: pl.DataFrame, seams: Seams | None) -> tuple[Ints, Ints, Floats, Floats]:
    names = ["unseen_from_us", "unseen_to_us", "unseen_low", "unseen_high"]
    rows = records[names].explode(names).drop_nulls("unseen_from_us")
    start, end, low, high = (rows[name].to_numpy() for name in names)
    if seams is None or not (seams.unread or seams.cuts or seams.begins):
        return start, end, low, high
    # those of readings that are none lie in the interval over them
    place = np.searchsorted(seams.steps.start_us, start, side="right") - 1
    outside = (place < 0) | (end > seams.steps.end_us[place])
    return start[outside], end[outside], low[outside], high[outside]


def _cycles(increments: dict[Counts, CounterIncrements]) -> Counts:
    """What the counter counts that shows whether the machine runs."""
    kinds: tuple[Counts, ...] = ("pieces", "good pieces", "rope")
    return next((kind for kind in kinds if kind in increments), "pieces")


def _joined_clock(
    parts: list[_Part], unseen: tuple[Ints, Ints, Floats, Floats], cycles: CounterIncrements, gap_s: float
) -> Activity:
    """Lay windows' activity one after the other, with a stretch or two over each interval between them."""
    edge: list[Ints] = []
    code: list[Ints] = []
    at: list[Ints] = []
    pieces: list[Floats] = []
    gaps: list[tuple[int, int, float, float]] = []
    total, before = 0.0, None
    seams = _seams(parts, cycles)
    for k, part in enumerate(parts):
        if k:
            seam = next(seams)
            after = int(part.state[0]) if len(part.state) else None
            stretches = _over_seam(seam, (before, after), partial(_rates_beside, parts, k), gap_s)
            edge += [np.array([start]) for start, _ in stretches]
            code += [np.array([state]) for _, state in stretches]
            before = stretches[-1][1]
            if before == UNSEEN:
                gaps.append((seam.start, seam.end, seam.low, seam.high))
            else:
                if len(stretches) > 1:  # all its pieces are made in the one in which it ran
                    at.append(np.array([stretches[1][0]]))
                    pieces.append(np.array([total + (seam.value if stretches[0][1] != STANDING else 0.0)]))
                total += seam.value
        edge.append(part.edge[:-1])
        code.append(part.state)
        at.append(part.at)
        pieces.append(total + part.pieces - part.pieces[0])
        total += float(part.pieces[-1] - part.pieces[0])
        before = int(part.state[-1]) if len(part.state) else before
    all_edges, all_codes = np.concatenate(edge), np.concatenate(code)
    turn = np.concatenate(([True], all_codes[1:] != all_codes[:-1]))
    span, low, high, unbounded = _span(parts[0].edge[0], parts[-1].edge[-1], unseen, gaps)
    edges = np.append(all_edges[turn], parts[-1].edge[-1])
    at_all, made_all = np.concatenate(at), np.concatenate(pieces)
    return Activity(edges, all_codes[turn], at_all, made_all, span, low, high, unbounded)


@dataclass(frozen=True)
class _Seam:
    """The interval [µs] between two windows and what the piece counter did in it."""

    start: int
    end: int
    value: float
    low: float
    high: float
    known: bool


def _seams(parts: Sequence[_Part], cycles: CounterIncrements) -> Iterator[_Seam]:
    """What lies between each two successive parts."""
    starts, ends = np.array([(a.edge[-1], b.edge[0]) for a, b in pairwise(parts)], dtype=np.int64).reshape(-1, 2).T
    first, last = np.searchsorted(cycles.start_us, starts), np.searchsorted(cycles.start_us, ends, side="right")
    for start, end, near in zip(starts.tolist(), ends.tolist(), map(slice, first.tolist(), last.tolist()), strict=True):
        inside = cycles.end_us[near] <= end
        value, low, high = (float(part[near][inside].sum()) for part in (cycles.value, cycles.low, cycles.high))
        # as within a window, a counter of metres that need not have moved stood
        is_known = bool(cycles.known[near][inside].all()) or (cycles.step > 0 and low == 0)
        yield _Seam(start, end, value, low, high, is_known)


def _rates_beside(parts: list[_Part], k: int) -> tuple[float, float]:
    """The pieces a microsecond at which the machine last ran before a window, and first in it."""
    return next((rate for part in reversed(parts[:k]) if (rate := part.rates[1])), 0.0), parts[k].rates[0]


def _over_seam(
    seam: _Seam, states: tuple[int | None, int | None], rates: Callable[[], tuple[float, float]], gap_s: float
) -> list[tuple[int, int]]:
    """Stretches over a seam: their starts [µs] and states.

    A state is None beside a single reading, which says nothing of what came before or after it.
    """
    length = seam.end - seam.start
    if length > gap_s * 1e6 or not seam.known:
        return [(seam.start, UNSEEN)]
    if seam.value <= 0:
        return [(seam.start, STANDING)]
    slow = SLOW if SLOW in states and RUNNING not in states else RUNNING
    ran_before, ran_after = (state in (RUNNING, SLOW) for state in states)
    states_known = [state for state in states if state not in (None, UNSEEN)]
    if len(states_known) == 2 and ran_before == ran_after:
        return [(seam.start, slow if ran_before else STANDING)]
    if not states_known:
        return [(seam.start, RUNNING)]
    return _shared_seam(seam, slow, rates(), ran_before or states[1] == STANDING)


def _shared_seam(seam: _Seam, slow: int, rates: tuple[float, float], ran_first: bool) -> list[tuple[int, int]]:
    """A seam whose pieces were made at the rate of the side that ran, and the rest of it stood."""
    length = seam.end - seam.start
    rate = rates[0] if ran_first else rates[1]
    rate = rate or max(rates)
    ran = min(length, round(seam.value / rate)) if rate > 0 else length
    if length - ran < 1_000_000:
        return [(seam.start, slow)]
    if ran_first:
        return [(seam.start, slow), (seam.start + ran, STANDING)]
    return [(seam.start, STANDING), (seam.end - ran, slow)]


def _span(
    first: int, last: int, unseen: tuple[Ints, Ints, Floats, Floats], seams: list[tuple[int, int, float, float]]
) -> tuple[Ints, Floats, Floats, Floats]:
    """Edges of unseen intervals, and the least and most pieces of them up to each edge."""
    start = np.concatenate((unseen[0], np.array([s[0] for s in seams], dtype=np.int64)))
    end = np.concatenate((unseen[1], np.array([s[1] for s in seams], dtype=np.int64)))
    low = np.concatenate((unseen[2], np.array([s[2] for s in seams])))
    high = np.concatenate((unseen[3], np.array([s[3] for s in seams])))
    span = np.unique(np.concatenate((np.array([first, last], dtype=np.int64), start, end)))
    place = np.searchsorted(span, start)

    def upto(amount: Floats) -> Floats:
        return np.concatenate(([0.0], np.cumsum(np.bincount(place, amount, minlength=len(span) - 1))))

    open_ended = ~np.isfinite(high)
    return span, upto(low), upto(np.where(open_ended, 0.0, high)), upto(open_ended.astype(float))


#: Of a season of readings each word is kept once.
_CHANNEL, _QUALITY = pl.Categorical(), pl.Enum(["good", "uncertain"])


def gauge_readings(records: pl.DataFrame) -> pl.DataFrame:
    """Readings of the rope's gauges: channel, at, value and quality, by channel and time.

    Parameters
    ----------
    records : polars.DataFrame
        RECORDS of one machine in order of time, with the columns of GAUGES.
    """
    rows = records.filter(pl.col("gauge_of").list.len() > 0)
    lists = ["gauge_of", "gauge_us", "gauge_value", "gauge_sure"]
    frames: list[tuple[str, pl.DataFrame]] = []
    named = rows["gauge"].to_list()
    changes = [0, *(at for at in range(1, rows.height) if named[at] != named[at - 1]), rows.height]
    for first, after in pairwise(changes if named else ()):  # gauges seldom change: a stretch of records is not copied
        read = rows[first:after][lists].explode(lists)
        frames += [(name, _of_gauge(read, place, name)) for place, name in enumerate(named[first])]
    nothing = pl.DataFrame(schema={"channel": _CHANNEL, "at": UTC_US, "value": pl.Float64(), "quality": _QUALITY})
    # A record holds each gauge's readings in order of time, and records are in order of time.
    readings = pl.concat([nothing, *(frame for _, frame in sorted(frames, key=lambda pair: pair[0]))])
    several = len({name for name, _ in frames}) < len(frames)
    return readings.sort("channel", "at", maintain_order=True) if several else readings


def _of_gauge(read: pl.DataFrame, place: int, name: str) -> pl.DataFrame:
    """Readings of the gauge at a place of the records' lists."""
    return read.filter(pl.col("gauge_of") == place).select(
        channel=pl.lit(name).cast(_CHANNEL),
        at=pl.col("gauge_us").cast(UTC_US),
        value="gauge_value",
        quality=pl.when("gauge_sure").then(pl.lit("good", _QUALITY)).otherwise(pl.lit("uncertain", _QUALITY)),
    )
