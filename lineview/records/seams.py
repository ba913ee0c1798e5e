"""What a machine's counters did between two windows, and at ends of windows where nothing answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from lineview.machine.counter_repair import CATCH_UP
from lineview.machine.counters import NO_PLAN
from lineview.machine.increments import reported_steps
from lineview.machine.likeliest import PlannedTime
from lineview.machine.speed import Floats, Ints
from lineview.machine.state_codes import NO_STATES, StateIntervals
from lineview.machine.steps import Steps
from lineview.plant import Counter
from lineview.records.pairs import CounterPairs


@dataclass(frozen=True)
class Seams:
    """The intervals of one counter that lie in no window's readings.

    `steps`: in what the counter counts, by time; `before`, `after`: for each, the places among the windows of the
    one that it follows and of the one that it leads to; `unread`: places of windows whose readings of this
    counter are none: all are the value of an outage around them; `stood`: from when to when [µs] the counter, set
    back, was read standing between a window's counts and its end; `ends`: moments [µs] beyond the first or last
    window's counts up to which an outage is known; `cuts`: by the places of windows whose last value was frozen,
    from when on [µs] nothing was counted of it; `begins`: by the places of windows whose first value was frozen,
    up to when [µs] nothing was counted of it.
    """

    steps: Steps
    before: Ints
    after: Ints
    unread: frozenset[int] = frozenset()
    stood: Sequence[tuple[int, int]] = ()
    ends: Sequence[int] = ()
    cuts: Mapping[int, int] = field(default_factory=dict)
    begins: Mapping[int, int] = field(default_factory=dict)


def seams_of(
    counter: Counter,
    windows: pl.DataFrame,
    gap_s: float,
    planned: PlannedTime = NO_PLAN,
    states: StateIntervals = NO_STATES,
) -> Seams:
    """The intervals from each window's last count to the next one's first; no value froze outside `planned` time.

    Where a window ends or begins with a run of one value that no count leads to (`trusted_range`), the
    windows beside it decide. If the counts on either side follow from each other, nothing answered in
    between. If the counter counts on from the run's value, it was set back and stood. Else, and at the last
    window there is, it stays open how much was counted.
    A run of the last value that counts led to is a standstill if the counter counts on from it. If it jumps
    by what fits into the run at the fastest rate, it was frozen: it counted the jump, which is certain where
    that is the pace beside the run. If it was set back, nothing says whether it stood or was frozen before:
    the likeliest is that it stood, the most is what fits into the run's planned time.
    """
    places = np.arange(windows.height)
    at0, at1 = windows["last_us"].to_numpy()[:-1], windows["first_us"].to_numpy()[1:]
    v0, v1 = windows["last_count"].to_numpy()[:-1], windows["first_count"].to_numpy()[1:]
    if counter.counting == "since last row":
        usual = windows["usual_us"].filter(windows["usual_us"] > 0).median()
        usual_us = usual if isinstance(usual, float) else 0.0
        steps = reported_steps(at0, at1, v1, counter.fastest_per_min, usual_us).times(counter.unit_value)
        return Seams(steps, places[:-1], places[1:])
    pairs = CounterPairs(counter, windows, gap_s, planned, states)
    runs = any(windows[name].null_count() < windows.height for name in ("head_us", "lead_end_us", "tail_us"))
    if not runs and not pairs.any_jump(windows):
        return Seams(pairs.steps(at0, at1, v0, v1, (places[:-1], places[1:])), places[:-1], places[1:])
    return _Walk(pairs, counter, windows).seams()


@dataclass(frozen=True)
class _Run:
    """Readings of one value beside a window's counts: from when to when [µs], and the value."""

    start_us: int
    end_us: int
    value: float


@dataclass(frozen=True)
class _Open:
    """An interval [µs] with its likeliest count (nan: by the pace beside it) and bounds, and windows beside it."""

    start_us: int
    end_us: int
    n: float
    low: float
    high: float
    before: int
    after: int


