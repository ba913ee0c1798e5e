"""A counter of known size over a time that nobody read, set back by a person or not: bounds hold the truth.

All invented: a wrapper of two shifts a day from 06:00 to 22:00, read every 20 s; it makes 5.9 pieces a second
while it runs and stops every quarter of an hour or so.
"""

from collections import Counter as Tally
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from lineview.app.inputs import Fetcher, Measured
from lineview.machine.counters import counter_increments, counter_steps
from lineview.machine.likeliest import PlannedTime
from lineview.plant import Counter, Line, Machine, Plant, Shift
from tests.from_frames import Frames, FrameStore, keeper
from tests.records.week import HOUR, channel, moment

SIZES = (10_000, 65_536, 1_000_000, 2**32)
GAPS_MIN = (10, 20, 30, 60, 120, 480, 960)
FASTEST_PER_MIN, PER_S, EVERY_S, GAP_S = 420, 5.9, 20, 120
DAYS = 3
ALL_DAY = PlannedTime(
    np.array([86_400.0 * k + 6 * HOUR for k in range(DAYS)]), np.array([86_400.0 * k + 22 * HOUR for k in range(DAYS)])
)


@dataclass(frozen=True)
class Unread:
    """One unread time: readings around it (`at_s`, `value`), and what was made from the first to the last."""

    at_s: np.ndarray
    value: np.ndarray
    gap: tuple[float, float]
    size: int
    reset: bool
    night: bool
    fell: bool
    true: float

    def counter(self) -> Counter:
        return Counter(id="p", counts="pieces", modulus=self.size, fastest_per_min=FASTEST_PER_MIN)


def made(seed: int) -> np.ndarray:
    """Pieces made up to each second."""
    rng = np.random.default_rng(seed)
    clock = np.arange(DAYS * 86_400) % 86_400
    running = (clock >= 6 * HOUR) & (clock < 22 * HOUR)
    starts = np.cumsum(rng.exponential(800, 500) + 60).astype(int)
    for start, lasts in zip(starts, 10 + rng.exponential(60, 500), strict=True):
        running[start : start + int(lasts)] = False
    return np.concatenate(([0.0], np.floor(np.cumsum(running * PER_S))))[:-1]


def unread_times(seeds: range) -> Iterator[Unread]:
    """Each gap, in the day and over a night, with a reset in it and without."""
    for seed in seeds:
        whole = made(seed)
        rng = np.random.default_rng(1000 + seed)
        for size in SIZES:
            for minutes in GAPS_MIN:
                for night in (False, True):
                    if night or minutes < 500:
                        for reset in (False, True):
                            yield one_gap(whole, rng, size, 60 * minutes, night=night, reset=reset)


