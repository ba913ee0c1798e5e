"""What a counter's cells say: a total, what came since a row or a shift began, or what is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from lineview.plant import WEEK, Counter, Counting, Plant, Shift

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

#: A counter that goes down in at least this share of its changes counts down.
_MOSTLY = 0.8
#: Totals fall seldom, differences about every second time.
_OFTEN = 0.15
#: As a total slower than this share of the fastest rate, as differences faster than that one.
_SLOW, _BUSY = 0.02, 0.1
#: Where no fastest rate is known, so many counts a minute are a machine that runs (common practice, no source).
_RUNS = (45.0, 2000.0)
#: Differences are in rising order by chance once in 8! of so many changes.
_NEVER_IN_ORDER = 7
#: A value as large as this that repeats so often is a total of a machine that stands.
_LARGE, _STOOD = 1000.0, 3
_ROWS = 4
#: A total that turns from row to row stands anywhere in its register, which adds so many counts a minute at most
#: (common practice, no source); differences stand near their middle.
_REGISTERS, _FASTEST, _SCATTERED, _EVEN = (10_000, 32_768, 65_536, 100_000, 1_000_000), 450.0, 0.25, 0.15
#: Loggers put rows in order again within a minute; a clock that somebody sets goes further back [µs].
_SET_BACK_US = 60_000_000
#: A pace is what windows of this length [µs] at least show, and of so many in which the counter rose.
_WINDOW_US, _WINDOWS = 600_000_000, 12
#: How far apart rows usually stand shows in the first ones.
_PACE_ROWS = 5000
_DAY_US = 86_400_000_000
#: So many times rows are left out before that may be for nothing to count.
_LEFT_OUT = 3
#: A sum has at least so many rows above zero. Counts come to sums by chance: below these medians there are so many sums
#: at least, each so large.
_SUMMED, _SEVERAL = 4, ((50.0, 3, 20.0), (1000.0, 2, 0.0), (np.inf, 1, 0.0))


@dataclass(frozen=True)
class Count:
    """What a column's cells are, as far as its values tell; `sure` where nothing else explains them."""

    counting: Counting
    sure: bool = True


@dataclass(frozen=True)
class Shifts:
    """When the shifts of a plant begin and end in a stretch of time [µs since 1970], in order."""

    start_us: Ints
    end_us: Ints

    @classmethod
    def between(cls, plant: Plant, first_us: int, last_us: int) -> Shifts:
        """The shifts that touch a stretch of time; whole days of the plant's zone where it declares none."""
        zone = ZoneInfo(plant.zone)
        day = datetime.fromtimestamp(first_us / 1e6, zone).date() - timedelta(days=2)
        last = datetime.fromtimestamp(last_us / 1e6, zone).date() + timedelta(days=1)
        stretches: list[tuple[int, int]] = []
        while day <= last:
            stretches += [_ends(shift, day, zone) for shift in plant.shifts if WEEK[day.weekday()] in shift.days]
            if not plant.shifts:
                edges = [datetime(d.year, d.month, d.day, tzinfo=zone) for d in (day, day + timedelta(days=1))]
                stretches.append((_us(edges[0]), _us(edges[1])))
            day += timedelta(days=1)
        stretches.sort()
        return cls(np.array([a for a, _ in stretches], np.int64), np.array([b for _, b in stretches], np.int64))

    def outside(self, start_us: Ints, end_us: Ints) -> int:
        """How many intervals lie outside every shift."""
        covered = np.zeros(len(start_us), dtype=bool)
        for start, end in zip(self.start_us.tolist(), self.end_us.tolist(), strict=True):
            covered |= np.maximum(start_us, start) < np.minimum(end_us, end)
        return int((~covered).sum())


def _ends(shift: Shift, day: date, zone: ZoneInfo) -> tuple[int, int]:
    start = datetime.combine(day, shift.start, zone)
    end = datetime.combine(day, shift.end, zone)
    return _us(start), _us(end if shift.end > shift.start else end + timedelta(days=1))


def _us(moment: datetime) -> int:
    return round(moment.timestamp() * 1e6)


def most_in(counter: Counter, seconds: Floats) -> Floats:
    """The most counts in so many seconds, two seconds of stamps and one count allowed on top."""
    return np.asarray(counter.fastest_per_min * 1.05 / 60 * (seconds + 2.0) + 1.0)