class _Walk:
    """Goes through windows, some of which end or begin with a run that has to be judged."""

    def __init__(self, pairs: CounterPairs, counter: Counter, windows: pl.DataFrame) -> None:
        self._rows: list[Mapping[str, Any]] = list(windows.iter_rows(named=True))
        self._pairs, self._unit = pairs, counter.unit_value
        self._counted: list[tuple[int, int, float, float, int, int]] = []
        self._open: list[_Open] = []
        self._unread: set[int] = set()
        self._stood: list[tuple[int, int]] = []
        self._ends: list[int] = []
        self._cuts: dict[int, int] = {}
        self._begins: dict[int, int] = {}

    def seams(self) -> Seams:
        self._begin()
        place, last = 0, len(self._rows) - 1
        while place < last or (place == last and self._rows[last]["tail_us"] is not None):
            place = self._go_on(place)
        return self._together()

    def _begin(self) -> None:
        """Judge a run before the first counts, before which no count is known."""
        row = self._rows[0]
        if row["head_us"] is None:
            return
        run, (at_us, value) = _Run(row["head_us"], row["head_end_us"], row["head_count"]), _first(row)
        rise = self._pairs.rise(run.value, value)
        most = self._most(run.start_us, at_us)
        fits = 0 <= rise <= most
        # a 0 at the beginning is what is written where nothing answers, however near the pace is
        sure = fits and run.value != 0 and _is_pace(rise, at_us - run.start_us, row["first_pace"])
        count = (rise, rise, rise) if sure else (np.nan, 0.0, rise if fits else most)
        self._add(run.start_us, at_us, count, 0, 0)
        self._ends.append(run.start_us)

    def _go_on(self, place: int) -> int:
        """Judge what follows a window, and give the place of the next to look at."""
        row = self._rows[place]
        following, run = self._run_after(place)
        if run is None:
            self._count(place, place + 1)
            return place + 1
        if row["tail_us"] is None and run.value == row["last_count"]:
            return self._judge_rest(place, following, run)
        inside = range(place + 1, following)
        if following == len(self._rows):
            self._add(row["last_us"], run.end_us, (np.nan, 0.0, self._most(row["last_us"], run.end_us)), place, place)
            self._ends.append(run.end_us)
        elif self._was_counted_to(place, following, run):
            return following
        elif not self._counts_on(run, following):
            self._count_over(place, following)
        elif self._pairs.follows(_last(row), _first(self._rows[following])):
            start, end = row["last_us"], self._rows[following]["first_us"]
            self._add(start, end, (np.nan, 0.0, self._most(start, end)), place, following)
        elif row["tail_us"] is None:
            self._count(place, following)
        else:
            self._count_reset(place)
            return place + 1
        self._unread |= set(inside)
        return following

    def _run_after(self, place: int) -> tuple[int, _Run | None]:
        """The next window that shows other values than a run after a window, and the run; None without one."""
        row, following = self._rows[place], place + 1
        if row["tail_us"] is not None:
            run = _Run(row["tail_us"], row["tail_end_us"], row["tail_count"])
        else:
            next_row = self._rows[following]
            head = _head(next_row)
            value = next_row["first_count"] if head is None else head.value
            if value == row["last_count"]:
                run = _Run(row["rest_us"], row["last_us"], value)
            elif head is not None:
                return following, head
            else:
                return self._run_of_windows(place)
        following, end_us = self._further(following, run.value)
        return following, _Run(run.start_us, max(run.end_us, end_us), run.value)

    def _run_of_windows(self, place: int) -> tuple[int, _Run | None]:
        """A run that begins with a window: whole windows of one value and the beginning of another."""
        row, next_row = self._rows[place], self._rows[place + 1]
        following, end_us = self._further(place + 1, next_row["first_count"])
        head = _head(self._rows[following]) if following < len(self._rows) else None
        if head is not None and head.value == next_row["first_count"]:
            return following, _Run(next_row["first_us"], end_us, next_row["first_count"])
        # the value jumps, at the very end of a window, from the last one
        rest = _Run(row["rest_us"], row["last_us"], row["last_count"])
        return place + 1, None if self._leads_on(place, rest, _first(next_row)) else rest

    def _further(self, following: int, value: float) -> tuple[int, int]:
        """The next window that shows other values than one, and until when [µs] it was read."""
        end_us = 0
        while following < len(self._rows) and _shows_only(self._rows[following], value):
            end_us = self._rows[following]["last_us"]
            following += 1
        head = _head(self._rows[following]) if following < len(self._rows) else None
        return following, head.end_us if head is not None and head.value == value else end_us

    def _judge_rest(self, place: int, following: int, run: _Run) -> int:
        """Judge a last value that stays: the machine stood, or the counter was frozen, or set back since."""
        row = self._rows[place]
        if following == len(self._rows):
            self._count(place, place + 1)
            return place + 1
        at_us, value = _after(self._rows[following])
        rise = self._pairs.rise(run.value, value)
        if self._stood_before_reset(run, rise, self._pace_before(place)) or self._leads_on(place, run, (at_us, value)):
            if following > place + 1 or self._rows[following]["head_us"] is None:
                self._count(place, place + 1)
                return place + 1
            self._counted_run(_Run(row["last_us"], run.end_us, run.value), (at_us, value), place, following)
            return following
        self._leave(place, following, run, rise)
        return following

    def _leave(self, place: int, following: int, run: _Run, rise: float) -> None:
        """Leave out a run that nothing counts on from: how much was counted in it shows after it, or nothing does."""
        next_row = self._rows[following]
        end_us, following_count = _after(next_row)
        stood = run.end_us > run.start_us
        if 0 <= rise <= self._most(run.start_us, end_us):
            paces = self._pace_before(place), next_row["first_pace"]
            most = self._pairs.with_turns(rise, self._pairs.most_planned(run.start_us, end_us))
            sure = most == rise and any(_is_pace(rise, end_us - run.start_us, pace) for pace in paces)
            parts = (rise if sure else np.nan, rise if sure else 0.0, most)
        else:
            count_since = following_count if rise < 0 and self._pairs.sized else 0.0
            most = max(self._pairs.most_planned(run.start_us, end_us), self._most(run.end_us, end_us))
            low = count_since if count_since <= most else 0.0
            likeliest = low if stood and not self._pairs.is_top(run.value) else np.nan
            parts = (likeliest, low, most)
        self._add(run.start_us, end_us, parts, place, following)
        self._cuts[place] = run.start_us
        self._begin_after(following)
        self._unread |= set(range(place + 1, following))

    def _was_counted_to(self, place: int, following: int, run: _Run) -> bool:
        """Take a run that counts lead to, and nothing counts on from: it was frozen, or held at the counter's top."""
        row, next_row = self._rows[place], self._rows[following]
        if not self._pairs.follows(_last(row), (run.start_us, run.value)):
            return False
        rise = self._pairs.rise(run.value, _after(next_row)[1])
        if self._pairs.is_top(run.value):
            if self._pairs.rise(row["last_count"], _after(next_row)[1]) >= 0:
                return False
            self._leave(place, following, _Run(row["last_us"], run.end_us, run.value), rise)
            return True
        stood = self._stood_before_reset(run, rise, self._pace_before(place))
        if row["tail_us"] is not None or (following > place + 1 and (stood or rise >= 0)):
            return False
        self._counted.append((row["last_us"], run.start_us, row["last_count"], run.value, place, following))
        if not stood:
            self._leave(place, following, run, rise)
        return True

    def _pace_before(self, place: int) -> float | None:
        """A counter's pace [counts/s] before its last run, in the last window up to one that it counted in."""
        for row in reversed(self._rows[: place + 1]):
            if row["rest_us"] > row["first_us"]:
                return float(row["rest_pace"])
        return None

    def _leads_on(self, place: int, run: _Run, then: tuple[int, float]) -> bool:
        """Whether a reading was counted to from a window's last run.

        Where nobody meant to run between the two and what was added fits into the run, the run was as likely frozen.
        """
        if not self._pairs.follows((run.end_us, run.value), then):
            return False
        added = self._pairs.with_turns(self._pairs.rise(run.value, then[1]), 0.0)
        planned = (self._pairs.most_planned(start_us, then[0]) for start_us in (run.end_us, run.start_us))
        fits = next(planned) < added <= next(planned) and run.end_us > run.start_us
        return not fits or self._pairs.may_stand(run.start_us, run.end_us, self._pace_before(place))

    def _stood_before_reset(self, run: _Run, rise: float, pace: float | None) -> bool:
        """Whether a run after which the counter was set back surely was a standstill, or a single reading."""
        if rise >= 0 or self._pairs.is_top(run.value):
            return False
        return run.end_us == run.start_us or self._pairs.may_stand(run.start_us, run.end_us, pace)

    def _counts_on(self, run: _Run, following: int) -> bool:
        """Whether a window's first count can have been counted to from a run."""
        if self._pairs.is_top(run.value):
            return False
        return self._pairs.follows((run.end_us, run.value), _after(self._rows[following]))

    def _begin_after(self, following: int) -> None:
        """Take a window's first run, where it is in its counts, out of them."""
        if self._rows[following]["lead_end_us"] is not None:
            self._begins[following] = self._rows[following]["lead_to_us"]

    def _most(self, start_us: int, end_us: int) -> float:
        return float(self._pairs.limits.most(np.array([(end_us - start_us) / 1e6]))[0])

    def _add(self, start_us: int, end_us: int, parts: tuple[float, float, float], before: int, after: int) -> None:
        n, low, high = (part * self._unit for part in parts)
        self._open.append(_Open(start_us, end_us, n, low, high, before, after))

    def _count(self, before: int, after: int) -> None:
        (at0, v0), (at1, v1) = _last(self._rows[before]), _first(self._rows[after])
        self._counted.append((at0, at1, v0, v1, before, after))

    def _count_over(self, before: int, after: int) -> None:
        """Count from a window's last count to what follows another's first run, which is no count."""
        next_row = self._rows[after]
        if next_row["head_us"] is None and not self._pairs.follows(_last(self._rows[before]), _after(next_row)):
            self._count(before, after)
            return
        (at0, v0), (at1, v1) = _last(self._rows[before]), _after(next_row)
        self._counted.append((at0, at1, v0, v1, before, after))
        self._begin_after(after)

    def _count_reset(self, place: int) -> None:
        """Count a reset after which the counter stood to the window's end, and what the next window adds."""
        row, (at_us, value) = self._rows[place], _last(self._rows[place])
        start_us, stood = row["tail_us"], row["tail_count"]
        self._counted.append((at_us, start_us, value, stood, place, place + 1))
        run = _Run(start_us, row["tail_end_us"], stood)
        self._counted_run(run, _first(self._rows[place + 1]), place, place + 1)

    def _counted_run(self, run: _Run, then: tuple[int, float], before: int, after: int) -> None:
        """Count a run in which the machine stood, and what was counted from it to a reading."""
        if run.end_us > run.start_us:
            self._counted.append((run.start_us, run.end_us, run.value, run.value, before, after))
            self._stood.append((run.start_us, run.end_us))
        self._counted.append((run.end_us, then[0], run.value, then[1], before, after))

    def _together(self) -> Seams:
        at0, at1, v0, v1, before, after = _columns(self._counted, 6)
        places = before.astype(np.int64), after.astype(np.int64)
        steps = self._pairs.steps(at0.astype(np.int64), at1.astype(np.int64), v0, v1, places)
        rows = [(o.start_us, o.end_us, o.n, o.low, o.high, o.before, o.after) for o in self._open]
        start, end, n, low, high, open_before, open_after = _columns(rows, 7)
        turned = None if steps.turned is None else np.concatenate((steps.turned, n * np.nan))
        counted: tuple[Any, ...] = (steps.start_us, steps.end_us, steps.n, steps.low, steps.high)
        added: tuple[Any, ...] = (start.astype(np.int64), end.astype(np.int64), n, low, high)
        begins, ends, value, least, most = (np.concatenate(pair) for pair in zip(counted, added, strict=True))
        whole = Steps(begins, ends, value, least, most, turned)
        order = np.argsort(whole.start_us, kind="stable")
        leads = np.concatenate((before, open_before))[order].astype(np.int64)
        follows = np.concatenate((after, open_after))[order].astype(np.int64)
        unread = frozenset(self._unread)
        return Seams(whole.only(order), leads, follows, unread, self._stood, self._ends, self._cuts, self._begins)