def one_gap(whole: np.ndarray, rng: np.random.Generator, size: int, length: int, *, night: bool, reset: bool) -> Unread:
    low, high = (22 * HOUR - length // 4, 22 * HOUR) if night else (8 * HOUR, 22 * HOUR - 2 * HOUR - length)
    begin = 86_400 + (int(rng.integers(low, max(high, low) + 1)) // EVERY_S) * EVERY_S
    at = np.arange(begin - 2 * HOUR, begin + length + 2 * HOUR, EVERY_S)
    at = at[(at <= begin) | (at >= begin + length)]
    shown = whole[at] + float(rng.integers(0, size))
    if reset:
        zero = whole[int(rng.integers(begin + 1, begin + length))]
        shown = np.where(at > begin, whole[at] - zero, shown)
    value = shown % size
    k = int(np.searchsorted(at, begin))
    fell = bool(value[k + 1] < value[k])
    true = float(whole[at[-1]] - whole[at[0]])
    return Unread(at.astype(float), value, (begin, begin + length), size, reset, night, fell, true)


def bounds(one: Unread) -> tuple[float, float, float, bool]:
    """Value, least and most of the whole time, and whether it is a single value."""
    steps = counter_steps((one.at_s * 1e6).astype(np.int64), one.value, one.counter(), GAP_S)
    found = counter_increments(steps, one.counter(), ALL_DAY)
    ends = float(found.value.sum()), float(found.low.sum()), float(found.high.sum())
    return *ends, bool(found.known.all())


CASES = list(unread_times(range(60)))


def holds(one: Unread) -> bool:
    _, low, high, _ = bounds(one)
    return low - 0.5 <= one.true <= high + 0.5


def test_bounds_hold_the_truth_with_and_without_a_reset() -> None:
    inside, of = Tally(), Tally()
    for one in CASES:
        name = "rise hides a reset" if one.reset and not one.fell else "reset" if one.reset else "no reset"
        name = f"{name} in planned time" if one.reset and not one.night else name
        for key in (name, f"{name}, size {one.size}"):
            of[key] += 1
            inside[key] += holds(one)
    for key in sorted(of):
        print(f"{key}: truth within bounds in {inside[key]} of {of[key]} ({inside[key] / of[key]:.2%})")
    assert inside["no reset"] == of["no reset"] > 2000
    # Within planned time a fall that turns explain is taken for turns; what that misses is printed.
    # What else is left came in the last counts before a turn, and looked like one at the machine's own pace.
    assert inside["reset"] >= 0.995 * of["reset"]
    assert of["reset"] > 1000


def turn_in_gap(seed: int, size: int, length: int) -> Unread:
    """A gap in the day in which the counter turns and nobody sets it back."""
    whole, rng = made(seed), np.random.default_rng(seed)
    begin = 86_400 + int(rng.integers(8 * HOUR, 18 * HOUR)) // EVERY_S * EVERY_S
    at = np.arange(begin - 2 * HOUR, begin + length + 2 * HOUR, EVERY_S)
    at = at[(at <= begin) | (at >= begin + length)]
    value = (whole[at] - whole[int(rng.integers(begin + 1, begin + length))]) % size
    true = float(whole[at[-1]] - whole[at[0]])
    return Unread(at.astype(float), value, (begin, begin + length), size, False, False, True, true)


def test_a_plain_turn_keeps_a_single_value_where_a_reset_hardly_looks_like_it() -> None:
    single, right, of = Tally(), Tally(), Tally()
    for size in SIZES:
        for minutes in (1, 3, 5, 10, 20, 60):
            for seed in range(40):
                value, low, high, known = bounds(one := turn_in_gap(seed, size, 60 * minutes))
                of[size, minutes] += 1
                single[size, minutes] += known
                right[size, minutes] += value == one.true
                assert low <= one.true <= high
                assert not known or value == one.true
    for key in of:
        print(f"size {key[0]}, {key[1]} min: of {of[key]} turns {single[key]} single, {right[key]} right")
    assert all(single[size, 1] == of[size, 1] for size in SIZES), "an interval within the plant's gap is read"
    assert all(single[size, m] == of[size, m] for size in SIZES[1:] for m in (3, 5, 10, 20, 60))
    assert all(single[10_000, m] == of[10_000, m] for m in (3, 5, 10, 20))
    assert sum(right.values()) >= 0.9 * sum(of.values())


@pytest.mark.parametrize(("before", "size"), [(17_920, 65_536), (40_000, 65_536), (9_000, 10_000)])
def test_a_counter_set_to_zero_in_a_night_added_nothing(before: float, size: int) -> None:
    at = np.arange(20 * HOUR, 86_400 + 8 * HOUR, EVERY_S, dtype=float)
    at = at[(at <= 22 * HOUR) | (at >= 86_400 + 6 * HOUR)]
    count = np.where(at <= 22 * HOUR, before - 100 + np.clip(at - 21 * HOUR, 0, 100), 0.0)
    value, low, high, known = bounds(Unread(at, count, (0, 0), size, True, True, True, 100.0))
    assert value == low == 100.0
    assert high > low
    assert not known


def test_a_turn_in_a_usual_interval_stays_a_turn_however_long_that_is() -> None:
    at = np.arange(0, 48 * HOUR, 1800.0)
    count = np.floor(at * PER_S) % 65_536
    value, low, high, known = bounds(Unread(at, count, (0, 0), 65_536, False, False, True, 0.0))
    assert known
    assert low == value == high == np.floor(at[-1] * PER_S)


def composed(one: Unread) -> tuple[float, float]:
    """Least and most from records."""
    machine = Machine(id="w", kind="cut-and-wrap machine", line="1", counters=(one.counter(),))
    days = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    shifts = tuple(
        Shift(id=name, start=start, end=end, days=days)
        for name, start, end in (("early", "06:00", "14:00"), ("late", "14:00", "22:00"))
    )
    plant = Plant(shop="Invented", lines=(Line(id="1"),), shifts=shifts, machines=(machine,), gap_s=float(GAP_S))
    given = Frames({"w": channel("w", "p", one.at_s, one.value)})
    fetcher = Fetcher(FrameStore(given), keeper(), plant, Measured())
    ends = moment(one.at_s[0]), moment(one.at_s[-1])
    found = fetcher.counts(machine, (ends[0], moment(one.at_s[-1] + 1))).between(ends).total
    assert found is not None
    return float(found.low[0]), float(found.high[0])


@pytest.mark.parametrize("one", CASES[: len(SIZES) * 24 : 3], ids=lambda one: f"{one.size} {one.gap}")
def test_records_and_all_readings_at_once_have_the_same_bounds(one: Unread) -> None:
    _, low, high, _ = bounds(one)
    assert composed(one) == (pytest.approx(low, abs=1e-3), pytest.approx(high, abs=1e-3))