def usual_step_us(at_us: Ints) -> int:
    """The usual time from row to row [µs], 0 where there is one moment only."""
    steps = np.diff(at_us)
    steps = steps[steps > 0]
    return int(np.median(steps)) if len(steps) else 0


def most_over_step(counter: Counter, step_us: int = 0) -> float:
    """The most counts from a row to the next one, beside which a clock may have been set."""
    return float(most_in(counter, np.array([3.0 * max(step_us, _SET_BACK_US) / 1e6]))[0])


def set_back(at_us: Ints, value: Floats, counter: Counter) -> tuple[int, int] | None:
    """The rows before and after which the clock was set back: times begin again while the counter goes on.

    Takes rows as they stand in the file. Rows out of order and files laid one after the other fall in both. A date
    that stays while the clock passes midnight sets it back too.
    """
    step = np.diff(at_us)
    if not (step < 0).any():
        return None
    newest_first = (step < 0).sum() > (step > 0).sum()
    if newest_first:
        at_us, value = at_us[::-1], value[::-1]
        step = np.diff(at_us)
    rise, usual_us = np.diff(value), usual_step_us(at_us)
    goes_on = (rise >= 0) & (rise <= most_over_step(counter, usual_us))
    starts = np.concatenate(([0], np.flatnonzero(step < 0) + 1))
    for last in np.flatnonzero((step < 0) & (usual_us - step >= _SET_BACK_US) & goes_on).tolist():
        start = int(starts[np.searchsorted(starts, last, side="right") - 1])
        again = start + int(np.searchsorted(at_us[start : last + 1], at_us[last + 1]))
        stays = 0 < step[last] + _DAY_US <= 3 * usual_us
        if stays or (at_us[start] <= at_us[last + 1] and value[again] < value[last + 1]):
            final = len(at_us) - 1
            return (final - last, final - last - 1) if newest_first else (last, last + 1)
    return None