def _is_pace(counts: float, length_us: float, pace: float | None) -> bool:
    """Whether counts in a time [µs] are near a pace [counts/s] beside it."""
    expected = (pace or 0.0) * length_us / 1e6
    return expected > 0 and abs(counts - expected) <= CATCH_UP * expected


def _head(row: Mapping[str, Any]) -> _Run | None:
    """A window's first run that no count leads on from: left out of its counts, or before a fall."""
    if row["head_us"] is not None:
        return _Run(row["head_us"], row["head_end_us"], row["head_count"])
    return None if row["lead_end_us"] is None else _Run(row["first_us"], row["lead_end_us"], row["first_count"])


def _after(row: Mapping[str, Any]) -> tuple[int, float]:
    """The first reading after such a run, or the first of all."""
    if row["head_us"] is None and row["lead_end_us"] is not None:
        return row["lead_to_us"], row["lead_to_count"]
    return _first(row)


def _columns(rows: Sequence[tuple[float, ...]], count: int) -> Sequence[Floats]:
    """The columns of rows, each as an array; moments [µs] up to 2255 are exact in them."""
    return list(np.array(rows, dtype=np.float64).reshape(-1, count).T)


def _first(row: Mapping[str, Any]) -> tuple[int, float]:
    return row["first_us"], row["first_count"]


def _last(row: Mapping[str, Any]) -> tuple[int, float]:
    return row["last_us"], row["last_count"]


def _shows_only(row: Mapping[str, Any], value: float) -> bool:
    """Whether a window has no count but one value."""
    return row["first_count"] == row["last_count"] == value and row["head_us"] is None and row["tail_us"] is None
