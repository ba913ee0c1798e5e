"""Shifts as the counters show them: when machines start and stop each day, and where all of them pause."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta

import numpy as np
from numpy.typing import NDArray

from lineview.core.language import tr, tr_count
from lineview.plant import WEEK, Break, Day, Shift

DAY_MIN = 1440
#: A pause that all days share is time off from this length on, and a break from that length on [min].
OFF_MIN, BREAK_MIN = 90, 8
#: Shifts begin and end on a quarter of an hour, breaks on five minutes.
EDGE_MIN, BREAK_STEP_MIN = 15, 5
#: How long after a shift's start, or before its end, a machine may be seen counting outside it [min].
EARLY_MIN = 3
#: A span is one shift up to the first length, two up to the second, else three [min].
ONE_SHIFT_MIN, TWO_SHIFTS_MIN = 660, 1020
#: How far from an even split the edge between two shifts may lie [min].
SPLIT_MIN = 75
#: Where shifts change round the clock, machines stand for this long before and after it [min].
CHANGE_MIN = 2
#: A minute counts as still where at most this share of the days ran in it.
RAN_SHARE = 0.1
#: A shift ran on a day where it counted in this share of its minutes.
WORKED_SHARE = 0.08
#: Shifts hold at least this share of all minutes that ran.
INSIDE_SHARE = 0.97

#: A clock is off from so many minutes on; a shift is looked at with so many beside it; so many before and after what it
#: counted have to be read, this close.
OFF_FROM_MIN, BESIDE_MIN, READ_MIN, CLOSE_MIN = 3, 150, 60, 3
#: The minute of the week at which 1 January 1970 began, from Monday on.
FIRST_MIN = 3 * DAY_MIN

Minutes = NDArray[np.bool_]
Counts = NDArray[np.int64]


@dataclass(frozen=True)
class Rhythm:
    """Shifts that the counters suggest.

    Parameters
    ----------
    shifts : tuple of Shift
        The likeliest, in order of their start; none where nothing ran.
    why : str
        What they come from, in words.
    sure : bool
        Whether the counters show all of it: edges, days and breaks.
    """

    shifts: tuple[Shift, ...]
    why: str
    sure: bool


Running = Mapping[str, Mapping[date, Minutes]]


def shifts_of(running: Running, first: date, last: date) -> Rhythm:
    """Suggest shifts from the minutes in which machines ran.

    Parameters
    ----------
    running : mapping of str to mapping of date to boolean array
        By machine and date on the wall clock, which of its 1,440 minutes it ran in.
    first, last : datetime.date
        The dates that readings cover.

    Returns
    -------
    Rhythm
        With `sure` False where days are too few, or edges do not show.
    """
    every = [minutes for days in running.values() for minutes in days.values() if minutes.any()]
    if not every:
        return Rhythm((), tr("nothing ran in these exports"), sure=False)
    all_machines = _together(running)
    ran = _days_running(every)
    spans = _spans(ran, len(every))
    edges, clear = _edges(spans, ran, len(every))
    drafts = [_with_days(start, end, all_machines, first, last) for start, end in edges]
    drafts = [draft for draft in drafts if draft[2]]
    shifts, fewest = [], len(all_machines)
    for start, end, on, workdays in drafts:
        breaks, days_seen = _breaks(start, end, running, workdays)
        fewest = min(fewest, days_seen)
        shifts.append(Shift(id=_name(start, end), start=_clock(start), end=_clock(end), days=on, breaks=breaks))
    inside = _share_inside(all_machines, [(start, end, workdays) for start, end, _, workdays in drafts])
    shifts = _distinct_ids(sorted(shifts, key=lambda shift: shift.start))
    sure = clear and fewest >= 2 and inside >= INSIDE_SHARE and bool(shifts)
    return Rhythm(tuple(shifts), _why(len(all_machines), fewest, clear, inside), sure)


def _together(running: Running) -> dict[date, Minutes]:
    """By date, the minutes in which any machine ran."""
    by_date: dict[date, Minutes] = {}
    for days in running.values():
        for day, minutes in days.items():
            if minutes.any():
                by_date[day] = by_date[day] | minutes if day in by_date else minutes
    return by_date


def _why(days: int, fewest: int, clear: bool, inside: float) -> str:
    """What the suggestion comes from, and what it lacks."""
    words = tr_count("from {count} day of counting", "from {count} days of counting", days)
    if fewest < 2:
        words += tr("; one day does not tell breaks from stops")
    if not clear:
        words += tr("; the machines ran on from one shift into the next, so the edges between shifts do not show")
    if inside < INSIDE_SHARE:
        words += tr("; {share:.0%} of the running minutes lie outside them", share=1 - inside)
    return words


def _runs(still: Minutes) -> list[tuple[int, int]]:
    """The runs of true minutes on the ring of a day, as (start, end) with end up to start + 1,440."""
    if still.all():
        return [(0, DAY_MIN)]
    turn = int(np.flatnonzero(~still)[0])
    rolled = np.roll(still, -turn).astype(np.int8)
    change = np.diff(np.concatenate([[0], rolled, [0]]))
    starts, ends = np.flatnonzero(change == 1) + turn, np.flatnonzero(change == -1) + turn
    return [(int(s) % DAY_MIN, int(s) % DAY_MIN + int(e - s)) for s, e in zip(starts, ends, strict=True)]


def _days_running(days: Sequence[Minutes]) -> Counts:
    """On how many days each minute ran."""
    return np.asarray(np.stack(days).sum(axis=0), dtype=np.int64)


def _still(ran: Counts, days: int) -> Minutes:
    return np.asarray(ran <= int(RAN_SHARE * days))


def _spans(ran: Counts, days: int) -> list[tuple[int, int]]:
    """The stretches of a day between times off; the whole day where there is no time off."""
    off = sorted(run for run in _runs(_still(ran, days)) if run[1] - run[0] >= OFF_MIN)
    if not off:
        return []
    spans = []
    for (_, end), (start, _) in zip(off, [*off[1:], (off[0][0] + DAY_MIN, 0)], strict=True):
        first = end % DAY_MIN
        spans.append((first, first + (start - end)))
    return spans


def _edges(spans: list[tuple[int, int]], ran: Counts, days: int) -> tuple[list[tuple[int, int]], bool]:
    """The shifts' starts and ends [min], and whether the pauses between them show."""
    pauses = [(s, e) for s, e in _runs(_still(ran, days)) if 4 <= e - s < OFF_MIN]
    if not spans:
        return _round_the_clock(_runs(np.asarray(ran <= days // 2)), pauses)
    edges: list[tuple[int, int]] = []
    clear = True
    for first, last in spans:
        start = (first + EARLY_MIN) // EDGE_MIN * EDGE_MIN
        end, count = _end_of(start, last)
        marks = [start]
        for part in range(1, count):
            even = start + (end - start) * part / count
            mark = _edge_near(even, pauses)
            clear &= mark is not None
            marks.append(round(even / EDGE_MIN) * EDGE_MIN if mark is None else mark)
        marks.append(end)
        edges += [(a % DAY_MIN, a % DAY_MIN + b - a) for a, b in itertools.pairwise(marks)]
    return edges, clear


def _end_of(start: int, last: int) -> tuple[int, int]:
    """The likeliest end [min] of a span after its last running minute, and how many shifts it holds.

    Machines are cleaned before a shift ends, so the last piece may come a quarter of an hour before it: a
    round time, and shifts of eight hours, are likelier than others.
    """
    first = -(-(last - EARLY_MIN) // EDGE_MIN) * EDGE_MIN
    ends = []
    for end in range(first, first + 31, EDGE_MIN):
        length = end - start
        count = 1 if length <= ONE_SHIFT_MIN else 2 if length <= TWO_SHIFTS_MIN else 3
        odd = 12 * (length % (480 * count) > 0) + 6 * (end % 30 > 0) + 8 * (length % (30 * count) > 0)
        ends.append((max(end - last, 0) + odd, end, count))
    _, end, count = min(ends)
    return end, count


def _edge_near(even: float, pauses: list[tuple[int, int]]) -> int | None:
    """The round time within a shared pause that is nearest to an even split, or None."""
    best: tuple[float, int] | None = None
    for start, end in pauses:
        for turn in (0, DAY_MIN):
            for step, dislike in ((30, 0.0), (EDGE_MIN, 20.0)):
                first = -(-(start + turn - 2) // step) * step
                for mark in range(first, end + turn + 3, step):
                    distance = abs(mark - even)
                    if distance <= SPLIT_MIN and (best is None or distance + dislike < best[0]):
                        best = (distance + dislike, mark)
    return None if best is None else best[1]


def _round_the_clock(
    mostly: list[tuple[int, int]], pauses: list[tuple[int, int]]
) -> tuple[list[tuple[int, int]], bool]:
    """Three shifts where shared pauses lie eight hours apart, or two where twelve; else the usual three.

    A break begins on a round time; where shifts change, the round time lies within the pause that most days
    share.
    """
    best: tuple[int, int, int] | None = None
    for count in (3, 2):
        length = DAY_MIN // count
        for start in range(0, length, 30):
            room = [_room(mostly, start + length * k) for k in range(count)]
            still = all(_room(pauses, start + length * k) >= 0 for k in range(count))
            if still and min(room) >= CHANGE_MIN and (best is None or min(room) > best[0]):
                best = (min(room), count, start)
    if best is None:
        return [(360, 840), (840, 1320), (1320, 1800)], False
    _, count, start = best
    length = DAY_MIN // count
    starts = [(start + length * k) % DAY_MIN for k in range(count)]
    return [(minute, minute + length) for minute in starts], True


def _room(pauses: list[tuple[int, int]], mark: int) -> int:
    """How far a time of day [min] lies within a pause, -1 where in none."""
    inside = [min(mark + turn - s, e - mark - turn) for s, e in pauses for turn in (0, DAY_MIN)]
    return max([room for room in inside if room >= 0], default=-1)


def _window(running: Mapping[date, Minutes], day: date, start: int, end: int) -> Minutes:
    """The minutes of a shift that starts on a day, whether or not anything was read."""
    both = [running.get(day + timedelta(days=k), np.zeros(DAY_MIN, bool)) for k in (0, 1)]
    return np.concatenate(both)[start:end]


def _with_days(
    start: int, end: int, running: Mapping[date, Minutes], first: date, last: date
) -> tuple[int, int, tuple[Day, ...], list[date]]:
    """A shift with the days that it starts on: those on which it ran at least every other week."""
    span = [first + timedelta(days=k) for k in range((last - first).days + 1)]
    workdays = [day for day in span if end > start and _window(running, day, start, end).mean() >= WORKED_SHARE]
    days_of: dict[Day, int] = {}
    ran: dict[Day, int] = {}
    for day in span:
        name = WEEK[day.weekday()]
        days_of[name] = days_of.get(name, 0) + 1
        ran[name] = ran.get(name, 0) + (day in workdays)
    on = {name for name in days_of if 2 * ran[name] >= days_of[name] and ran[name]}
    usual = set(WEEK[:5])
    if on and on & usual == set(days_of) & usual:  # every working day that was seen ran: so will the others
        on |= usual
    return start, end, tuple(name for name in WEEK if name in on), workdays


def _breaks(start: int, end: int, running: Running, workdays: list[date]) -> tuple[tuple[Break, ...], int]:
    """Pauses that all days and machines of a shift share, and how many days there are."""
    if len(workdays) < 2:
        return (), len(workdays)
    windows = [_window(days, day, start, end) for days in running.values() for day in workdays]
    windows = [minutes for minutes in windows if minutes.mean() >= WORKED_SHARE]
    ran, count = _days_running(windows), len(windows)
    still = np.concatenate([[False], ran <= int(RAN_SHARE * count), [False]])
    change = np.flatnonzero(np.diff(still.astype(np.int8)))
    breaks = []
    for s, e in zip(change[::2], change[1::2], strict=True):
        first = round((start + int(s)) / BREAK_STEP_MIN) * BREAK_STEP_MIN
        after = (start + int(e) + 1) // BREAK_STEP_MIN * BREAK_STEP_MIN
        inside = first > start + EDGE_MIN and after < end - EDGE_MIN
        on_the_mark = count > 2 or abs(start + int(s) - first) <= 1
        if inside and after - first >= BREAK_MIN and int(e - s) >= BREAK_MIN and on_the_mark:
            breaks.append(Break(start=_clock(first), end=_clock(after)))
    return tuple(breaks), len(workdays)


def _share_inside(running: Mapping[date, Minutes], shifts: Sequence[tuple[int, int, list[date]]]) -> float:
    """The share of the running minutes that lie in the shifts."""
    total = sum(int(minutes.sum()) for minutes in running.values())
    inside = sum(int(_window(running, d, s, e).sum()) for s, e, workdays in shifts for d in workdays)
    return inside / total if total else 0.0


def _clock(minute: int) -> time:
    return time(minute % DAY_MIN // 60, minute % 60)


def _name(start: int, end: int) -> str:
    """What a shift is called by the hour of its middle."""
    if end - start > ONE_SHIFT_MIN:
        return "day" if 300 <= start < 900 else "night"
    middle = (start + end) / 2 % DAY_MIN
    if end - start > 540 and 600 <= middle < 840:
        return "day"
    return "early" if 420 <= middle < 750 else "late" if 750 <= middle < 1260 else "night"


def _distinct_ids(shifts: list[Shift]) -> list[Shift]:
    """Shifts with ids that differ; a single one by day is "day"."""
    if len(shifts) == 1 and shifts[0].id != "night":
        return [shifts[0].model_copy(update={"id": "day"})]
    count_of: dict[str, int] = {}
    renamed = []
    for shift in shifts:
        count_of[shift.id] = count_of.get(shift.id, 0) + 1
        number = count_of[shift.id]
        renamed.append(shift if number == 1 else shift.model_copy(update={"id": f"{shift.id} {number}"}))
    return renamed


def planned_minutes(shifts: Sequence[Shift]) -> Minutes:
    """Which minutes of a week, from Monday on, lie in a shift.

    Parameters
    ----------
    shifts : sequence of Shift
        As the works has them.
    """
    planned = np.zeros(7 * DAY_MIN, bool)
    for shift in shifts:
        start, end = (at.hour * 60 + at.minute for at in (shift.start, shift.end))
        for day in shift.days:
            first = WEEK.index(day) * DAY_MIN + start
            planned[np.arange(first, first + ((end - start) % DAY_MIN or DAY_MIN)) % planned.size] = True
    return planned


def clock_ahead(minute: Counts, rose: Minutes, planned: Minutes, least: int = 2) -> tuple[int, int, int]:
    """Minutes by which a machine's clock is ahead, by when it starts and stops counting beside its shifts.

    Parameters
    ----------
    minute : array of int
        Of each reading, in order, in minutes of the machine's clock since 1970.
    rose : array of bool
        Whether its counter rose to it.
    planned : array of bool
        As planned_minutes gives it.
    least : int
        On how many stretches of shifts it shows; on one alone it shows where start and end are off alike.

    Returns
    -------
    tuple of int
        Minutes (negative: behind; 0 where nothing says so), on how many stretches of shifts, and of how many.
    """
    if not rose.any() or np.median(np.diff(minute)) >= CLOSE_MIN:
        return 0, 0, 0
    start, end = _beside_shifts(minute, rose, planned)
    ahead = (end >= OFF_FROM_MIN) & (start >= end - 1)
    behind = (start <= -OFF_FROM_MIN) & (end <= start + 1)
    off = np.where(ahead, end, np.where(behind, start, 0))
    if not off.any() or (len(off) == 1 and abs(start[0] - end[0]) > 1):
        return 0, 0, 0
    usual = int(np.median(off[off != 0]))
    alike = int(((off != 0) & (np.abs(off - usual) <= 1)).sum())
    return (usual, alike, len(off)) if alike >= max(least, 0.3 * len(off)) else (0, 0, 0)


def _beside_shifts(minute: Counts, rose: Minutes, planned: Minutes) -> tuple[Counts, Counts]:
    """Minutes from the start of each stretch of shifts to the first count, and from its end to the last."""
    every = np.arange(minute[0], minute[-1] + DAY_MIN)
    edges = every[1:][np.diff(planned[(every + FIRST_MIN) % planned.size].astype(np.int8)) != 0]
    edges = edges[int(planned[(every[0] + FIRST_MIN) % planned.size]) :]
    counted, off = minute[rose], []
    for start, end, following in zip(edges[::2], edges[1::2], [*edges[2::2], every[-1]], strict=False):
        here = counted[(counted > start - BESIDE_MIN) & (counted <= end + BESIDE_MIN)]
        is_read = len(here) and minute[0] <= here[0] - READ_MIN and here[-1] + READ_MIN <= minute[-1]
        if is_read and following - end > 2 * BESIDE_MIN:
            off.append((int(here[0]) - start - 1, int(here[-1]) - end))
    starts, ends = np.array(off, np.int64).reshape(-1, 2).T
    return starts, ends