def pace_per_min(at_us: Ints, value: Floats) -> tuple[float, float]:
    """The usual pace of a total while it rises, and one that it seldom exceeds; 0 with too few readings.

    Takes moments in order; gives counts a minute.
    """
    width = max(_WINDOW_US, usual_step_us(at_us[:_PACE_ROWS]))
    first, final = at_us[0] // width, at_us[-1] // width
    if final - first < len(at_us):  # far fewer windows than rows, as a rule
        ends = np.searchsorted(at_us, np.arange(first + 1, final + 2) * width) - 1
        ends = ends[np.diff(ends, prepend=-1) > 0]
    else:
        ends = np.flatnonzero(np.diff(at_us // width, append=final + 1))
    rise = np.diff(value[ends])[np.diff(at_us[ends] // width) == 1]
    rise = rise[rise > 0] / (width / 60e6)
    return (float(np.median(rise)), float(np.quantile(rise, 0.9))) if len(rise) >= _WINDOWS else (0.0, 0.0)


def what_counts(at_us: Ints, value: Floats, counter: Counter, plant: Plant) -> Count:
    """What the cells of a counter's column are, by how they go up and down; moments in order."""
    step = np.diff(value)
    changes = step[step != 0]
    if len(value) < _ROWS or not value.any():
        return Count("total")
    falls = step < 0
    share = falls.sum() / max(len(changes), 1)
    if share >= _MOSTLY and len(changes) > _NEVER_IN_ORDER:
        return Count("down")
    seconds = usual_step_us(at_us) / 1e6
    most = float(most_in(counter, np.array([seconds]))[0])
    turns = counter.modulus != "unknown" and counter.modulus <= 2 * most and value.max() < counter.modulus
    # a row twice, or again a second later, was written by a retry
    stood = (step == 0) & (value[1:] > 0) & (2 * np.diff(at_us) > usual_step_us(at_us))
    # differences so large are hardly ever twice the same
    stands = float(np.median(value)) >= _LARGE and stood.sum() >= _STOOD <= len(changes)
    if value.max() <= most and not turns:
        turning = _turning(value, seconds, counter)
        if turning or not stands:
            return turning or _small(value, seconds, counter)
    if share >= _MOSTLY and falls.sum() >= 3:
        return Count("down")
    return _restarting(at_us, value, counter, plant)


def _small(value: Floats, seconds: float, counter: Counter) -> Count:
    """What cells are that the counter could count from row to row."""
    step = np.diff(value)
    changes, falls = step[step != 0], (step < 0).sum()
    if falls >= 2 and falls >= _OFTEN * len(changes):
        return Count("since last row")
    minutes = max(seconds, 1e-9) / 60
    as_total, as_steps = (value[-1] - value[0]) / max((len(value) - 1) * minutes, 1e-9), float(value.mean()) / minutes
    rising = not falls and len(changes) > _NEVER_IN_ORDER
    fastest, runs = min(counter.fastest_per_min, _FASTEST), _RUNS[0] <= as_steps <= _RUNS[1]
    busy = as_steps > _BUSY * counter.fastest_per_min or runs
    doubt = (as_total < _SLOW * fastest and busy and not rising) or (not len(changes) and runs)
    return Count("since last row" if doubt else "total", sure=not doubt)


def _turning(value: Floats, seconds: float, counter: Counter) -> Count | None:
    """A total that may turn from row to row, sure where it adds alike each time; None where it is none."""
    size = next((size for size in _REGISTERS if value.max() < size), 0)
    if not size or counter.modulus != "unknown" or 2 * value.max() < size or _OFTEN * size > _FASTEST * seconds / 60:
        return None
    step, most = np.diff(value), _FASTEST * seconds / 60
    added, spread = np.mod(step[step != 0], size), _spread(value[value > 0])
    if (step < 0).sum() < 2 or (spread < _SCATTERED and (most >= size or (added > most).any())):
        return None
    return Count("total") if _spread(added) < min(_EVEN, spread) else Count("since last row", sure=False)


def _spread(value: Floats) -> float:
    """How far values lie from their middle one, as a share of it."""
    middle = np.median(value)
    return float(np.median(np.abs(value - middle)) / middle)


def _restarting(at_us: Ints, value: Floats, counter: Counter, plant: Plant) -> Count:
    """Whether a counter that falls now and then restarts with the shifts, or at midnight."""
    falls = np.flatnonzero(np.diff(value) < 0)
    if not len(falls):
        return Count("total")
    before, after = at_us[falls], at_us[falls + 1]
    small = value[falls + 1] <= most_in(counter, (after - before) / 1e6)
    if counter.modulus != "unknown" and value.max() < counter.modulus:
        added = np.mod(value[falls + 1] - value[falls], counter.modulus)
        if (added <= most_in(counter, (after - before) / 1e6)).all():
            return Count("total")
    edges = Shifts.between(plant, int(at_us[0]), int(at_us[-1])).start_us
    midnights = Shifts.between(plant.model_copy(update={"shifts": ()}), int(at_us[0]), int(at_us[-1])).start_us
    for starts in (edges, midnights):
        spans = np.searchsorted(starts, after, side="right") > np.searchsorted(starts, before, side="left")
        if (spans & small).all():
            return Count("since shift start", sure=len(falls) >= 2)
    return Count("total")


def sum_rows(value: Floats, known: Flags | None = None) -> Flags:
    """Which rows of differences sum rows before them, or after them, such as a day's among hourly ones.

    Takes rows in order of time, and which of them are sums in another column. Sums are larger than every other row, or
    as large as all rows since the sum before.
    """
    known = np.zeros(len(value), dtype=bool) if known is None else known
    before, after = _sums_before(value, known), _sums_before(value[::-1], known[::-1])[::-1]
    return before if before.sum() >= after.sum() else after


def _sums_before(value: Floats, known: Flags) -> Flags:
    is_sum = np.zeros(len(value), dtype=bool)
    while True:  # sums of shifts, then of days, then of the week
        rows = np.flatnonzero(~is_sum)
        some = _plain_sums(value[rows], known[rows])
        if not some.any():
            return is_sum
        is_sum[rows[some]] = True


def _plain_sums(value: Floats, known: Flags) -> Flags:
    """Rows that sum rows just before them, none of which is a sum."""
    total = np.concatenate(([0.0], np.cumsum(value)))
    rounding = 1e-10 * total[-1]  # of lengths in tenths of a metre
    above = np.concatenate(([0], np.cumsum(value > 0)))
    want = total[:-1] - value  # the total where a sum's rows would begin
    start = np.searchsorted(total, want + rounding, side="right") - 1
    large = (value > 0) & (np.abs(total[start] - want) <= rounding) & (above[:-1] - above[start] >= _SUMMED)
    is_sum: Flags = large & (value > value[~large].max(initial=0.0))
    median = float(np.median(value[value > 0])) if above[-1] else 0.0
    least, size = next((least, size) for most, least, size in _SEVERAL if median < most)
    is_sum &= value >= size
    if is_sum.sum() < least:
        is_sum[:] = False
    ends = np.flatnonzero(is_sum | known)
    since = np.concatenate(([0], ends + 1))[np.searchsorted(ends, np.arange(len(value)))]
    whole = (np.abs(want - total[since]) <= rounding) & (np.arange(len(value)) > since)
    short = (above[:-1] - above[since] >= 2) & is_sum.any() & (value >= size)
    return np.asarray(is_sum | whole & (known | short))


def stamped_at(at_us: Ints, value: Floats, plant: Plant) -> str:
    """Whether the moments of differences end or start what they count; "" where it is open."""
    step = usual_step_us(at_us)
    busy = at_us[value > 0]
    shifts = Shifts.between(plant, int(at_us[0]) - step, int(at_us[-1]) + step)
    if step < 600_000_000:
        return "end"
    as_end, as_start = shifts.outside(busy - step, busy), shifts.outside(busy, busy + step)
    if as_end == as_start or not plant.shifts:
        return ""
    return "end" if as_end < as_start else "start"


def on_change(at_us: Ints, columns: Sequence[Floats], gap_s: float) -> bool:
    """Whether rows seem to be written only when a value changes: no row repeats, and some come late."""
    gaps = np.diff(at_us)
    if len(at_us) < 50 or not len(columns):
        return False
    same = np.ones(len(gaps), dtype=bool)
    for value in columns:
        same &= np.diff(value) == 0
    return not same.any() and bool((gaps > max(gap_s * 1e6, 5 * np.median(gaps))).any())


# Readings beside those written, so that what the cells mean is in the readings


@dataclass(frozen=True)
class Added:
    """Readings to be added: moments [µs], values, and which written reading each belongs to."""

    at_us: Ints
    value: Floats
    of: Ints


def restarts(at_us: Ints, value: Floats, counter: Counter, shifts: Shifts) -> Added:
    """A 0 at the start of each shift in which a counter restarted, moments in order.

    It restarted where it fell, or may have begun at 0 with the last shift before a reading.
    """
    before = np.concatenate((at_us[:1] - _DAY_US, at_us[:-1]))
    low = np.searchsorted(shifts.start_us, before, side="left")
    high = np.searchsorted(shifts.start_us, at_us, side="left")
    at, of = [], []
    for i in np.flatnonzero(high > low).tolist():
        for start in reversed(shifts.start_us[low[i] : high[i]].tolist()):
            if value[i] <= float(most_in(counter, np.array([(int(at_us[i]) - start) / 1e6]))[0]):
                at.append(start + 1)
                of.append(i)
                break
    return Added(np.array(at, np.int64), np.zeros(len(at)), np.array(of, np.int64))


def interval_starts(at_us: Ints, step_us: int, counted: float) -> Added:
    """A reading where the interval of a difference begins, if no row ends there; moments in order.

    It says that so much was `counted` since the row before: 0, or nan where nobody knows.
    """
    gaps = np.diff(at_us, prepend=at_us[:1] - 2 * step_us)
    of = np.flatnonzero(gaps > 1.5 * step_us)
    return Added(at_us[of] - step_us + 1, np.full(len(of), counted), of)


def leaves_out_zeros(at_us: Ints, value: Floats) -> bool:
    """Whether rows of differences may be written only where something was counted: no 0, and rows left out."""
    step = usual_step_us(at_us)
    return bool(value.all()) and 0 < step < _WINDOW_US and int((np.diff(at_us) > 1.5 * step).sum()) >= _LEFT_OUT


def repeats(at_us: Ints, value: Floats, every_us: int) -> Added:
    """Repeats of values that held until the next row, of a file that is written when a value changes.

    The last repeat stands one usual step before that row; nothing is held for longer than a day.
    """
    step = usual_step_us(at_us)
    at, values, of = [], [], []
    for i in np.flatnonzero(np.diff(at_us) > every_us).tolist():
        end = int(at_us[i + 1]) - step
        if step and end - int(at_us[i]) <= _DAY_US:
            moments = [*range(int(at_us[i]) + every_us, end, every_us), end]
            at += moments
            values += [value[i]] * len(moments)
            of += [i + 1] * len(moments)
    return Added(np.array(at, np.int64), np.array(values, np.float64), np.array(of, np.int64))
